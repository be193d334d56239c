# SPDX-License-Identifier: GPL-3.0-or-later
"""Marks of notes on a time axis, as arrays of rectangles, triangles and letters in pixels of a region (y upward).

The rail hangs from the top of the scrub bar; the rows, one a lane, lie at the bottom of a tall editor. A bar is longer
when its note is worse; the selected one drops a plumb line at its worst frame. Nothing here asks Blender.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ...core.check import LANES
from ...core.note import Note
from ...core.palette import KEY, LANE_COLORS, PAPER

Array = np.ndarray

#: Heights of low, medium and high bars in pixels, and how bright their fills are.
HEIGHTS = np.array([3.0, 5.0, 8.0])
_FILLS = np.array([0.86, 0.93, 1.0])
#: How bright the ground of the stripes of a note on trial is.
_TRIAL_FILL = 0.36
#: Notes in view above which the rail gives a color to the high ones alone.
CROWD = 60
_HOLLOW = (0.161, 0.169, 0.180)  # inside of a note that was set aside
_LEAST = 3.0  # pixels of width that a bar keeps however short its span
_PITCH, _FIRST = 12.0, 12.0  # of the rows: pixels from row to row, and of the first above the region's edge
_ROOM = 60.0  # pixels above the rows that stay with the keys
#: Corners that a picture has room for at first.
_FEW = 4096
#: Which sides of a rectangle its two triangles' corners have as x and y.
_OF_SIDES = np.array([0, 1, 2, 1, 2, 3, 0, 1, 2, 3, 0, 3])
#: Of the six corners of a stripe: how far to its right side they lie in pixels, and how far up as a share.
_STRIPE_WIDE = np.array([0.0, 2.2, 2.2, 0.0, 2.2, 0.0])
_STRIPE_HIGH = np.array([0.0, 0.0, 1.0, 0.0, 1.0, 1.0])
#: A plumb bob below its line, pixels, and its keyline.
_BOB = ((-4.0, 0.0), (4.0, 0.0), (0.0, -7.0))
_BOB_KEY = ((-5.4, 0.8), (5.4, 0.8), (0.0, -8.6))
_LANE_TABLE = np.array([LANE_COLORS[name] for name in LANES])
_LETTER_LEAST = 13.0  # pixels of width from which a bar carries its letter


@dataclass(frozen=True)
class Table:
    """Columns of n notes: scene frames (float), severity rank, lane number, and flags; order: their places as they are
    drawn. ``selected`` is a place, or -1. Built once a result and filter, and with it what no view changes: heights
    (n,) of the bars, tints (n, 2, 4) of keyline and fill, bright (n, 4) of stripes and edges, signs: each letter and
    its color; loud: what keeps its color in a crowd."""

    notes: tuple[Note, ...]
    start: Array
    end: Array
    worst: Array
    rank: Array
    lane: Array
    trial: Array
    aside: Array
    order: Array
    heights: Array
    tints: Array
    bright: Array
    signs: tuple[tuple[str, tuple[float, float, float, float]], ...]
    loud: Array
    selected: int = -1


class Letter(NamedTuple):
    """A lane's letter with the middle of its foot at x, and its color."""

    text: str
    x: float
    y: float
    size: float
    color: tuple[float, float, float, float]


