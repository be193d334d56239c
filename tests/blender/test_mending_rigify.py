# SPDX-License-Identifier: GPL-3.0-or-later
"""Remedies on the keys of a rig as riggers make it, whose measured bones follow others: by inverse and by forward
kinematics."""

import math
from pathlib import Path
from typing import Any

import bpy
import pytest
from plumbline.blender_addon import settings
from plumbline.core.takes import same

from . import planted_keys, rigify_human
from .asking import check, checked


def key(rig: Any, bone: str, path: str, frame: int, value: tuple[float, float, float]) -> None:
    setattr(rig.pose.bones[bone], path, value)
    rig.pose.bones[bone].keyframe_insert(path, frame=frame)


def acting(human: Path, fk: bool) -> tuple[Any, str, str]:
    """The rig swaying with its left arm on the move; the control and property that move the hand."""
    rig = rigify_human.opened(human)
    bpy.context.scene.frame_start, bpy.context.scene.frame_end = 1, 60
    for side in "LR":
        rigify_human.switch(rig, f"upper_arm.{side}", float(fk))
    for frame in range(1, 76, 8):
        t = frame / 24
        key(rig, "torso", "location", frame, (0.15 * math.sin(1.3 * t), 0.3 * t, 0.03 * math.sin(4 * t)))
        key(rig, "chest", "rotation_euler", frame, (0.1 * math.sin(2 * t), 0.2 * math.sin(1.7 * t), 0))
        if fk:
            turn = (0.5 * math.sin(1.9 * t), 0.2, 0.3 * math.sin(1.3 * t))
            key(rig, "upper_arm_fk.L", "rotation_euler", frame, turn)
            key(rig, "forearm_fk.L", "rotation_euler", frame, (0.5 + 0.3 * math.sin(2.1 * t), 0, 0))
        else:
            place = (0.1 * math.sin(2 * t), 0.3 * t - 0.1, 0.25 * math.sin(1.7 * t) - 0.1)
            key(rig, "hand_ik.L", "location", frame, place)
    return rig, *(("forearm_fk.L", "rotation_euler") if fk else ("hand_ik.L", "location"))


@pytest.mark.parametrize("fk", [False, True], ids=["inverse", "forward"])
@pytest.mark.parametrize("operator", ["smooth_wiggle", "land_frame"])
def test_the_note_goes_away_on_a_generated_rig(human: Path, face: None, fk: bool, operator: str) -> None:
    rig, bone, path = acting(human, fk)
    far = 0.08 if fk else 0.02
    for index, curve in planted_keys.curves(rig, bone, path).items():
        values = {frame: curve.evaluate(frame) for frame in range(30, 40)}
        if index == 0 and operator == "smooth_wiggle":
            values |= {frame: values[frame] + (-1) ** frame * far for frame in range(31, 39)}
        elif index == 0:
            values[34] += 2 * far
        for frame, value in values.items():
            curve.keyframe_points.insert(frame, value)
    check()
    wanted = ("jitter",) if operator == "smooth_wiggle" else ("arc-break", "uneven-spacing")
    notes = checked().notes
    number, note = next((i, n) for i, n in enumerate(notes) if n.check in wanted and n.part == "hand.L")
    settings.show_row(number, bpy.context.scene)
    assert getattr(bpy.ops.plumbline, operator)() == {"FINISHED"}
    assert not [n.text for n in checked().notes if same(n, note)]
    assert not [n.text for n in checked().notes if n.severity.rank and not any(same(n, o) for o in notes)]
