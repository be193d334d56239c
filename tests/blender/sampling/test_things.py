# SPDX-License-Identifier: GPL-3.0-or-later
"""Goals, soles, props and ground as the scene has them."""

from typing import Any

import bpy
import numpy as np
import pytest
from mathutils import Vector
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.measures.key_refs import keys_in
from plumbline.core.need import Need
from plumbline.core.shot import SOLE_POINTS

from .figure import boots, box, key

ALL = Need.JOINTS | Need.ROTATIONS | Need.GOALS | Need.KEYS | Need.GROUND | Need.PROPS


def _goal(rig: Any, side: str, subtarget: str = "") -> tuple[Any, Any]:
    target = bpy.data.objects.new(f"Goal.{side}", None)
    bpy.context.scene.collection.objects.link(target)
    for f, z in ((1, 0.3), (15, -0.4), (31, 0.2)):
        target.location = (0.1, -0.1, z)
        target.keyframe_insert("location", frame=f)
    constraint = rig.pose.bones[f"shin.{side}"].constraints.new("IK")
    constraint.target, constraint.chain_count = (rig, 2) if subtarget else (target, 2)
    constraint.subtarget = subtarget
    return target, constraint


def test_goal_of_a_leg(scene: Any, rig: Any) -> None:
    target, constraint = _goal(rig, "L")
    constraint.influence = 0.75
    shot = sweep_now(scene, Request(ALL))
    (goal,) = shot.characters[0].goals
    assert goal.part == "foot.L" and np.allclose(goal.influence, 0.75)
    for i in (0, 14, 29):
        scene.frame_set(int(shot.frames[i]))
        np.testing.assert_allclose(goal.place[i], target.matrix_world.translation, atol=1e-6)
        np.testing.assert_allclose(goal.reach[i], rig.matrix_world @ rig.pose.bones["shin.L"].tail, atol=3e-6)
    # out of reach in the middle of the shot
    assert np.linalg.norm(goal.place[14] - goal.reach[14]) > 0.05


def test_notes_name_the_keys_of_the_controls(scene: Any, rig: Any) -> None:
    """The goal bone hangs on a keyed control, the pole is keyed itself; keys of the body's root are not the limb's."""
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    bones = rig.data.edit_bones
    foot = bones["foot.L"].head.copy()
    for name, parent, head in (
        ("foot_ik.L", None, foot),
        ("MCH-goal.L", "foot_ik.L", foot),
        ("knee_pole.L", None, foot + Vector((0, -0.6, 0.5))),
    ):
        bone = bones.new(name)
        bone.head, bone.tail, bone.use_deform = head, head + Vector((0, -0.1, 0)), False
        bone.parent = bones[parent] if parent else None
    bpy.ops.object.mode_set(mode="OBJECT")
    constraint = rig.pose.bones["shin.L"].constraints.new("IK")
    constraint.target, constraint.subtarget, constraint.chain_count = rig, "MCH-goal.L", 2
    constraint.pole_target, constraint.pole_subtarget = rig, "knee_pole.L"
    for name, frames in (("foot_ik.L", (1, 12, 31)), ("knee_pole.L", (1, 14)), ("pelvis", (1, 13))):
        for frame in frames:
            key(rig, name, "location", frame, (0.0, 0.01 * frame, 0.0))
    character = sweep_now(scene, Request(ALL)).characters[0]
    assert {c.owner for c in character.controls["shin.L"]} == {
        "Keeper/shin.L",
        "Keeper/foot_ik.L",
        "Keeper/knee_pole.L",
    }
    named = {(k.owner, k.frames) for k in keys_in(character, ("shin.L",), 10, 20) if k.owner != "Keeper/shin.L"}
    assert named == {("Keeper/foot_ik.L", (12.0,)), ("Keeper/knee_pole.L", (14.0,))}
    assert not [k for k in keys_in(character, ("shin.R",), 10, 20) if ".L" in k.owner]


def test_goal_counts_only_while_it_is_on(scene: Any, rig: Any) -> None:
    _, constraint = _goal(rig, "L")
    for f, value in ((1, 1.0), (10, 1.0), (20, 0.0)):
        constraint.influence = value
        constraint.keyframe_insert("influence", frame=f)
    (goal,) = sweep_now(scene, Request(ALL)).characters[0].goals
    assert goal.influence[8] == 1.0 and goal.influence[20] == 0.0 and 0 < goal.influence[14] < 1


