# SPDX-License-Identifier: GPL-3.0-or-later
"""A temporary scene to evaluate in, so that the person's own scene stays as it is.

``frame_set`` on the person's scene throws away poses that are not keyed yet. In a scene of our own the same objects
evaluate
to the same places, and nothing is written back. It must not meet an undo push: undo would bring it back, see
``remove_strays``.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import bpy

from .kept_cards import SCENE_PROPERTY

#: The name of the scene and of what we put in it. The dot keeps it out of Blender's menus.
NAME = ".probe"
#: Marks what is ours, so that nobody else's data of that name is ever removed.
MARK = "plumbline_probe"

_COPIED = (
    "fps",
    "fps_base",
    "frame_map_old",
    "frame_map_new",
    "resolution_x",
    "resolution_y",
    "resolution_percentage",
    "pixel_aspect_x",
    "pixel_aspect_y",
)


class Probe:
    """The temporary scene and the view layer's dependency graph, which exists after the first ``to``.

    quiet: whether windows are spared a redraw of everything at each frame.
    """

    def __init__(self, scene: Any) -> None:
        self.scene = scene
        self.quiet = not bpy.app.background
        self._puller: Any = None
        self._linked: set[int] = set()

    def link(self, objects: Iterable[Any]) -> None:
        """Puts objects in, so that they are evaluated in full."""
        for object in objects:
            if object.session_uid not in self._linked:
                self._linked.add(object.session_uid)
                self.scene.collection.objects.link(object)

    def unlink(self, objects: Iterable[Any]) -> None:
        """Takes objects out again: they are evaluated no more, but for what others need of them."""
        for object in objects:
            if object.session_uid in self._linked:
                self._linked.remove(object.session_uid)
                self.scene.collection.objects.unlink(object)

    def pull(self, target: Any, bone: str = "") -> None:
        """Has an object's place (or a bone's) evaluated without its geometry, and even where it is hidden in viewports.

        Blender evaluates only those parts of an object outside the scene that something inside it hangs on.
        """
        if self._puller is None:
            self._puller = bpy.data.objects.new(NAME, None)
            self._puller[MARK] = True
            self.scene.collection.objects.link(self._puller)
        constraint = self._puller.constraints.new("COPY_TRANSFORMS")
        constraint.target = target
        if bone:
            constraint.subtarget = bone

    def to(self, frame: float) -> Any:
        """Evaluates at a scene frame, sub-frames allowed; returns the dependency graph.

        ``frame_set`` has every editor of every window drawn again, which costs more than the reading and lets Esc wait,
        so where there are windows the frame is set as a property, to the same end. That takes no frame below zero where
        the person's preferences forbid them, and needs a graph, which ``frame_set`` has made when the scene was still
        empty. (A view layer's ``update`` makes one too, but one that writes into the person's own data.)
        """
        graph = self.scene.view_layers[0].depsgraph
        if self.quiet and frame >= 0 and graph is not None:
            self.scene.frame_float = float(frame)
            graph.update()
            return graph
        whole = int(frame // 1)
        self.scene.frame_set(whole, subframe=float(frame - whole))
        return self.scene.view_layers[0].depsgraph

    def remove(self) -> None:
        """Takes the scene and all that is ours out of the file."""
        if self._puller is not None:
            bpy.data.objects.remove(self._puller)
            self._puller = None
        bpy.data.scenes.remove(self.scene)


@contextmanager
def probe(scene: Any, objects: Iterable[Any] = ()) -> Iterator[Probe]:
    """A temporary scene that plays as ``scene`` does, with ``objects`` in it; gone at the end, also after an error."""
    temporary = bpy.data.scenes.new(NAME)
    temporary[MARK] = True
    inside = Probe(temporary)
    try:
        _copy(scene, temporary)
        if inside.quiet:
            temporary.frame_set(temporary.frame_current)
        inside.link(objects)
        yield inside
    finally:
        inside.remove()


def remove_strays() -> int:
    """Removes temporary scenes that an undo brought back; returns how many. Never call it while a sweep runs."""
    strays = [scene for scene in bpy.data.scenes if scene.library is None and scene.get(MARK)]
    for scene in strays:
        if len(bpy.data.scenes) > 1:
            bpy.data.scenes.remove(scene)
    for object in [o for o in bpy.data.objects if o.library is None and o.get(MARK)]:
        bpy.data.objects.remove(object)
    return len(strays)


def _copy(source: Any, target: Any) -> None:
    for name in _COPIED:
        setattr(target.render, name, getattr(source.render, name))
    target.render.use_simplify = True
    target.render.simplify_subdivision = 0
    for name in ("system", "system_rotation", "scale_length", "length_unit"):
        try:
            setattr(target.unit_settings, name, getattr(source.unit_settings, name))
        except TypeError:  # a length unit that the system has not got
            continue
    target.use_gravity = source.use_gravity
    target.gravity = source.gravity
    target.frame_start, target.frame_end = source.frame_start, source.frame_end
    target.camera = source.camera
    for key in set(source.keys()) - {SCENE_PROPERTY}:  # what that points at would be evaluated
        try:
            target[key] = source[key]
        except TypeError:  # a registered group of an add-on
            continue
    target[MARK] = True
