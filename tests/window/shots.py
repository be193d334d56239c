# SPDX-License-Identifier: GPL-3.0-or-later
"""Builds the shots that the window's scripts open, into a folder: the keeper's faulty take, ten keepers in one shot, a
keeper who is linked, and one who is overridden, with keys of the shot's own. On demand a heavy one too.

    python tests/window/shots.py FOLDER [heavy]
"""

import importlib.util
import os
import sys
from pathlib import Path
from typing import Any

import bpy
from plumbline.blender_addon.compat import curves_of
from plumbline.sample_scenes import keeper_faults

#: How many stand in the crowd, how far apart in meters, and how many frames each is behind the one before.
CROWD, APART, LATER = 10, 1.2, 2


def save(folder: Path, name: str) -> None:
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / f"{name}.blend"), compress=True)


def fresh() -> Any:
    bpy.ops.wm.read_factory_settings(use_empty=True)
    return keeper_faults.build()


def crowd() -> None:
    """Ten keepers side by side, each with keys of his own, and with the stair as wide as they stand."""
    first = fresh()
    hangs = [first, *first.children_recursive]
    for number in range(1, CROWD):
        copies = {old: old.copy() for old in hangs}
        for old, new in copies.items():
            bpy.context.scene.collection.objects.link(new)
            if old.parent in copies:
                new.parent = copies[old.parent]
                new.matrix_parent_inverse = old.matrix_parent_inverse
            for modifier in new.modifiers:
                if modifier.type == "ARMATURE":
                    modifier.object = copies[first]
        rig = copies[first]
        rig.name, rig.location.x = f"Keeper {number + 1}", APART * number
        rig.animation_data.action = first.animation_data.action.copy()
        for pose in rig.pose.bones:
            for constraint in pose.constraints:
                for name in ("target", "pole_target"):
                    if getattr(constraint, name, None) == first:
                        setattr(constraint, name, rig)
        for curve, _ in curves_of(rig):
            for point in curve.keyframe_points:
                point.co.x += LATER * number
                point.handle_left.x += LATER * number
                point.handle_right.x += LATER * number
    stair = bpy.data.objects["Stair"]
    stair.scale.x *= 2 * CROWD
    bpy.context.scene.frame_end += LATER * CROWD


def linked(folder: Path) -> None:
    """The keeper from a library file: as he is there, and overridden, with his keys in the shot."""
    rig = fresh()
    own = bpy.data.collections.new("Keeper")
    for thing in (rig, *rig.children_recursive):
        bpy.context.scene.collection.objects.unlink(thing)
        own.objects.link(thing)
    bpy.context.scene.collection.children.link(own)
    save(folder, "library")
    kept = str(folder / "library.blend")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    with bpy.data.libraries.load(kept, link=True, relative=False) as (there, here):
        here.collections = ["Keeper"]
        here.objects = [name for name in there.objects if name in ("Stair", "Lamp", "Camera")]
    for thing in here.objects:
        scene.collection.objects.link(thing)
    scene.camera = next(o for o in here.objects if o.type == "CAMERA")
    scene.frame_end = 192
    collection = here.collections[0]
    scene.collection.children.link(collection)
    save(folder, "linked")
    collection.override_hierarchy_create(scene, bpy.context.view_layer, do_fully_editable=True)
    scene.collection.children.unlink(collection)  # the override's own stands in the scene now
    rig = next(o for o in scene.objects if o.type == "ARMATURE" and o.override_library is not None)
    rig.animation_data.action = rig.animation_data.action.copy()
    assert rig.animation_data.action.library is None
    save(folder, "override")


def heavy(folder: Path) -> None:
    """A generated rig with a skin of 100,000 vertices among meshes of as many, seen together in the picture."""
    path = Path(__file__).parents[2] / "benchmarks" / "scenes.py"
    spec: Any = importlib.util.spec_from_file_location("scenes", path)
    scenes: Any = importlib.util.module_from_spec(spec)
    sys.modules["scenes"] = scenes
    spec.loader.exec_module(scenes)
    scenes.build("rigify", scenes.Size(60, skin=100_000, meshes=8, mesh=100_000), 0.5)
    for text in list(bpy.data.texts):  # Blender asks whether the rig's script may run, before anything else
        bpy.data.texts.remove(text)
    save(folder, "heavy")


def main() -> None:
    folder = Path(sys.argv[1])
    if sys.argv[2:] == ["heavy"]:
        heavy(folder)
        return
    fresh()
    save(folder, "keeper")
    crowd()
    save(folder, "crowd")
    linked(folder)


if __name__ == "__main__":
    main()
    os._exit(0)  # pip's bpy may hang where the interpreter ends by itself
