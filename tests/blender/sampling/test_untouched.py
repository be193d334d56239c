# SPDX-License-Identifier: GPL-3.0-or-later
"""What a person has open stays as it is: after a sweep, after one stopped half way, and after an error."""

from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.sampling import probe, routes
from plumbline.blender_addon.sampling import sweep as module
from plumbline.blender_addon.sampling.readers import PoseReader
from plumbline.blender_addon.sampling.sweep import Request, sweep, sweep_now
from plumbline.core.need import Need

from .figure import boots, figure

ALL = Need.JOINTS | Need.ROTATIONS | Need.GOALS | Need.KEYS | Need.GROUND | Need.PROPS


def _state(scene: Any) -> dict[str, Any]:
    return {
        "frame": (scene.frame_current, scene.frame_subframe),
        "pose": [
            tuple(b.matrix.col[3]) + tuple(b.rotation_euler) + tuple(b.location)
            for o in scene.objects
            if o.type == "ARMATURE"
            for b in o.pose.bones
        ],
        "places": [tuple(o.matrix_world.col[3]) for o in scene.objects],
        "selected": [o.name for o in scene.objects if o.select_get()],
        "bones": [b.name for o in scene.objects if o.type == "ARMATURE" for b in o.data.bones if _selected(o, b)],
        "active": bpy.context.view_layer.objects.active.name,
        "mode": bpy.context.mode,
        "hidden": [(o.name, o.hide_get(), o.hide_viewport) for o in scene.objects],
        "data": {
            name: len(getattr(bpy.data, name))
            for name in ("scenes", "objects", "meshes", "actions", "collections", "armatures", "libraries")
        },
        "window": bpy.context.window.scene.name,
        "simplify": scene.render.use_simplify,
        "constraints": sum(len(o.constraints) for o in bpy.data.objects),
        "users": {o.name: o.users for o in bpy.data.objects},
    }


def _selected(rig: Any, bone: Any) -> bool:
    pose = rig.pose.bones[bone.name]
    return bool(pose.select if hasattr(pose, "select") else bone.select)


@pytest.fixture(params=[False, True], ids=["background", "window"])
def busy(scene: Any, rig: Any, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A scene in the middle of work: on a sub-frame, with a pose that is not keyed, in Pose Mode, one object hidden.
    Swept as in background, and as where there are windows that are not to be drawn again on every frame."""
    monkeypatch.setattr(probe, "windows", lambda: request.param)
    boots(rig)
    floor = bpy.data.objects.new("Floor", bpy.data.meshes.new("Floor"))
    floor.data.from_pydata([(-5, -5, 0), (5, -5, 0), (5, 5, 0), (-5, 5, 0)], [], [(0, 1, 2, 3)])
    scene.collection.objects.link(floor)
    floor.hide_set(True)
    scene.frame_set(12, subframe=0.25)
    bpy.context.view_layer.objects.active = rig
    rig.select_set(True)
    bpy.ops.object.mode_set(mode="POSE")
    rig.pose.bones["thigh.L"].rotation_euler.x = 1.234
    rig.pose.bones["pelvis"].location = (0.1, 0.2, 0.3)
    bpy.context.view_layer.update()
    return scene


def test_after_a_sweep(busy: Any) -> None:
    before = _state(busy)
    shot = sweep_now(busy, Request(ALL))
    assert shot.surfaces[0].name == "Floor"
    assert _state(busy) == before
    assert busy.objects["Keeper"].pose.bones["thigh.L"].rotation_euler.x == pytest.approx(1.234)


def test_an_edit_that_is_not_keyed_is_not_part_of_the_shot(busy: Any) -> None:
    edited = sweep_now(busy, Request(ALL)).characters[0]
    bpy.ops.object.mode_set(mode="OBJECT")
    busy.frame_set(1)  # throws the edit of the keyed channel away
    assert busy.objects["Keeper"].pose.bones["thigh.L"].rotation_euler.x != pytest.approx(1.234)
    np.testing.assert_allclose(edited.heads, sweep_now(busy, Request(ALL)).characters[0].heads, atol=1e-6)


def stepped(monkeypatch: pytest.MonkeyPatch) -> None:
    """Has every frame evaluated, also where the keys tell the motion."""
    monkeypatch.setattr(routes, "FEWEST", 10_000)


@pytest.mark.parametrize(("steps", "every"), [(1, False), (2, False), (2, True), (10, True), (29, True)])
def test_after_closing_half_way(busy: Any, monkeypatch: pytest.MonkeyPatch, steps: int, every: bool) -> None:
    if every:
        stepped(monkeypatch)
    before = _state(busy)
    run = sweep(busy, Request(ALL))
    done = [next(run) for _ in range(steps)]
    assert done == sorted(done) and 0 <= done[-1] < 1
    run.close()
    assert _state(busy) == before


@pytest.mark.parametrize("at", [2, 9])
def test_after_an_error(busy: Any, monkeypatch: pytest.MonkeyPatch, at: int) -> None:
    if at == 9:
        stepped(monkeypatch)
    before = _state(busy)
    reading = PoseReader.read

    def breaks(self: PoseReader, i: int, graph: Any) -> Any:
        if i == at:
            raise RuntimeError("lamp out")
        return reading(self, i, graph)

    monkeypatch.setattr(PoseReader, "read", breaks)
    with pytest.raises(RuntimeError, match="lamp out"):
        sweep_now(busy, Request(ALL))
    assert _state(busy) == before


def test_while_another_object_is_in_edit_mode(busy: Any) -> None:
    bpy.ops.object.mode_set(mode="OBJECT")
    busy.objects["Keeper"].select_set(False)
    bpy.context.view_layer.objects.active = busy.objects["Boots"]
    bpy.ops.object.mode_set(mode="EDIT")
    before = _state(busy)
    assert len(sweep_now(busy, Request(ALL)).characters) == 1
    assert _state(busy) == before


def test_an_undo_in_between_leaves_a_stray_that_is_removed(scene: Any, rig: Any) -> None:
    bpy.ops.ed.undo_push(message="before")
    run = sweep(scene, Request(ALL))
    next(run), next(run), next(run)
    bpy.ops.ed.undo_push(message="in between")
    run.close()
    bpy.ops.ed.undo_push(message="after")
    bpy.ops.ed.undo()
    module.remove_strays()
    assert [s.name for s in bpy.data.scenes] == ["Scene"]
    assert not [o.name for o in bpy.data.objects if o.name.startswith(".probe")]


def test_strays_of_others_are_left_alone(scene: Any) -> None:
    bpy.data.scenes.new(".probe")
    figure("Mate")
    assert module.remove_strays() == 0
    assert ".probe" in bpy.data.scenes