def test_goal_on_a_copy_of_the_limb(scene: Any, rig: Any) -> None:
    """The constraint sits on a control copy; the limb follows the copy until it is let go."""
    bpy.ops.object.mode_set(mode="EDIT")
    bones = rig.data.edit_bones
    for name, parent in (("MCH-thigh_ik.L", "pelvis"), ("MCH-shin_ik.L", "MCH-thigh_ik.L")):
        source = bones[{"MCH-thigh_ik.L": "thigh.L", "MCH-shin_ik.L": "shin.L"}[name]]
        copy = bones.new(name)
        copy.head, copy.tail, copy.roll, copy.parent, copy.use_deform = (
            source.head,
            source.tail,
            source.roll,
            bones[parent],
            False,
        )
    bpy.ops.object.mode_set(mode="OBJECT")
    target = bpy.data.objects.new("Goal", None)
    scene.collection.objects.link(target)
    target.location = (0.1, -0.3, 0.3)
    constraint = rig.pose.bones["MCH-shin_ik.L"].constraints.new("IK")
    constraint.target, constraint.chain_count = target, 2
    for name in ("thigh", "shin"):
        follow = rig.pose.bones[f"{name}.L"].constraints.new("COPY_TRANSFORMS")
        follow.target, follow.subtarget = rig, f"MCH-{name}_ik.L"
        for f, value in ((1, 1.0), (15, 1.0), (16, 0.0)):
            follow.influence = value
            follow.keyframe_insert("influence", frame=f)
    character = sweep_now(scene, Request(ALL)).characters[0]
    assert character.bones[character.index["shin.L"]] == "shin.L"
    (goal,) = character.goals
    assert goal.part == "foot.L"
    assert (goal.influence[:15] == 1).all() and (goal.influence[18:] == 0).all()


def test_soles_of_the_boots(scene: Any, rig: Any) -> None:
    boots(rig)
    character = sweep_now(scene, Request(ALL)).characters[0]
    assert {s.side: s.source for s in character.soles} == {"L": "mesh", "R": "mesh"}
    for sole in character.soles:
        points = dict(zip(SOLE_POINTS, sole.points, strict=True))
        assert np.allclose(sole.points[:, 2], 0.0, atol=1e-3)
        assert points["heel"][1] == pytest.approx(0.08, abs=0.01) and points["toe_tip"][1] == pytest.approx(
            -0.19, abs=0.01
        )
        outward = 1 if sole.side == "L" else -1
        assert points["ball_outer"][0] * outward == pytest.approx(0.14, abs=0.01)
        assert points["ball_inner"][0] * outward == pytest.approx(0.06, abs=0.01)


def test_props_and_ground_are_found(scene: Any, rig: Any) -> None:
    boots(rig)
    floor = box("Floor", (-3, -3, -0.2), (3, 3, 0))
    wall = box("Wall", (2, -3, 0), (2.2, 3, 3))
    lantern = box("Lantern", (-0.1, -0.1, 0), (0.1, 0.1, 0.3))
    hat = box("Hat", (-0.1, -0.1, 1.7), (0.1, 0.1, 1.9))
    hat.parent, hat.parent_type, hat.parent_bone = rig, "BONE", "head"
    for f, x in ((1, 0.0), (30, 1.5)):
        lantern.location = (x, 0.5, 0.7)
        lantern.keyframe_insert("location", frame=f)
    shot = sweep_now(scene, Request(ALL))
    assert [p.name for p in shot.props] == ["Lantern"]
    assert [s.name for s in shot.surfaces] == ["Floor"] and not shot.surfaces[0].moving
    for i in (0, 17):
        scene.frame_set(int(shot.frames[i]))
        np.testing.assert_allclose(shot.props[0].origin[i], lantern.matrix_world.translation, atol=1e-6)
    assert shot.props[0].keys is not None and set(shot.props[0].keys.scene_frame) == {1.0, 30.0}
    assert wall.name not in {s.name for s in shot.surfaces}
    # the person has the last word
    lantern["plumbline_prop"], hat["plumbline_prop"], wall["plumbline_ground"], floor["plumbline_ground"] = (
        False,
        True,
        True,
        False,
    )
    shot = sweep_now(scene, Request(ALL))
    assert [p.name for p in shot.props] == ["Hat"] and [s.name for s in shot.surfaces] == ["Wall"]
    assert "marked" in shot.props[0].why and "marked" in shot.surfaces[0].why
    bpy.context.view_layer.update()
    scene.frame_set(9)
    np.testing.assert_allclose(shot.props[0].origin[8], hat.matrix_world.translation, atol=1e-5)


