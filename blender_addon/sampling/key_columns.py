# SPDX-License-Identifier: GPL-3.0-or-later
"""The numbers of many curves' keys, read into one column each.

Handles are read where a segment is Bezier, or the curve goes on along them beyond its ends, and what shapes an easing
where a segment eases: elsewhere Blender does not look at them, and reading them costs most of the time. Such handles
lie on their keys. Between baked keys, at most a frame apart, there is no time for a curve to be seen: they are taken
for linear, and their frames and values alone are read.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import bpy
import numpy as np

from ...core.shot import INTERPOLATIONS
from .played import Played

Array = np.ndarray

LINEAR, BEZIER = INTERPOLATIONS.index("LINEAR"), INTERPOLATIONS.index("BEZIER")
#: As many keys or more, all at most a frame apart, are baked.
BAKED = 12
#: What Blender gives a fresh key.
FRESH = {"easing": 0, "back": 1.70158, "amplitude": 0.8, "period": 4.1}
_EASINGS = ("AUTO", "EASE_IN", "EASE_OUT", "EASE_IN_OUT")


@dataclass(frozen=True)
class Columns:
    """K keys of C curves. begin (C,), end (C,): the rows of each, which may be none; baked (C,): whether it was taken
    for linear; on_key, left, right (K, 2) scene frame and value; action_frame, interpolation (K,); eased: the columns
    of FRESH, empty where nothing eases."""

    begin: Array
    end: Array
    baked: Array
    on_key: Array
    action_frame: Array
    left: Array
    right: Array
    interpolation: Array
    eased: dict[str, Array]


def columns_of(curves: Sequence[Played], within: tuple[float, float] | None) -> Columns:
    """The keys of these curves, each sorted by frame. within: (first, last) scene frames; keys beyond are left out but
    for the next one at each side."""
    read = _Reading(curves)
    on_key = read.floats("co", range(len(curves)), 2)
    action_frame = on_key[:, 0].copy()
    read.to_scene(on_key)
    begin, end = _window(curves, read, on_key[:, 0], within)
    far = np.concatenate([[0], np.cumsum(np.diff(on_key[:, 0]) > 1.0 + 1e-4)])
    inner = np.maximum(end - 1, begin)
    baked = (end - begin >= BAKED) & (far[np.minimum(inner, len(far) - 1)] == far[np.minimum(begin, len(far) - 1)])
    interpolation = np.full(len(on_key), LINEAR)
    loose = np.flatnonzero(~baked & (end > begin)).tolist()
    if loose:
        interpolation = np.where(read.rows_of(loose), _numbers()[0][read.ints("interpolation", loose)], LINEAR)
    kept = np.concatenate([[0], np.cumsum(_rows(begin, end, len(on_key)))])

    def having(what: Array) -> list[int]:
        count = np.concatenate([[0], np.cumsum(what)])
        return [k for k in loose if count[end[k]] > count[begin[k]]]

    eases = having(interpolation > BEZIER)
    bent = having(interpolation == BEZIER)
    bent = sorted({*bent, *(k for k in eases if curves[k].curve.extrapolation == "LINEAR")})
    left = right = on_key
    if bent:
        here = read.rows_of(bent)[:, None]
        left, right = (read.floats(name, bent, 2) for name in ("handle_left", "handle_right"))
        for handle in (left, right):
            read.to_scene(handle)
        if read.turned:
            back = np.repeat(read.slope < 0, read.count)[:, None]
            left, right = np.where(back, right, left), np.where(back, left, right)
        left, right = np.where(here, left, on_key), np.where(here, right, on_key)
    eased = {}
    if eases:
        here = read.rows_of(eases)
        eased["easing"] = np.where(here, _numbers()[1][read.ints("easing", eases)], FRESH["easing"])
        for name in ("back", "amplitude", "period"):
            eased[name] = np.where(here, read.floats(name, eases), FRESH[name])
        eased["period"] = np.where(here, eased["period"] * np.repeat(np.abs(read.slope), read.count), eased["period"])
    rows = _rows(begin, end, len(on_key))
    if not rows.all():
        on_key, action_frame, interpolation = on_key[rows], action_frame[rows], interpolation[rows]
        left, right = (on_key, on_key) if not bent else (left[rows], right[rows])
        eased = {name: column[rows] for name, column in eased.items()}
    return Columns(kept[begin], kept[end], baked, on_key, action_frame, left, right, interpolation, eased)


class _Reading:
    """Reads columns of all keys of some curves; rows of the others hold nothing of use."""

    def __init__(self, curves: Sequence[Played]) -> None:
        self._points = [curve.points for curve in curves]
        self.count = np.array([curve.count for curve in curves], int)
        self.stop = np.cumsum(self.count)
        self.start = self.stop - self.count
        self._total = int(self.count.sum())
        self.offset, self.slope = (np.array([getattr(c, name) for c in curves], float) for name in ("offset", "slope"))
        self.turned = np.flatnonzero(self.slope < 0).tolist()

    def floats(self, name: str, which: Sequence[int], width: int = 1) -> Array:
        return self._read(name, which, width, np.float32).astype(float)

    def ints(self, name: str, which: Sequence[int]) -> Array:
        return self._read(name, which, 1, np.int32)

    def rows_of(self, which: Sequence[int]) -> Array:
        """(K,) which rows belong to these curves."""
        mine = np.zeros(len(self.count), bool)
        mine[list(which)] = True
        return np.repeat(mine, self.count)

    def to_scene(self, points: Array) -> None:
        """Turns the curves' own frames of (K, 2) into scene frames."""
        if self.offset.any() or (self.slope != 1.0).any():
            points[:, 0] = np.repeat(self.offset, self.count) + np.repeat(self.slope, self.count) * points[:, 0]

    def _read(self, name: str, which: Sequence[int], width: int, kind: Any) -> Array:
        out = np.zeros(self._total * width, kind)
        start, stop = (self.start * width).tolist(), (self.stop * width).tolist()
        for k in which:
            self._points[k].foreach_get(name, out[start[k] : stop[k]])
        out = out.reshape(-1, width) if width > 1 else out
        for k in self.turned:
            mine = slice(self.start[k], self.stop[k])
            out[mine] = out[mine][::-1].copy()
        return out


