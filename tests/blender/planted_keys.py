# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of spacing set into the keeper's clean take with keys, as an animator would have made them."""

import math
from collections.abc import Callable
from typing import Any

import bpy
from plumbline.blender_addon.compat import curves_of
from plumbline.sample_scenes import keeper_shot


def curves(rig: Any, bone: str, path: str) -> dict[int, Any]:
    """The curves of one property of a control, by index."""
    wanted = rig.pose.bones[bone].path_from_id(path)
    return {c.array_index: c for c, _ in curves_of(rig) if c.data_path == wanted}


def without(rig: Any, bone: str, path: str, first: int, last: int) -> None:
    """Keys between two frames, both inside, taken out."""
    for curve in curves(rig, bone, path).values():
        for k in reversed(range(len(curve.keyframe_points))):
            if first <= curve.keyframe_points[k].co.x <= last:
                curve.keyframe_points.remove(curve.keyframe_points[k])


def dead_stop(rig: Any) -> None:
    """The right hand swings up and stands from one frame to the next."""
    without(rig, "hand_ctrl.R", "location", 150, 192)
    place = (-.09, -.36, .52)
    keeper_shot.key(rig, "hand_ctrl.R", "location", [(164, -.03, -.06, .06), (174, *place), (192, *place)])
    for curve in curves(rig, "hand_ctrl.R", "location").values():
        last = next(p for p in curve.keyframe_points if round(p.co.x) == 174)
        before = next(p for p in curve.keyframe_points if round(p.co.x) == 164)
        last.handle_left_type = last.handle_right_type = "FREE"
        rise = last.co.y - before.co.y
        last.handle_left = (last.co.x - 3, last.co.y - 0.45 * rise)
        last.handle_right = (last.co.x + 3, last.co.y)
        curve.update()


def frozen(rig: Any) -> None:
    """Neck and head are held dead while he climbs."""
    for bone in ("neck", "head"):
        without(rig, bone, "rotation_euler", 29, 73)
        keeper_shot.key(rig, bone, "rotation_euler", [(30, .1, 0, 0), (70, .1, 0, 0)])


def wiggle(rig: Any) -> None:
    """The right hand trembles by two centimeters for eight frames."""
    _aside(rig, "hand_ctrl.R", {f: .02 * (-1) ** f for f in range(108, 116)})


def uneven(rig: Any) -> None:
    """One frame of the right hand's way up lags by 60 % of a step, among keys on every frame."""
    for curve in curves(rig, "hand_ctrl.R", "location").values():
        values = {f: curve.evaluate(f) for f in range(154, 163)}
        values[158] += 0.6 * (values[157] - values[158])
        for frame, value in values.items():
            curve.keyframe_points.insert(frame, value)


def kink(rig: Any) -> None:
    """One frame of the right hand's way up stands beside its arc."""
    _aside(rig, "hand_ctrl.R", {161: .03}, axis=0)


def _aside(rig: Any, bone: str, far: dict[int, float], axis: int = 0) -> None:
    """Some frames of a control's place moved aside, with keys on them and on the frames beside."""
    for k, curve in curves(rig, bone, "location").items():
        frames = range(min(far) - 1, max(far) + 2)
        values = [curve.evaluate(f) + (far.get(f, 0.0) if k == axis else 0.0) for f in frames]
        for f, value in zip(frames, values, strict=True):
            curve.keyframe_points.insert(f, value)


def twinned(rig: Any) -> None:
    """Chest and head turn as one on the same keys."""
    for bone in ("spine", "chest", "neck", "head", "pelvis"):
        without(rig, bone, "rotation_euler", 141, 192)
    for bone, turn in (("chest", 24), ("head", 18)):
        keeper_shot.key(rig, bone, "rotation_euler", [
            (144, 0, 0, 0), (156, 0, 0, 0), (166, 0, math.radians(turn), 0), (192, 0, math.radians(turn), 0)])


#: Check -> what plants its fault, and the operator that mends it.
PLANTED: dict[str, tuple[Callable[[Any], None], str]] = {
    "dead-stop": (dead_stop, "settle_stop"),
    "frozen-part": (frozen, "let_drift"),
    "jitter": (wiggle, "smooth_wiggle"),
    "uneven-spacing": (uneven, "land_frame"),
    "arc-break": (kink, "land_frame"),
    "twinned-stop": (twinned, "offset_block"),
}


def build(check: str) -> Any:
    """The keeper's clean take with one fault, in the open, empty file; returns the rig."""
    rig = keeper_shot.build()
    PLANTED[check][0](rig)
    bpy.context.scene.frame_set(keeper_shot.FIRST)
    return rig