def test_what_hangs_on_a_thing_that_is_no_prop_is_none(scene: Any, rig: Any) -> None:
    lantern, glass = box("Lantern", (0, 0, 0), (0.1, 0.1, 0.3)), box("Glass", (0, 0, 0), (0.1, 0.1, 0.2))
    glass.parent = lantern
    for f, x in ((1, 0.0), (30, 1.5)):
        lantern.location.x = x
        lantern.keyframe_insert("location", frame=f)
    assert {p.name for p in sweep_now(scene, Request(ALL)).props} == {"Lantern", "Glass"}
    lantern["plumbline_prop"] = False
    assert sweep_now(scene, Request(ALL)).props == ()
    glass["plumbline_prop"] = True
    assert [p.name for p in sweep_now(scene, Request(ALL)).props] == ["Glass"]


def test_ground_whose_points_are_not_numbers_is_said(scene: Any, rig: Any) -> None:
    floor = box("Floor", (-3, -3, -0.2), (3, 3, 0))
    floor["plumbline_ground"] = True
    for vertex in floor.data.vertices:
        vertex.co.z = float("nan")
    shot = sweep_now(scene, Request(ALL))
    assert [s.name for s in shot.surfaces] == [None]
    assert any(r == "Floor is marked as ground but its points are not numbers" for r in shot.remarks)


@pytest.mark.parametrize("scale", [(0, 0, 0), (1, 0, 0)])
def test_marked_ground_scaled_to_nothing_is_said(scene: Any, rig: Any, scale: tuple[float, float, float]) -> None:
    floor = box("Floor", (-3, -3, -0.2), (3, 3, 0))
    floor["plumbline_ground"] = True
    floor.scale = scale
    bpy.context.view_layer.update()
    shot = sweep_now(scene, Request(ALL))
    assert [s.name for s in shot.surfaces] == [None]
    assert any(r.startswith("Floor is marked as ground but its scale leaves no area") for r in shot.remarks)


@pytest.mark.parametrize("value", ["no", "true", 2, 0.5, [1.0, 0.0]])
def test_a_mark_that_is_neither_true_nor_false_is_said_and_no_mark(scene: Any, rig: Any, value: Any) -> None:
    thing = box("Crate", (-3, -3, 2), (-2, -2, 3))  # still: no prop without a mark
    thing["plumbline_prop"] = value
    shot = sweep_now(scene, Request(ALL))
    assert not shot.props
    assert any(r.startswith("Crate is not taken as marked: its property plumbline_prop is") for r in shot.remarks)
    for good in (True, 1):
        thing["plumbline_prop"] = good
        shot = sweep_now(scene, Request(ALL))
        assert [p.name for p in shot.props] == ["Crate"] and not any("Crate" in r for r in shot.remarks)


def test_marked_ground_that_moves(scene: Any, rig: Any) -> None:
    boat = box("Boat", (-3, -3, -0.2), (3, 3, 0))
    boat["plumbline_ground"] = True
    for f, z in ((1, 0.0), (30, 0.4)):
        boat.location.z = z
        boat.keyframe_insert("location", frame=f)
    (surface,) = sweep_now(scene, Request(ALL)).surfaces
    assert (
        surface.moving
        and surface.world[0, 2, 3] == pytest.approx(0.0)
        and surface.world[29, 2, 3] == pytest.approx(0.4)
    )


def test_no_ground_but_a_plane(scene: Any, rig: Any) -> None:
    boots(rig)
    (surface,) = sweep_now(scene, Request(ALL)).surfaces
    assert surface.name is None and "no mesh is under the feet" in surface.why
    assert abs(surface.triangles[0, 0, 2]) < 0.35


def test_heavy_meshes_are_not_evaluated(scene: Any, rig: Any) -> None:
    """A prop's place is read without its modifiers being run."""
    buoy = box("Buoy", (0, 0, 0), (1, 1, 1))
    for f, x in ((1, 0.0), (30, 1.5)):
        buoy.location.x = x
        buoy.keyframe_insert("location", frame=f)
    buoy.modifiers.new("Subdivision", "SUBSURF").levels = 6
    seen: list[int] = []

    def after(scene: Any, graph: Any) -> None:
        if scene.name.startswith(".probe"):
            now = buoy.evaluated_get(graph)
            seen.append(len(now.data.vertices) if now.data is not None else 0)

    bpy.app.handlers.frame_change_post.append(after)
    try:
        shot = sweep_now(scene, Request(Need.JOINTS | Need.PROPS))
    finally:
        bpy.app.handlers.frame_change_post.remove(after)
    assert [p.name for p in shot.props] == ["Buoy"] and seen and max(seen) <= 8