class Picture:
    """What to draw, in order: corners of triangles with their colors, and letters on top.

    hits: bars (n, 4) left, bottom, right, top in pixels, and the notes' places in the table, for the mouse. top: upper
    edge of the rows in pixels.
    """

    def __init__(self) -> None:
        self.letters: list[Letter] = []
        self.hits: Array = np.empty((0, 4))
        self.who: Array = np.empty(0, int)
        self.top = 0.0
        # written in place, as the graphics card wants them: a redraw in which the view moves makes all anew
        self._corners = np.zeros((_FEW, 3), np.float32)
        self._colors = np.empty((_FEW, 4), np.float32)
        self._count = 0

    def _room(self, more: int) -> slice:
        """Where so many more corners go."""
        start, self._count = self._count, self._count + more
        if self._count > len(self._corners):
            size = max(self._count, 2 * len(self._corners))
            corners, colors = np.zeros((size, 3), np.float32), np.empty((size, 4), np.float32)
            corners[:start], colors[:start] = self._corners[:start], self._colors[:start]
            self._corners, self._colors = corners, colors
        return slice(start, self._count)

    def rectangles(self, boxes: Array | Sequence[Sequence[float]], colors: Array | Sequence[float]) -> None:
        """Adds boxes (n, 4) left, bottom, right, top with colors (n, 4), or of one color (4,)."""
        sides = np.asarray(boxes, np.float32)
        if not len(sides):
            return
        self.pairs(sides.take(_OF_SIDES, axis=1).reshape(-1, 6, 2), colors)

    def rectangle(self, left: float, bottom: float, right: float, top: float, color: Sequence[float]) -> None:
        """Adds one box."""
        place = self._room(6)
        a, b, c, d = (left, bottom, 0.0), (right, bottom, 0.0), (left, top, 0.0), (right, top, 0.0)
        self._corners[place] = (a, b, c, b, d, c)
        self._colors[place] = color

    def bob(self, x: float, y: float, color: Sequence[float], u: float) -> None:
        """Adds a plumb bob that hangs from (x, y), with its keyline."""
        for shape, tint in ((_BOB_KEY, _rgba(KEY, 0.85)), (_BOB, color)):
            place = self._room(3)
            self._corners[place] = [(x + dx * u, y + dy * u, 0.0) for dx, dy in shape]
            self._colors[place] = tint

    def pairs(self, corners: Array, colors: Array | Sequence[float]) -> None:
        """Adds pairs of triangles (n, 6, 2) with colors (n, 4), or of one color (4,)."""
        place = self._room(6 * len(corners))
        self._corners[place].reshape(-1, 6, 3)[..., :2] = corners
        tints = np.asarray(colors, np.float32)
        self._colors[place].reshape(-1, 6, 4)[:] = tints if tints.ndim == 1 else tints[:, None]

    def arrays(self) -> tuple[Array, Array]:
        """All corners (3 m, 3) at z = 0 and colors (3 m, 4), float32."""
        return self._corners[: self._count], self._colors[: self._count]

    def hit(self, x: float, y: float, slack: float) -> int:
        """The place in the table of the bar that is seen under a pixel, else of one within ``slack`` of it, or -1."""
        left, bottom, right, top = self.hits.T
        for room in (0.0, slack):
            under = (x >= left - room) & (x <= right + room) & (y >= bottom - room) & (y <= top + room)
            if under.any():
                return int(self.who[np.flatnonzero(under)[-1]])  # the last drawn lies above the others
        return -1


@dataclass(frozen=True)
class Axis:
    """A region of time: pixel x of frame f is ``scale * f + shift``; width, height in pixels; unit: ui_scale."""

    scale: float
    shift: float
    width: float
    height: float
    unit: float = 1.0

    def x(self, frames: Array | float) -> Array:
        return np.asarray(frames, float) * self.scale + self.shift


def table(notes: Sequence[Note], selected: Note | None = None) -> Table:
    """The columns of these notes."""
    lanes = {name: i for i, name in enumerate(LANES)}
    start, end = np.array([n.start for n in notes], float), np.array([n.end for n in notes], float)
    rank = np.array([n.severity.rank for n in notes], int)
    lane = np.array([lanes[n.lane] for n in notes], int)
    trial, aside = np.array([n.trial for n in notes], bool), np.array([n.set_aside is not None for n in notes], bool)
    chosen = next((i for i, n in enumerate(notes) if n is selected), -1)
    bright = np.ones((len(notes), 4), np.float32)
    bright[:, :3] = _LANE_TABLE[lane]
    tints = np.ones((len(notes), 2, 4), np.float32)
    tints[:, 0] = _rgba(KEY, 0.85)
    tints[:, 1, :3] = _LANE_TABLE[lane] * np.where(trial, _TRIAL_FILL, _FILLS[rank])[:, None]
    tints[aside, 1, :3] = _HOLLOW
    return Table(
        tuple(notes),
        start,
        end,
        np.array([n.worst for n in notes], float),
        rank,
        lane,
        trial,
        aside,
        np.lexsort((start - end, -rank)),
        HEIGHTS[rank],
        tints,
        bright,
        tuple(
            (LANES[n.lane], _rgba(LANE_COLORS[n.lane] if n.trial or n.set_aside is not None else KEY)) for n in notes
        ),
        (rank == 2) | (np.arange(len(notes)) == chosen),
        chosen,
    )


