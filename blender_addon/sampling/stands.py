# SPDX-License-Identifier: GPL-3.0-or-later
"""Where objects stand at the scene's current frame, also those whose place Blender has not worked out.

``matrix_world`` is written by the evaluation of what a view layer shows. In a scene that no window shows, and on hidden
or excluded objects of any, it is what it was when the file was read: nothing.
"""

from collections.abc import Iterator, Mapping
from typing import Any

import bpy

from .probe import probe


class Stands:
    """World matrices, scene units. known: by session_uid, of the objects whose own ``matrix_world`` cannot be used."""

    def __init__(self, known: Mapping[int, Any] | None = None) -> None:
        self._known = known or {}

    def of(self, object: Any) -> Any:
        return self._known.get(object.session_uid, object.matrix_world)

    def evaluated(self, object: Any) -> bool:
        """Whether Blender's own evaluation has placed the object, and posed its bones."""
        return object.session_uid not in self._known


def stands_of(scene: Any) -> Stands:
    """Evaluates, in a temporary scene of its own, the places of the objects that the shown view layer does not."""
    shown = bpy.context.view_layer if bpy.context.scene == scene else None
    every = [object for object in _all(scene) if object.type in ("MESH", "ARMATURE", "EMPTY")]
    shapes = {b.custom_shape for o in every if o.type == "ARMATURE" and o.pose for b in o.pose.bones}
    stale = [o for o in every if o not in shapes and (shown is None or not o.visible_get(view_layer=shown))]
    known = {object.session_uid: object.matrix_basis.copy() for object in stale if _stands_alone(object)}
    moved = [object for object in stale if object.session_uid not in known]
    if moved:
        with probe(scene) as brief:
            for object in moved:
                brief.pull(object)
            graph = brief.to(scene.frame_current + scene.frame_subframe)
            known |= {o.session_uid: o.evaluated_get(graph).matrix_world.copy() for o in moved}
    return Stands(known)


def _stands_alone(object: Any) -> bool:
    """Whether nothing but its own location, turn and scale places the object: then nothing need be evaluated."""
    return (
        object.parent is None
        and not len(object.constraints)
        and object.animation_data is None
        and object.rigid_body is None
    )


def _all(scene: Any) -> Iterator[Any]:
    """The scene's objects and those that its instances show, each once."""
    seen: set[int] = set()
    waiting = list(scene.objects)
    while waiting:
        object = waiting.pop()
        if object.session_uid in seen:
            continue
        seen.add(object.session_uid)
        yield object
        if object.instance_type == "COLLECTION" and object.instance_collection is not None:
            waiting.extend(object.instance_collection.all_objects)
