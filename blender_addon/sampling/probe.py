# SPDX-License-Identifier: GPL-3.0-or-later
"""A temporary scene to evaluate in, so that the person's own scene stays as it is.

``frame_set`` on the person's scene throws away poses that are not keyed yet. In a scene of our own the same objects
evaluate to the same places, and nothing is written back. It must not meet an undo push: undo would bring it back, see
``remove_strays``.

Each scene, object and collection that comes or goes has Blender draw its windows again, which without a graphics card
may take longer than Esc may wait. What is only hidden or shown in a scene that no window shows does not.
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
#: How many objects are kept ready at the most.
_READY = 400

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
        self._ready: dict[tuple[int, bool], Any] = {}
        self._ours: list[Any] = []  # of what is ready: collections and objects

    def keep_ready(self, objects: Iterable[Any], pulled: bool = False) -> None:
        """Puts objects in out of sight, not evaluated, so that ``link`` has them evaluated later without a redraw;
        pulled: ``pull`` does. Only the first ``_READY`` of them: each costs a tenth of a millisecond."""
        above = bpy.data.collections.new(NAME)
        self._own(above)
        for object in objects:
            key = (object.session_uid, pulled)
            if key in self._ready:
                continue
            if len(self._ready) >= _READY:
                break
            inner = object
            if pulled:
                inner = bpy.data.objects.new(NAME, None)
                constraint: Any = inner.constraints.new("COPY_TRANSFORMS")
                constraint.target = object
                self._own(inner)
            collection = self._ready[key] = bpy.data.collections.new(NAME)
            self._own(collection)
            collection.hide_viewport = True
            collection.objects.link(inner)
            above.children.link(collection)
        self.scene.collection.children.link(above)

    def _own(self, data: Any) -> None:
        data[MARK] = True
        self._ours.append(data)

    def _show(self, object: Any, pulled: bool, on: bool) -> bool:
        """Has what is ready evaluated, or no more; whether it was ready."""
        collection = self._ready.get((object.session_uid, pulled))
        if collection is None:
            return False
        with bpy.context.temp_override(scene=self.scene):  # else Blender takes it for a change in the window's scene
            collection.hide_viewport = not on
        return True

    def link(self, objects: Iterable[Any]) -> None:
        """Puts objects in, so that they are evaluated in full."""
        for object in objects:
            if object.session_uid not in self._linked:
                self._linked.add(object.session_uid)
                if not self._show(object, False, True):
                    self.scene.collection.objects.link(object)

    def unlink(self, objects: Iterable[Any]) -> None:
        """Takes objects out again: they are evaluated no more, but for what others need of them."""
        for object in objects:
            if object.session_uid in self._linked:
                self._linked.remove(object.session_uid)
                if not self._show(object, False, False):
                    self.scene.collection.objects.unlink(object)

    def pull(self, target: Any, bone: str = "") -> None:
        """Has an object's place (or a bone's) evaluated without its geometry, and even where it is hidden in viewports.

        Blender evaluates only those parts of an object outside the scene that something inside it hangs on.
        """
        if not bone and self._show(target, True, True):
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
        bpy.data.batch_remove(self._ours)


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
    of_strays = (*bpy.data.collections, *bpy.data.objects)
    bpy.data.batch_remove([data for data in of_strays if data.library is None and data.get(MARK)])
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