def rail(t: Table, axis: Axis, hover: int = -1) -> Picture:
    """Bars that hang from the region's upper edge, within the top of its scrub bar."""
    out, u = Picture(), axis.unit
    if not len(t.notes):
        return out
    left, right = _spans(t, axis)
    seen = (right >= 0) & (left <= axis.width)
    top = axis.height
    out.rectangle(0, top - 10 * u, axis.width, top, _rgba(KEY, 0.80))
    if np.count_nonzero(seen) > CROWD:
        quiet = seen & ~t.loud
        out.rectangles(_merged(left[quiet], right[quiet], top - 3 * u, top - u), _rgba(PAPER, 0.42))
        seen &= t.loud
    order = t.order[seen[t.order]]
    boxes = _boxes(left[order], top - u - t.heights[order] * u, right[order], top - u)
    _bars(out, t, order, boxes, axis, hover)
    x, lane = 0.0, _rgba(KEY)
    if t.selected >= 0:
        x, lane = float(axis.x(t.worst[t.selected])), _lane(t, t.selected)
        out.rectangle(x - 1 * u, top - 9 * u, x + 1 * u, top - u, _rgba(KEY))
    _letters(out, t, order, boxes, u)  # over the notch, which would cut the letter of a bar that is worst at its start
    if t.selected >= 0:
        out.rectangle(x - 0.5 * u, top - 20 * u, x + 0.5 * u, top - 9 * u, lane)
        out.bob(x, top - 20 * u, lane, u)
    return out


def rows(t: Table, axis: Axis, hover: int = -1) -> Picture:
    """A row of bars for each lane that has notes, at the bottom of the region; the rail where the keys need the
    height."""
    lanes = np.unique(t.lane)
    u = axis.unit
    high = (_FIRST + _PITCH * len(lanes)) * u
    if not len(lanes) or high + _ROOM * u > axis.height:
        return rail(t, axis, hover)
    out = Picture()
    out.top = high + 2 * u
    left, right = _spans(t, axis)
    out.rectangle(0, 0, axis.width, high + 2 * u, _rgba(KEY, 0.80))
    out.rectangle(0, high + 1 * u, axis.width, high + 2 * u, (1.0, 1.0, 1.0, 0.10))
    # the catalogue's order from above
    top = {int(lane): high - _PITCH * u * k for k, lane in enumerate(lanes)}
    tints = np.full((len(top), 4), 0.16)
    tints[:, :3] = _LANE_TABLE[list(top)]
    out.rectangles([[0, y - 6 * u, axis.width, y - 5 * u] for y in top.values()], tints)
    hang = np.array([top.get(lane, 0.0) for lane in range(len(LANES))])[t.lane] - 1.5 * u
    seen = (right >= 0) & (left <= axis.width)
    order = t.order[seen[t.order]]
    boxes = _boxes(left[order], hang[order] - t.heights[order] * u, right[order], hang[order])
    _bars(out, t, order, boxes, axis, hover)
    if len(order) <= CROWD:
        # in a bar of a few frames a notch says nothing and cuts it in two
        wide = boxes[:, 2] - boxes[:, 0] >= _LETTER_LEAST * u
        notched = order[(t.rank[order] == 2) & ~t.aside[order] & wide]
        notches = axis.x(t.worst[notched])
        under = hang[notched]
        out.rectangles(_boxes(notches - u, under - 5 * u, notches + u, under), _rgba(KEY))
    tints[:, 3] = 1.0
    out.rectangles([[4 * u, y - 11.0 * u, 15.0 * u, y] for y in top.values()], tints)
    for lane, y in top.items():
        out.letters.append(Letter(list(LANES.values())[lane], 9.5 * u, y - 9.5 * u, 10.5 * u, _rgba(KEY)))
    if t.selected >= 0:
        x = float(axis.x(t.worst[t.selected]))
        lane_color = _lane(t, t.selected)
        above = axis.height - 28 * u  # the scrub bar's lower edge
        out.rectangle(x - 1.5 * u, high, x + 1.5 * u, above, _rgba(KEY, 0.5))
        out.rectangle(x - 0.5 * u, high, x + 0.5 * u, above, lane_color)
        out.bob(x, high + 8 * u, lane_color, u)
    return out


