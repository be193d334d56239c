# SPDX-License-Identifier: GPL-3.0-or-later
"""A temporary scene to evaluate in, so that the person's own scene stays as it is.

``frame_set`` on the person's scene throws away poses that are not keyed yet. In a scene of our own the same objects
evaluate to the same places, and nothing is written back. It must not meet an undo push: undo would bring it back, see
``remove_strays``.

Where Blender has windows, the scene is one of ``Slots``: what comes into it or leaves it has none drawn again. Linked,
as all is where there are none, is then only what a slot does not serve: meshes that the person's view layer hides or
only shows as instances, which Blender evaluates in a slot without their modifiers (4.2 to 5.2), and everything where
constraints may follow a movie clip, since these ask the slot for the camera.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import bpy

from .kept_cards import SCENE_PROPERTY
from .slots import MARK, NAME, Slots

#: Settings of a scene's render that what is evaluated in it may ask for; and those of it and of its units that only a
#: driver may that reads its scene from the context, whose change has windows drawn again.
_TIME = ("fps", "fps_base", "frame_map_old", "frame_map_new")
_SIZE = ("resolution_x", "resolution_y", "resolution_percentage", "pixel_aspect_x", "pixel_aspect_y")
_UNITS = ("system", "system_rotation", "scale_length", "length_unit")
#: Kinds of objects that have no geometry to evaluate.
_BARE = {"ARMATURE", "CAMERA", "EMPTY", "LIGHT", "LIGHT_PROBE", "SPEAKER"}


def windows() -> bool:
    """Whether Blender has windows that it may have to draw again."""
    return not bpy.app.background


class Probe:
    """The temporary scene and the view layer's dependency graph, which exists after the first ``to``.

    slots: where there are windows, what objects are put in; None: they are linked.
    """

    def __init__(self) -> None:
        self._slots = Slots() if windows() and not bpy.data.movieclips else None
        self.scene: Any = bpy.data.scenes.new(NAME) if self._slots is None else self._slots.top
        self.scene[MARK] = True
        self._puller: Any = None
        self._linked: dict[int, bool] = {}  # whether in a slot
        self._pulled: set[tuple[int, str]] = set()

    @property
    def linking(self) -> bool:
        """Whether objects are linked, for want of slots."""
        return self._slots is None

    def link(self, objects: Iterable[Any]) -> None:
        """Puts objects in, so that they are evaluated in full."""
        for object in objects:
            if object.session_uid in self._linked:
                continue
            if self._slots is not None and (object.type in _BARE or object.visible_get()):
                self._slots.put(object)
                self._linked[object.session_uid] = True
            else:
                self.scene.collection.objects.link(object)
                self._linked[object.session_uid] = False

    def unlink(self, objects: Iterable[Any]) -> None:
        """Takes objects out again: they are evaluated no more, but for what others need of them."""
        for object in objects:
            if object.session_uid not in self._linked:
                continue
            if self._linked.pop(object.session_uid) and self._slots is not None:
                self._slots.take(object)
            else:
                self.scene.collection.objects.unlink(object)

    def pull(self, target: Any, bone: str = "") -> None:
        """Has an object's place (or a bone's) evaluated without its geometry, and even where it is hidden in viewports.

        Blender evaluates only those parts of an object outside the scene that something inside it hangs on.
        """
        if (target.session_uid, bone) in self._pulled:
            return
        self._pulled.add((target.session_uid, bone))
        if self._slots is not None:
            if bone:
                self.link([target])
            else:
                self._slots.pull(target)
            return
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

        ``frame_set`` has every editor of every window drawn again, so where there are windows the frame is set as a
        property, to the same end. That takes no frame below zero where the person's preferences forbid them, and needs
        a graph, which asking for statistics makes. (A view layer's ``update`` makes one too, but one that writes into
        the person's own data.)
        """
        layer = self.scene.view_layers[0]
        if self._slots is not None and frame >= 0:
            if layer.depsgraph is None:
                self.scene.statistics(layer)
            self.scene.frame_float = float(frame)
            layer.depsgraph.update()
            return layer.depsgraph
        whole = int(frame // 1)
        self.scene.frame_set(whole, subframe=float(frame - whole))
        return layer.depsgraph

    def remove(self) -> None:
        """Takes the scene and all that is ours out of the file."""
        ours = [self.scene] if self._slots is None else self._slots.all()
        if self._puller is not None:
            ours.append(self._puller)
        bpy.data.batch_remove(ours)


@contextmanager
def probe(scene: Any, objects: Iterable[Any] = ()) -> Iterator[Probe]:
    """A temporary scene that plays as ``scene`` does, with ``objects`` in it; gone at the end, also after an error."""
    inside = Probe()
    try:
        _copy(scene, inside.scene, inside.linking)
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
    of_strays = (*bpy.data.objects, *bpy.data.libraries)
    bpy.data.batch_remove([data for data in of_strays if data.library is None and data.get(MARK)])
    return len(strays)


def _differing(of: Any, into: Any, names: tuple[str, ...]) -> list[str]:
    return [name for name in names if getattr(into, name) != getattr(of, name)]


def _read_from_context() -> bool:
    """Whether a driver in the file reads its scene from the context, which is then the temporary one."""
    data = bpy.data
    of_objects = (data.objects, data.armatures, data.shape_keys, data.meshes, data.curves, data.lattices)
    for some in (*of_objects, data.node_groups):
        for id in some:
            animated = id.animation_data
            for curve in animated.drivers if animated is not None else ():
                driver: Any = curve.driver
                if any(variable.type == "CONTEXT_PROP" for variable in driver.variables):
                    return True
    return False


def _copy(source: Any, target: Any, linking: bool) -> None:
    """Gives a scene the settings of another that differ; but where objects are not linked, those that have windows
    drawn again only if a driver may ask for them."""
    given: list[tuple[Any, Any, tuple[str, ...]]] = [
        (source.render, target.render, _TIME),
        (source, target, ("use_gravity", "gravity", "frame_start", "frame_end", "camera")),
    ]
    loud = [(source.render, target.render, _SIZE), (source.unit_settings, target.unit_settings, _UNITS)]
    if linking or any(_differing(*one) for one in loud) and _read_from_context():
        given += loud
    for of, into, names in given:
        for name in _differing(of, into, names):
            try:
                setattr(into, name, getattr(of, name))
            except TypeError:  # a length unit that the system has not got
                continue
    if not target.render.use_simplify or target.render.simplify_subdivision:
        target.render.use_simplify, target.render.simplify_subdivision = True, 0
    for key in set(source.keys()) - {SCENE_PROPERTY}:  # what that points at would be evaluated
        try:
            target[key] = source[key]
        except TypeError:  # a registered group of an add-on
            continue
    target[MARK] = True
