# SPDX-License-Identifier: GPL-3.0-or-later
"""Scenes that objects are put in without Blender drawing its windows again.

Whatever links an object into a scene has every window drawn, and so have a constraint's and a driver's target; drawing
a heavy shot without a graphics card takes longer than Esc may wait. What is appended from a file has nothing drawn, nor
has a setting of a scene that no window shows, and a scene's camera may be any object. So ``slots.blend`` holds a chain
of empty scenes, each the background of the one before: the first one's dependency graph evaluates the cameras of all.

Of an object that is only pulled the place is evaluated and no mesh: by an empty with a driver that reads the location
of whatever the empty's custom property ``OF`` points at.

    python -m plumbline.blender_addon.sampling.slots     (with Blender 4.2's Python, the oldest: writes slots.blend)
"""

from pathlib import Path
from typing import Any

import bpy

#: The name of what is ours, before its number. The dot keeps it out of Blender's menus.
NAME = ".probe"
#: Marks what is ours, so that nobody else's data of that name is ever removed.
MARK = "plumbline_probe"
#: The custom property of a puller that points at what it pulls.
OF = "of"
FILE = Path(__file__).with_name("slots.blend")
#: Scenes and pullers in the file: few, since appending them takes time too. Where they run out they come again.
SCENES, PULLERS = 16, 8


class Slots:
    """A chain of scenes that grows as objects are put in. top: the scene whose graph evaluates them all."""

    def __init__(self) -> None:
        self._scenes: list[Any] = []
        self._pullers: list[Any] = []
        self._libraries: list[Any] = []
        self._free: list[Any] = []
        self._idle: list[Any] = []
        self._held: dict[int, Any] = {}  # object -> the scene whose camera it is
        self._append()
        self.top = self._free.pop()  # its camera is what the shot's own scene has

    def put(self, object: Any) -> None:
        """Has an object evaluated in full, an armature with all its bones, hidden or not."""
        if object.session_uid not in self._held:
            if not self._free:
                self._append()
            scene = self._held[object.session_uid] = self._free.pop()
            scene.camera = object

    def take(self, object: Any) -> None:
        """Has an object that was put in evaluated no more, but for what others need of it."""
        scene = self._held.pop(object.session_uid)
        scene.camera = None
        self._free.append(scene)

    def pull(self, object: Any) -> None:
        """Has an object's place evaluated, and nothing else of it."""
        if not self._idle:
            self._append()
        puller = self._idle.pop()
        puller[OF] = object
        self.put(puller)

    def all(self) -> list[Any]:
        """Scenes, pullers and the traces of the file that they came from."""
        return [*self._scenes, *self._pullers, *self._libraries]

    def _append(self) -> None:
        before = {library.session_uid for library in bpy.data.libraries}
        blend: Any = bpy.data.libraries
        with blend.load(str(FILE), link=False) as (there, here):
            here.scenes, here.objects = list(there.scenes), list(there.objects)
        for library in [library for library in blend if library.session_uid not in before]:
            library[MARK] = True
            self._libraries.append(library)
        scenes, below = [], {scene.background_set for scene in here.scenes}
        scene = next(scene for scene in here.scenes if scene not in below)
        while scene is not None:
            scenes.append(scene)
            scene = scene.background_set
        if self._scenes:
            self._scenes[-1].background_set = scenes[0]
        self._scenes += scenes
        self._pullers += here.objects
        self._free += reversed(scenes)  # those near the top first
        self._idle += here.objects


def write(path: Path) -> None:
    """Makes the file. Raises RuntimeError in a Blender whose files the oldest that we serve cannot read."""
    if bpy.app.version[:2] != (4, 2):
        raise RuntimeError("slots.blend is written by Blender 4.2, so that all can read it")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    made: set[Any] = set()
    below = None
    for number in range(SCENES):
        scene = bpy.data.scenes.new(f"{NAME}.{number:03}")
        scene.background_set, below = below, scene
        scene.render.use_simplify, scene.render.simplify_subdivision = True, 0
        made.add(scene)
    for number in range(PULLERS):
        puller = bpy.data.objects.new(f"{NAME}.{number:03}", None)
        puller[OF] = 0
        curve: Any = puller.driver_add("location", 0)
        driver = curve.driver
        driver.type = "SUM"
        target = driver.variables.new().targets[0]
        target.id, target.data_path = puller, f'["{OF}"].location[0]'
        made.add(puller)
    for data in made:
        data[MARK] = True
    bpy.data.libraries.write(str(path), made, compress=True)


if __name__ == "__main__":
    write(FILE)