def plate(x: float, y: float, width: float, height: float, lane: Sequence[float], u: float) -> Picture:
    """A dark plate for words with its lower left corner at (x, y), the lane's bar at its left."""
    out = Picture()
    out.rectangle(x, y, x + width, y + height, _rgba(KEY, 0.80))
    out.rectangle(x, y, x + 3 * u, y + height, _rgba(lane))
    return out


def band(note: Note, bottom: float, top: float, pixel: float) -> Picture:
    """The selected note under curves, in frames and values: a band half a frame beyond its span, and the plumb line
    at its worst frame. pixel: frames that a pixel of the interface covers."""
    out = Picture()
    color = LANE_COLORS[note.lane]
    out.rectangle(note.start - 0.5, bottom, note.end + 0.5, top, _rgba(color, 0.10))
    for half, tint in ((1.5, _rgba(KEY, 0.5)), (0.5, _rgba(color))):
        out.rectangle(note.worst - half * pixel, bottom, note.worst + half * pixel, top, tint)
    return out


def _spans(t: Table, axis: Axis) -> tuple[Array, Array]:
    """Left and right pixel of each bar: half a frame beyond its span, and never too thin to see."""
    middle = (t.start + t.end) * (0.5 * axis.scale) + axis.shift
    half = np.maximum((t.end - t.start + 1.0) * (0.5 * axis.scale), 0.5 * _LEAST * axis.unit)
    return middle - half, middle + half


def _bars(out: Picture, t: Table, order: Array, boxes: Array, axis: Axis, hover: int) -> None:
    out.hits, out.who = boxes, order
    if not len(order):
        return
    u = axis.unit
    grow = np.array([-1.0, -1.0, 1.0, 1.0]) * u
    # interleaved, so that a bar's keyline covers the bar below it
    both = np.empty((len(order), 2, 4), np.float32)
    both[:, 0], both[:, 1] = boxes + grow, boxes
    out.rectangles(both.reshape(-1, 4), t.tints[order].reshape(-1, 4))
    trial = np.flatnonzero(t.trial[order])
    if len(trial):
        corners, of = _stripes(boxes[trial], axis)
        out.pairs(corners, t.bright[order[trial[of]]])
    aside = np.flatnonzero(t.aside[order])
    if len(aside):
        _frames(out, boxes[aside], t.bright[order[aside]] * (1.0, 1.0, 1.0, 0.80), u)
    for place, color in ((hover, _rgba(PAPER, 0.80)), (t.selected, (1.0, 1.0, 1.0, 1.0))):
        at = np.flatnonzero(order == place) if place >= 0 else ()
        if len(at):
            box = boxes[at[:1]]
            if place == hover:
                out.rectangles(box, (1.0, 1.0, 1.0, 0.28))
            _frames(out, box + grow, np.array([color]), u)


def _frames(out: Picture, boxes: Array, colors: Array, u: float) -> None:
    """Edges within boxes (n, 4), each box with its color (n, 4)."""
    left, bottom, right, top = boxes.T
    edges = [
        (left, top - u, right, top),
        (left, bottom, right, bottom + u),
        (left, bottom, left + u, top),
        (right - u, bottom, right, top),
    ]
    sides = np.array(edges).transpose(2, 0, 1).reshape(-1, 4)
    out.rectangles(sides, np.repeat(colors, 4, axis=0))


