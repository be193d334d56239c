# SPDX-License-Identifier: GPL-3.0-or-later
"""The keys that notes name on real rigs, and that the operator selects just those."""

from pathlib import Path
from typing import Any

import bpy
import pytest
from plumbline.blender_addon import compat, settings
from plumbline.core.note import Note

from . import rigify_human
from .asking import check, checked
from .sampling.figure import figure, key

Chosen = set[tuple[str, str, int, int]]


@pytest.fixture
def rig(face: None, human: Path) -> Any:
    rig = rigify_human.opened(human)
    bpy.context.scene.frame_start, bpy.context.scene.frame_end = 1, 40
    return rig


def turned(rig: Any, bone: str, axis: int, peak: float, frames: tuple[int, ...] = (1, 14, 20, 26, 40)) -> None:
    """Keys a bone's turn about one of its axes, at its peak in the middle of the frames."""
    for k, frame in enumerate(frames):
        value = [0.0, 0.0, 0.0]
        value[axis] = peak if k == len(frames) // 2 else 0.0
        key(rig, bone, "rotation_euler", frame, (value[0], value[1], value[2]))


def moved(
    rig: Any, bone: str, offset: tuple[float, float, float], frames: tuple[int, ...] = (1, 12, 20, 28, 40)
) -> None:
    """Keys a bone's place, off by so much in the middle of the frames."""
    for k, frame in enumerate(frames):
        key(rig, bone, "location", frame, offset if k == len(frames) // 2 else (0.0, 0.0, 0.0))


def chosen_note(check_name: str, part: str) -> Note:
    """The severest note of this check on this part, active in the list."""
    number, note = next((i, n) for i, n in enumerate(checked().notes) if (n.check, n.part) == (check_name, part))
    settings.show_row(number, bpy.context.scene)
    return note


def selected() -> Chosen:
    """Owner of the curve, path, index and frame of each key that is selected, in all objects."""
    return {
        (thing.name, curve.data_path, curve.array_index, round(point.co.x))
        for thing in bpy.data.objects
        for curve, _ in compat.curves_of(thing)
        for point in curve.keyframe_points
        if point.select_control_point
    }


def expected(rig: Any, bone: str, path: str, frames: Any) -> Chosen:
    whole = f'pose.bones["{bone}"].{path}' if bone else path
    return {(rig.name, whole, index, frame) for index in range(3) for frame in frames}


def inside(note: Note, frames: tuple[int, ...]) -> list[int]:
    found = [f for f in frames if note.start <= f <= note.end]
    assert found, "the worst pose is keyed"
    return found


def select_keys() -> Chosen:
    assert bpy.ops.plumbline.select_keys.poll()
    assert bpy.ops.plumbline.select_keys() == {"FINISHED"}
    return selected()


def test_a_wrist_in_forward_kinematics(rig: Any) -> None:
    """Of a Rigify arm the note names the keyed control of the hand: not that of the faded goal, the forearm or the
    body, although all have keys in the span."""
    rigify_human.switch(rig, "upper_arm.L", 1.0)
    turned(rig, "hand_fk.L", 0, 2.0)
    turned(rig, "forearm_fk.L", 0, 0.3)
    moved(rig, "hand_ik.L", (0.0, 0.1, 0.0))
    moved(rig, "torso", (0.0, 0.02, 0.0))
    check()
    note = chosen_note("joint-limit", "hand.L")
    assert select_keys() == expected(rig, "hand_fk.L", "rotation_euler", inside(note, (1, 14, 20, 26, 40)))


def test_a_leg_pulled_by_its_goal(rig: Any) -> None:
    rigify_human.switch(rig, "thigh.L", 0.0)
    moved(rig, "foot_ik.L", (0.0, -0.9, 0.3))
    moved(rig, "torso", (0.0, 0.02, 0.0))
    turned(rig, "shin_fk.L", 0, 0.4)
    turned(rig, "thigh_fk.R", 0, 0.4)
    check()
    note = chosen_note("overextension", "shin.L")
    assert select_keys() == expected(rig, "foot_ik.L", "location", inside(note, (1, 12, 20, 28, 40)))


def test_a_switch_between_both_says_which_counts(rig: Any) -> None:
    """The hand goes by its goal up to frame 29 and by its own turns from 30 on, by a keyed switch that drivers read."""
    rigify_human.switch(rig, "upper_arm.L", 0.0, 1)
    rigify_human.switch(rig, "upper_arm.L", 1.0, 30)
    for control in ("hand_ik.L", "hand_fk.L"):
        turned(rig, control, 0, 2.0, (1, 9, 15, 21, 28))
        turned(rig, control, 0, 2.0, (31, 33, 36, 38, 40))
    check()
    notes = [n for n in checked().notes if (n.check, n.part) == ("joint-limit", "hand.L")]
    early = next(n for n in notes if n.end < 29)
    late = next(n for n in notes if n.start > 29)
    assert {k.owner for k in early.keys} == {f"{rig.name}/hand_ik.L"}
    assert {k.owner for k in late.keys} == {f"{rig.name}/hand_fk.L"}


def test_an_empty_that_a_leg_reaches_for(face: None) -> None:
    """The target is an object of its own, with an action of its own, and hangs on another that is keyed too."""
    scene = bpy.context.scene
    scene.frame_start, scene.frame_end = 1, 40
    rig = figure()
    target, carrier = (bpy.data.objects.new(name, None) for name in ("Step", "Boat"))
    for thing in (target, carrier):
        scene.collection.objects.link(thing)
    target.parent = carrier
    for frame, y in ((1, 0.0), (12, -0.1), (20, -0.7), (28, -0.1), (40, 0.0)):
        target.location = (0.1, y, 0.12)
        target.keyframe_insert("location", frame=frame)
    carrier.keyframe_insert("location", frame=20)
    constraint = rig.pose.bones["shin.L"].constraints.new("IK")
    constraint.target, constraint.chain_count = target, 2
    key(rig, "pelvis", "location", 20, (0.0, 0.0, 0.0))
    check()
    note = chosen_note("overextension", "shin.L")
    frames = inside(note, (1, 12, 20, 28, 40))
    assert {k.owner for k in note.keys} == {"Step", "Boat"}
    assert select_keys() == expected(target, "", "location", frames) | expected(carrier, "", "location", [20])
    assert target.select_get() and carrier.select_get()


def test_a_bone_turned_by_a_driver_names_what_it_reads(face: None) -> None:
    """The knee is driven by the height of a slider bone, and by a keyed property that another driver reads."""
    scene = bpy.context.scene
    scene.frame_start, scene.frame_end = 1, 40
    rig = figure()
    bpy.ops.object.mode_set(mode="EDIT")
    slider = rig.data.edit_bones.new("slider")
    slider.head, slider.tail = (1.0, 0.0, 0.0), (1.0, 0.0, 0.1)
    bpy.ops.object.mode_set(mode="OBJECT")
    rig["bend"] = 0.0
    curve = rig.pose.bones["shin.L"].driver_add("rotation_euler", 0)
    for name, path in (("height", 'pose.bones["slider"].location[1]'), ("bend", '["bend"]')):
        variable = curve.driver.variables.new()
        variable.name, variable.targets[0].id, variable.targets[0].data_path = name, rig, path
    curve.driver.expression = "bend - height"
    for frame, y in ((1, 0.0), (14, 0.0), (20, 0.9), (26, 0.0), (40, 0.0)):
        key(rig, "slider", "location", frame, (0.0, y, 0.0))
    rig["bend"] = 0.1
    rig.keyframe_insert('["bend"]', frame=20)
    check()
    note = chosen_note("joint-limit", "shin.L")
    assert {(k.owner, k.channel) for k in note.keys} == {
        *((f"{rig.name}/slider", f"location[{i}]") for i in range(3)),
        (rig.name, '["bend"][0]'),
    }
