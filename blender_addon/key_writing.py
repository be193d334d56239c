# SPDX-License-Identifier: GPL-3.0-or-later
"""Wanted values put on curves with few keys: what lies outside the span keeps its way, and keys that nobody named
stay."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..core.key_fit import ON_FRAME, first_choice, slopes, worst_miss
from .named_channels import Named

Array = np.ndarray

#: Interpolations that a key may be set into without another way outside.
_SPLIT = ("BEZIER", "LINEAR", "CONSTANT")


class Standing(ValueError):
    """A key that may not be moved stands in the span, or a piece of curve that no key can split: of which channel of
    which owner, and the scene frame."""

    def __init__(self, channel: Named, frame: float) -> None:
        super().__init__(f"{channel.owner} {channel.channel} in frame {frame:g}")
        self.channel, self.frame = channel, frame


def write(
    channels: Sequence[Named], first: int, wanted: Array, close: Array, stays: tuple[bool, bool] = (True, True)
) -> None:
    """Brings curves to the wanted values (C, N) on whole scene frames from ``first`` on, within ``close`` (C,) each.

    The first and the last of these frames keep the values that they have where they are to ``stays``: a key is set
    there where none stands, so that the curves outside stay as they were. All curves are keyed on the same frames.
    Raises Standing where a key that the note does not name stands between both.
    """
    frames = np.arange(first, first + wanted.shape[1])
    refuse(channels, int(frames[0]), int(frames[-1]))
    named = {f for c in channels for f in _named_inside(c, frames)}
    for channel in channels:
        _bound(channel, frames)
    chosen = {0, len(frames) - 1, *(int(r) for r in np.rint(np.array(sorted(named)) - first)), *first_choice(wanted)}
    off_frame = [f for f in named if abs(f - round(f)) > ON_FRAME]
    for _ in range(len(frames)):
        for channel, values in zip(channels, wanted, strict=True):
            _key(channel, frames, values, sorted(chosen), off_frame, stays)
        made = np.array([c.values(frames) for c in channels])
        keyed = np.zeros(len(frames), bool)
        keyed[list(chosen)] = True
        row = worst_miss(made, wanted, close, keyed)
        if row is None:
            return
        chosen.add(row)


def refuse(channels: Sequence[Named], first: int, last: int) -> None:
    """Raises Standing where ``write`` could not bring these curves elsewhere between two scene frames that stay."""
    for channel in channels:
        at = channel.frames()
        inside = (at > first + ON_FRAME) & (at < last - ON_FRAME)
        inside[list(channel.points)] = False
        if inside.any():
            raise Standing(channel, float(at[inside][0]))
        for end in (first, last):
            _kind_at(channel, channel.at(float(end)))


def _named_inside(channel: Named, frames: Array) -> list[float]:
    at = channel.frames()[list(channel.points)]
    return [float(f) for f in at if frames[0] - ON_FRAME <= f <= frames[-1] + ON_FRAME]


def _bound(channel: Named, frames: Array) -> None:
    """Keys at both ends of the span where none stand, that leave the curve outside as it is."""
    curve, near = channel.curve, 0.02
    ends = [channel.at(float(f)) for f in (frames[0], frames[-1])]
    kinds = [_kind_at(channel, at) for at in ends]
    outside = (
        (curve.evaluate(ends[0]) - curve.evaluate(ends[0] - near)) / near,
        (curve.evaluate(ends[1] + near) - curve.evaluate(ends[1])) / near,
    )
    for at, slope, kind in zip(ends, outside, kinds, strict=True):
        if _point(curve, at) is None:
            point = curve.keyframe_points.insert(at, curve.evaluate(at))
            point.interpolation = kind
            if kind == "BEZIER":
                _free(curve, at, slope)


def _kind_at(channel: Named, at: float) -> str:
    """How the curve runs at a frame of its own where no key stands."""
    points = channel.curve.keyframe_points
    before = [p for p in points if p.co.x < at]
    kind = str(before[-1].interpolation) if before else "BEZIER"
    if kind in _SPLIT or before[-1] == points[-1] or _point(channel.curve, at) is not None:
        return kind if kind in _SPLIT else "BEZIER"
    raise Standing(channel, channel.offset + channel.slope * at)


def _free(curve: Any, at: float, slope: float) -> None:
    """The key's handles on a slope of the curve's own frames, a third of the way to the neighbors long."""
    point = _point(curve, at)
    k = next(i for i, p in enumerate(curve.keyframe_points) if p.co.x == point.co.x)
    points = curve.keyframe_points
    left = (point.co.x - points[k - 1].co.x) / 3 if k else 1.0
    right = (points[k + 1].co.x - point.co.x) / 3 if k + 1 < len(points) else 1.0
    point.handle_left_type = point.handle_right_type = "FREE"
    point.handle_left = (point.co.x - left, point.co.y - slope * left)
    point.handle_right = (point.co.x + right, point.co.y + slope * right)
    curve.update()


def _point(curve: Any, at: float) -> Any:
    return next((p for p in curve.keyframe_points if abs(p.co.x - at) <= ON_FRAME), None)


def _key(
    channel: Named, frames: Array, wanted: Array, rows: list[int], off_frame: list[float], stays: tuple[bool, bool]
) -> None:
    """Keys on the rows (the span's ends among them) with handles along the wanted values."""
    curve = channel.curve
    named = {round(float(channel.at(f)), 3) for f in _named_inside(channel, frames)}
    steep = slopes(wanted) / channel.slope
    at = [channel.at(float(frames[r])) for r in rows]
    values = [float(wanted[r]) for r in rows]
    slope = [float(steep[r]) for r in rows]
    for f in off_frame:  # a named key between two frames keeps its time
        if any(abs(f - g) <= ON_FRAME for g in _named_inside(channel, frames)):
            at.append(channel.at(f))
            values.append(float(np.interp(f, frames, wanted)))
            slope.append(float(np.interp(f, frames, steep)))
    order = np.argsort(at)
    at, values, slope = ([column[k] for k in order] for column in (at, values, slope))
    for f, value in zip(at[1:-1], values[1:-1], strict=True):
        if _point(curve, f) is None:
            curve.keyframe_points.insert(f, value, options={"FAST"})
    points = [_point(curve, f) for f in at]
    for k, (point, value) in enumerate(zip(points, values, strict=True)):
        if 0 < k < len(points) - 1 or not stays[k > 0]:
            point.co.y = value
            point.handle_left_type = point.handle_right_type = "ALIGNED"
        elif not any(abs(point.co.x - f) <= ON_FRAME for f in named) and point.handle_right_type not in ("FREE",):
            continue  # nobody named it: Blender alone may lay its handles
        else:
            _keep_free(point)
        before, after = (points[min(max(j, 0), len(points) - 1)].co.x for j in (k - 1, k + 1))
        if k + 1 < len(points) or not stays[1]:
            third = (after - point.co.x) / 3 or 1.0
            point.handle_right = (point.co.x + third, point.co.y + slope[k] * third)
        if k + 1 < len(points):
            point.interpolation = "BEZIER"
        if k or not stays[0]:
            third = (point.co.x - before) / 3 or 1.0
            point.handle_left = (point.co.x - third, point.co.y - slope[k] * third)
    curve.update()


def _keep_free(point: Any) -> None:
    """Lets one handle be moved without the other."""
    kept = point.handle_left.copy(), point.handle_right.copy()
    point.handle_left_type = point.handle_right_type = "FREE"
    point.handle_left, point.handle_right = kept