def _window(
    curves: Sequence[Played], read: _Reading, frame: Array, within: tuple[float, float] | None
) -> tuple[Array, Array]:
    """First row and the row after the last of each curve's keys that are wanted."""
    begin, end = read.start.copy(), read.stop.copy()
    lo, hi = (np.array([getattr(c, name) for c in curves], float) for name in ("begin", "end"))
    if within is not None:
        lo, hi = np.maximum(lo, within[0]), np.minimum(hi, within[1])
    for k in np.flatnonzero((frame[begin] < lo) | (frame[end - 1] > hi) | (hi < lo)).tolist():
        mine = frame[begin[k] : end[k]]
        first = max(0, int(np.searchsorted(mine, lo[k], "right")) - 1)
        last = min(len(mine), int(np.searchsorted(mine, hi[k], "left")) + 1) if hi[k] >= lo[k] else first
        begin[k], end[k] = begin[k] + first, begin[k] + last
    return begin, end


def _rows(begin: Array, end: Array, count: int) -> Array:
    """(count,) which rows lie in one of the spans, which do not overlap."""
    steps = np.zeros(count + 1, int)
    np.add.at(steps, begin, 1)
    np.add.at(steps, end, -1)
    return np.asarray(np.cumsum(steps[:-1]) > 0)


@cache
def _numbers() -> tuple[Array, Array]:
    """Blender's numbers of interpolations and of easings -> the core's."""
    properties: Any = bpy.types.Keyframe.bl_rna.properties
    return (
        _table(properties["interpolation"].enum_items, INTERPOLATIONS),
        _table(properties["easing"].enum_items, _EASINGS),
    )


def _table(items: Any, names: Sequence[str]) -> Array:
    out = np.zeros(max(item.value for item in items) + 1, int)
    for item in items:
        if item.identifier in names:
            out[item.value] = names.index(item.identifier)
    return out
