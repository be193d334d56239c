# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedy of a figure that slid whole: the control that carries all of it goes back along the slide, for good."""

from typing import Any

import numpy as np

from ...core.remedy import Pin
from ..control_moves import FOLLOWS, Control, key, location_curves, shift
from ..translation import rpt_

Array = np.ndarray


def pin_body(context: Any, rig: Any, bones: tuple[str, ...], remedy: Pin, meters: float) -> str:
    """Keys the whole figure's move back; returns why it could not, or ''.

    bones: those of the rig that were measured; meters per unit of the scene.
    """
    first, last = remedy.frames
    context.scene.frame_set((first + last) // 2)
    control = carrier(context, rig, bones)
    if control is None:
        x, y, z = remedy.body[-1]
        return rpt_(
            "No one control of {:s} carries the whole figure: from frame {:d} to {:d} move all that it hangs on by "
            "({:+.2f}, {:+.2f}, {:+.2f}) m, and keep that from there on"
        ).format(rig.name, first, last, x, y, z)
    curves = location_curves(rig, control.bone)
    keyed = sorted({round(point.co.x) for curve in curves.values() for point in curve.keyframe_points})
    # up to the next key the way from the last one stays as it was, beside itself
    until = next((f for f in keyed if f > last), last)
    whole = np.arange(first, until + 1)
    back = np.array(remedy.body)[np.minimum(whole - first, len(remedy.body) - 1)] / meters
    later = [f for f in keyed if f > until]
    places = _moved(context, control, [*whole.tolist(), *later], np.vstack([back, np.repeat(back[-1:], len(later), 0)]))
    if not curves:
        for frame in (first, last):
            control.bone.keyframe_insert("location", frame=frame)
        curves = location_curves(rig, control.bone)
    onward = {k: _onward(curve, until) for k, curve in curves.items() if until > last}
    key(control, whole, places[: len(whole)], len(whole), meters)
    for k, way in onward.items():
        _go_on(curves[k], until, way)
    _lift(curves, dict(zip(later, places[len(whole) :], strict=True)))
    return ""


def carrier(context: Any, rig: Any, bones: tuple[str, ...]) -> Control | None:
    """The bone whose own move takes all measured bones along, whole: a keyed one if there is one, else a root."""
    every = sorted(rig.pose.bones, key=lambda bone: len(bone.parent_recursive))
    keyed = [bone for bone in every if location_curves(rig, bone)]
    roots = [bone for bone in every if bone.parent is None and not any(bone.lock_location)]
    for bone in dict.fromkeys([*keyed, *roots]):
        if _carries(context, Control(rig, bone), bones):
            return Control(rig, bone)
    return None


def _carries(context: Any, control: Control, bones: tuple[str, ...]) -> bool:
    """Whether a small move of the control moves all these bones as far."""
    rig, bone = control.rig, control.bone
    graph = context.evaluated_depsgraph_get()

    def places() -> Array:
        context.view_layer.update()
        posed = rig.evaluated_get(graph).pose.bones
        return np.array([rig.matrix_world @ posed[b].head for b in bones])

    kept = bone.location.copy()
    before = places()
    size = 0.02 * max(float(np.ptp(before, axis=0).max()), 1e-6)
    try:
        for axis in np.eye(3):
            bone.location = kept
            context.view_layer.update()
            shift(control, axis * size)
            if np.linalg.norm(places() - before - axis * size, axis=1).max() > FOLLOWS * size:
                return False
        return True
    finally:
        bone.location = kept
        context.view_layer.update()


def _moved(context: Any, control: Control, frames: list[int], offsets: Array) -> Array:
    """The control's own location (N, 3) on frames, moved by world offsets (N, 3) in units of the scene."""
    kept = control.bone.location.copy()
    out = []
    for frame, offset in zip(frames, offsets, strict=True):
        control.bone.location = kept  # what has no keys is not put back by the next frame
        context.scene.frame_set(frame)
        context.view_layer.update()
        shift(control, offset)
        out.append(tuple(control.bone.location))
    control.bone.location = kept
    return np.array(out)


def _point(curve: Any, frame: int) -> Any:
    """The curve's key on this frame, or None."""
    return next((point for point in curve.keyframe_points if round(point.co.x) == frame), None)


def _onward(curve: Any, frame: int) -> Any:
    """How the curve leaves its key on this frame; None without one."""
    point = _point(curve, frame)
    if point is None:
        return None
    return point.interpolation, point.handle_right_type, (point.handle_right - point.co).copy()


def _go_on(curve: Any, frame: int, way: Any) -> None:
    """Lets the curve leave its key on this frame as before."""
    point = _point(curve, frame)
    if way is None or point is None:
        return
    point.handle_left_type = "FREE" if way[1] in ("FREE", "VECTOR") else point.handle_left_type
    point.interpolation, point.handle_right_type, right = way
    if way[1] in ("FREE", "ALIGNED"):
        point.handle_right = point.co + right
    curve.update()


def _lift(curves: dict[int, Any], places: dict[int, Array]) -> None:
    """Keys, with their handles, put where the location (3,) of their frame says."""
    for k, curve in curves.items():
        for point in curve.keyframe_points:
            place = places.get(round(point.co.x))
            if place is not None:
                up = float(place[k]) - point.co.y
                for at in (point.co, point.handle_left, point.handle_right):
                    at.y += up
        curve.update()
