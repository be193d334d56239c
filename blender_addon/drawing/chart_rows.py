# SPDX-License-Identifier: GPL-3.0-or-later
"""A timing chart on a time axis, as arrays of rectangles and words in pixels of a region (y upward). Nothing here asks
Blender.

One row a part: a block for each move with its length in frames, a line where it holds, a broken one where it holds
alive, a tick where a pose begins; the still tail of the shot is a lighter ground.
"""

import numpy as np

from ...core.chart import HOLD, MOVE, MOVING_HOLD, POSE, Chart, Row, spoken
from ...core.palette import KEY, LANE_COLORS, PAPER, Color
from .bars import Axis, Letter, Picture

Array = np.ndarray

#: Pixels from row to row, above the first row, and of a move's block.
_PITCH, _HEAD, _BLOCK = 13.0, 5.0, 9.0
#: Pixels of the scrub bar, which stays free.
_SCRUB = 30.0
#: Pixels of the scroll bar at the lower edge, which stays free where no marks lie over it.
_BAR = 12.0
#: Pixels of the line that counts the rows which have no room.
_MORE = 12.0
#: Pixels of width from which a block carries its length.
_LENGTH_LEAST = 18.0
#: Dash and gap of a moving hold, pixels.
_DASH, _GAP = 5.0, 4.0


def _rgba(color: Color, alpha: float = 1.0) -> tuple[float, float, float, float]:
    r, g, b = color
    return r, g, b, alpha


def fitting(chart: Chart, axis: Axis, free: float, below: float = 0.0) -> int:
    """How many rows there is room for from ``below`` pixels at the region's lower edge, which are taken, up to pixel
    ``free``, where the channels end."""
    u = axis.unit
    room = min(free, axis.height - _SCRUB * u) - max(below, _BAR * u) - _HEAD * u
    if room >= _PITCH * u * len(chart.rows):
        return len(chart.rows)
    return max(0, int((room - _MORE * u) / (_PITCH * u)))


def rows(chart: Chart, axis: Axis, free: float, below: float = 0.0) -> Picture:
    """The chart at the bottom, under all channels; as many rows as there is room for, and how many more there are.
    Letters with x in the middle of their foot are lengths, those at x = 0 the parts' names, which begin there.

    free: the pixel up to which no channel lies, so that no key is covered. below: pixels at the region's lower edge
    that other marks take.
    """
    out, u = Picture(), axis.unit
    count = fitting(chart, axis, free, below)
    if not count:
        return out
    more = len(chart.rows) - count
    foot = max(below, _BAR * u)
    top = foot + (_HEAD + _PITCH * count + (_MORE if more else 0.0)) * u
    out.rectangles(np.array([[0, foot, axis.width, top]]), _rgba(KEY, 0.80))
    ends = axis.x(np.array([chart.last - chart.tail, chart.last]))
    if chart.tail:
        out.rectangles(np.array([[ends[0], foot, ends[1], top]]), _rgba(PAPER, 0.10))
    for k, row in enumerate(chart.rows[:count]):
        _row(out, row, axis, top - (_HEAD + _PITCH * k) * u)
    if more:
        out.letters.append(Letter(f"+ {more}", 0.0, foot + 3 * u, 10 * u, _rgba(PAPER, 0.80)))
    out.top = top
    return out


def _row(out: Picture, row: Row, axis: Axis, top: float) -> None:
    u = axis.unit
    foot, middle = top - _BLOCK * u, top - _BLOCK * u / 2
    lane = LANE_COLORS["Spacing"]
    found = {kind: _spans(row, kind, axis) for kind in (MOVE, HOLD, MOVING_HOLD, POSE)}
    moves = found[MOVE]
    # a dark seam between moves that touch
    out.rectangles(np.column_stack([moves[:, 0], np.full(len(moves), foot), moves[:, 1] - u, np.full(len(moves), top)]),
                   _rgba(lane, 0.9))
    for kind, alpha in ((HOLD, 0.85), (MOVING_HOLD, 0.65)):
        spans = found[kind]
        if kind == MOVING_HOLD:
            spans = _dashes(spans, u)
        lines = np.full((len(spans), 4), middle)
        lines[:, 0], lines[:, 2] = spans[:, 0], spans[:, 1]
        lines[:, 1] -= 0.75 * u
        lines[:, 3] += 0.75 * u
        out.rectangles(lines, _rgba(PAPER, alpha))
    poses = found[POSE]
    out.rectangles(np.column_stack([poses[:, 0], np.full(len(poses), foot), poses[:, 0] + 1.5 * u,
                                    np.full(len(poses), top)]), _rgba(PAPER, 0.85))
    for one, (left, right) in zip(row.of(MOVE), moves.tolist(), strict=True):
        if right - left >= _LENGTH_LEAST * u and right > 0 and left < axis.width:
            out.letters.append(Letter(str(one.frames), (left + right) / 2, foot + 1.5 * u, 9 * u, _rgba(KEY)))
    out.letters.append(Letter(spoken(row), 0.0, foot + 1 * u, 10 * u, _rgba(PAPER)))


def _spans(row: Row, kind: str, axis: Axis) -> Array:
    """Left and right ends (n, 2) in pixels."""
    found = row.of(kind)
    frames = np.array([(s.first, s.last) for s in found], float).reshape(-1, 2)
    return np.asarray(axis.x(frames))


def _dashes(spans: Array, u: float) -> Array:
    """Dashes (n, 2) of lines with two ends (m, 2); a line of over 200 dashes gets longer ones."""
    length = spans[:, 1] - spans[:, 0]
    pitch = np.maximum((_DASH + _GAP) * u, length / 200)
    count = np.ceil(length / pitch - 1e-9).astype(int)
    which = np.repeat(np.arange(len(spans)), count)
    nth = np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
    starts = spans[which, 0] + nth * pitch[which]
    return np.column_stack([starts, np.minimum(starts + pitch[which] * _DASH / (_DASH + _GAP), spans[which, 1])])