def _stripes(boxes: Array, axis: Axis) -> tuple[Array, Array]:
    """Stripes at 45 degrees, 2.2 pixels wide every 5, inside boxes (n, 4), as pairs of triangles (m, 6, 2), and of
    which box each stripe (m,) is. Only what lies in the region: a long bar's stripes start as if all of it were
    seen."""
    u = axis.unit
    left, bottom, right, top = boxes.T
    tall = top - bottom
    start = left - tall
    first = np.maximum(np.floor((-tall - start) / (5 * u)), 0)
    count = np.maximum(np.ceil((np.minimum(right, axis.width + tall) - start) / (5 * u)) - first, 0).astype(int)
    of = np.repeat(np.arange(len(boxes)), count)
    nth = np.arange(len(of)) - (np.cumsum(count) - count)[of]
    place = np.stack([start + first * 5 * u, left, right, bottom, tall])[:, of, None]
    foot, least, most, under, high = place
    foot += nth[:, None] * (5 * u)
    up = _STRIPE_HIGH * high
    corners = np.empty((len(of), 6, 2), np.float32)
    corners[..., 0] = np.minimum(np.maximum(foot + up + _STRIPE_WIDE * u, least), most)
    corners[..., 1] = under + up
    return corners, of


def _boxes(left: Array, bottom: Array | float, right: Array, top: Array | float) -> Array:
    """(n, 4)"""
    out = np.empty((len(left), 4))
    out[:, 0], out[:, 1], out[:, 2], out[:, 3] = left, bottom, right, top
    return out


def _merged(left: Array, right: Array, bottom: float, top: float) -> Array:
    """Boxes of one row, overlapping ones as one."""
    if not len(left):
        return np.empty((0, 4))
    order = np.argsort(left)
    left, reach = left[order], np.maximum.accumulate(right[order])
    gaps = np.flatnonzero(left[1:] > reach[:-1])
    return _boxes(left[np.append(0, gaps + 1)], bottom, reach[np.append(gaps, len(left) - 1)], top)


def _letters(out: Picture, t: Table, order: Array, boxes: Array, u: float) -> None:
    """Letters in high bars where no bar lies over them, and on a chip at the left end of the selected one; none among
    very many bars."""
    left, right = boxes[:, 0], boxes[:, 2]
    wide = right - left >= _LETTER_LEAST * u
    asks = np.flatnonzero((t.rank[order] == 2) & wide & (order != t.selected))
    if len(asks) and len(order) <= 2 * CROWD:
        x = np.stack([(left + right) / 2, left + 7 * u, right - 7 * u])[:, asks]  # the first is the best
        later = np.arange(len(order)) > asks[:, None]
        over: Array = (left < x[..., None] + 5 * u) & (right > x[..., None] - 5 * u) & later
        free = ~over.any(2)
        some = free.any(0)
        clear, place = asks[some], x[free.argmax(0), np.arange(len(asks))][some]
        feet = (boxes[clear, 3] - 8.0 * u).tolist()
        for i, middle, foot in zip(order[clear].tolist(), place.tolist(), feet, strict=True):
            text, color = t.signs[i]
            out.letters.append(Letter(text, middle, foot, 9 * u, color))
    for k in np.flatnonzero((order == t.selected) & wide):
        foot, top = float(boxes[k, 0]), float(boxes[k, 3])
        out.rectangle(foot - u, top - 10 * u, foot + 11 * u, top + u, _rgba(KEY))
        out.rectangle(foot, top - 9 * u, foot + 10 * u, top, _lane(t, t.selected))
        letter = LANES[t.notes[t.selected].lane]
        out.letters.append(Letter(letter, foot + 5 * u, top - 8.0 * u, 9 * u, _rgba(KEY)))


def _lane(t: Table, i: int) -> tuple[float, float, float, float]:
    return _rgba(LANE_COLORS[t.notes[i].lane])


def _rgba(color: Sequence[float], alpha: float = 1.0) -> tuple[float, float, float, float]:
    return (color[0], color[1], color[2], alpha)
