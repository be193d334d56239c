# SPDX-License-Identifier: GPL-3.0-or-later
"""Marks of notes on a time axis, as arrays of rectangles, triangles and letters in pixels of a region (y upward).

The rail hangs from the top of the scrub bar; the rows, one a lane, lie at the bottom of a tall editor. A bar is longer
when its note is worse; the selected one drops a plumb line at its worst frame. Nothing here asks Blender.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from ...core.check import LANES
from ...core.note import Note
from ...core.palette import KEY, LANE_COLORS, PAPER

Array = np.ndarray

#: Heights of low, medium and high bars in pixels, and how bright their fills are.
HEIGHTS = np.array([3.0, 5.0, 8.0])
_FILLS = np.array([0.86, 0.93, 1.0])
#: Notes in view above which the rail gives a color to the high ones alone.
CROWD = 60
_HOLLOW = (0.161, 0.169, 0.180)  # inside of a note that was set aside
_LEAST = 3.0  # pixels of width that a bar keeps however short its span
_PITCH, _FIRST = 12.0, 12.0  # of the rows: pixels from row to row, and of the first above the region's edge
_ROOM = 60.0  # pixels above the rows that stay with the keys
_LETTER_LEAST = 13.0  # pixels of width from which a bar carries its letter


@dataclass(frozen=True)
class Table:
    """Columns of n notes: scene frames (float), severity rank, lane number, and flags. ``selected`` is a place, or
    -1. Built once a result and filter."""

    notes: tuple[Note, ...]
    start: Array
    end: Array
    worst: Array
    rank: Array
    lane: Array
    trial: Array
    aside: Array
    selected: int = -1


@dataclass(frozen=True)
class Letter:
    """A lane's letter with the middle of its foot at x, and its color."""

    text: str
    x: float
    y: float
    size: float
    color: tuple[float, float, float, float]


@dataclass
class Picture:
    """What to draw, in order: corners (3 m, 2) of triangles with colors (3 m, 4), and letters on top.

    hits: bars (n, 4) left, bottom, right, top in pixels, and the notes' places in the table, for the mouse. top: upper
    edge of the rows in pixels.
    """

    corners: list[Array] = field(default_factory=list)
    colors: list[Array] = field(default_factory=list)
    letters: list[Letter] = field(default_factory=list)
    hits: Array = field(default_factory=lambda: np.empty((0, 4)))
    who: Array = field(default_factory=lambda: np.empty(0, int))
    top: float = 0.0

    def rectangles(self, boxes: Array, colors: Array | Sequence[float]) -> None:
        """Adds boxes (n, 4) left, bottom, right, top with colors (n, 4) or (4,)."""
        if not len(boxes):
            return
        self.corners.append(boxes[:, [0, 1, 2, 1, 2, 3, 0, 1, 2, 3, 0, 3]].reshape(-1, 2))
        self.colors.append(np.repeat(np.broadcast_to(colors, (len(boxes), 4)), 6, axis=0))

    def triangles(self, corners: Array, color: Sequence[float]) -> None:
        """Adds triangles (3 m, 2) of one color."""
        if len(corners):
            self.corners.append(corners)
            self.colors.append(np.broadcast_to(np.asarray(color, float), (len(corners), 4)))

    def arrays(self) -> tuple[Array, Array]:
        """All corners (3 m, 3) at z = 0 and colors (3 m, 4), float32."""
        if not self.corners:
            return np.empty((0, 3), np.float32), np.empty((0, 4), np.float32)
        flat = np.concatenate(self.corners)
        corners = np.zeros((len(flat), 3), np.float32)
        corners[:, :2] = flat
        return corners, np.concatenate(self.colors).astype(np.float32)

    def hit(self, x: float, y: float, slack: float) -> int:
        """The place in the table of the bar under a pixel, the shortest where several lie there, or -1."""
        h = self.hits
        if not len(h):
            return -1
        inside = np.flatnonzero(
            (x >= h[:, 0] - slack) & (x <= h[:, 2] + slack) & (y >= h[:, 1] - slack) & (y <= h[:, 3] + slack)
        )
        if not len(inside):
            return -1
        return int(self.who[inside[np.argmin((h[:, 2] - h[:, 0])[inside])]])


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
    return Table(
        tuple(notes),
        np.array([n.start for n in notes], float),
        np.array([n.end for n in notes], float),
        np.array([n.worst for n in notes], float),
        np.array([n.severity.rank for n in notes], int),
        np.array([lanes[n.lane] for n in notes], int),
        np.array([n.trial for n in notes], bool),
        np.array([n.set_aside is not None for n in notes], bool),
        next((i for i, n in enumerate(notes) if n is selected), -1),
    )


def rail(t: Table, axis: Axis, hover: int = -1) -> Picture:
    """Bars that hang from the region's upper edge, within the top of its scrub bar."""
    out, u = Picture(), axis.unit
    if not len(t.notes):
        return out
    left, right = _spans(t, axis)
    seen = np.flatnonzero((right >= 0) & (left <= axis.width))
    top = axis.height
    out.rectangles(np.array([[0, top - 10 * u, axis.width, top]]), _rgba(KEY, 0.80))
    if len(seen) > CROWD:
        quiet = seen[(t.rank[seen] < 2) & (seen != t.selected)]
        boxes = np.stack([left, np.full_like(left, top - 3 * u), right, np.full_like(left, top - 1 * u)], 1)[quiet]
        out.rectangles(_merged(boxes), _rgba(PAPER, 0.42))
        seen = seen[(t.rank[seen] == 2) | (seen == t.selected)]
    order = _order(t, seen)
    boxes = np.stack([left, top - u - HEIGHTS[t.rank] * u, right, np.full_like(left, top - u)], 1)[order]
    _bars(out, t, order, boxes, u, hover)
    _letters(out, t, order, boxes, u)
    if t.selected >= 0:
        x = float(axis.x(t.worst[t.selected]))
        lane = _lane(t, t.selected)
        out.rectangles(np.array([[x - 1 * u, top - 9 * u, x + 1 * u, top - u]]), _rgba(KEY))
        out.rectangles(np.array([[x - 0.5 * u, top - 20 * u, x + 0.5 * u, top - 9 * u]]), lane)
        bob = np.array([[x - 4 * u, top - 20 * u], [x + 4 * u, top - 20 * u], [x, top - 27 * u]])
        out.triangles(_grown(bob, 1.0 * u), _rgba(KEY, 0.85))
        out.triangles(bob, lane)
    return out


def rows(t: Table, axis: Axis, hover: int = -1) -> Picture:
    """A row of bars for each lane that has notes, at the bottom of the region; the rail where the keys need the
    height."""
    lanes = np.unique(t.lane)
    u = axis.unit
    high = (_FIRST + _PITCH * len(lanes)) * u
    if not len(lanes) or high + _ROOM * u > axis.height:
        return rail(t, axis, hover)
    out = Picture(top=high + 2 * u)
    left, right = _spans(t, axis)
    out.rectangles(np.array([[0, 0, axis.width, high + 2 * u]]), _rgba(KEY, 0.80))
    out.rectangles(np.array([[0, high + 1 * u, axis.width, high + 2 * u]]), (1.0, 1.0, 1.0, 0.10))
    # the catalogue's order from above
    top = {int(lane): high - _PITCH * u * k for k, lane in enumerate(lanes)}
    for lane, y in top.items():
        color = LANE_COLORS[list(LANES)[lane]]
        out.rectangles(np.array([[0, y - 6 * u, axis.width, y - 5 * u]]), _rgba(color, 0.16))
    hang = np.array([top[int(k)] for k in t.lane]) - 1.5 * u
    seen = np.flatnonzero((right >= 0) & (left <= axis.width))
    order = _order(t, seen)
    boxes = np.stack([left, hang - HEIGHTS[t.rank] * u, right, hang], 1)[order]
    _bars(out, t, order, boxes, u, hover)
    if len(seen) <= CROWD:
        notched = order[(t.rank[order] == 2) & ~t.aside[order]]
        notches = axis.x(t.worst[notched])
        under = hang[notched]
        out.rectangles(np.stack([notches - u, under - 5 * u, notches + u, under], 1), _rgba(KEY))
    for lane, y in top.items():
        name = list(LANES)[lane]
        out.rectangles(np.array([[4 * u, y - 11.0 * u, 15.0 * u, y]]), _rgba(LANE_COLORS[name]))
        out.letters.append(Letter(LANES[name], 9.5 * u, y - 9.5 * u, 10.5 * u, _rgba(KEY)))
    if t.selected >= 0:
        x = float(axis.x(t.worst[t.selected]))
        lane_color = _lane(t, t.selected)
        above = axis.height - 28 * u  # the scrub bar's lower edge
        out.rectangles(np.array([[x - 1.5 * u, high, x + 1.5 * u, above]]), _rgba(KEY, 0.5))
        out.rectangles(np.array([[x - 0.5 * u, high, x + 0.5 * u, above]]), lane_color)
        bob = np.array([[x - 4 * u, high + 8 * u], [x + 4 * u, high + 8 * u], [x, high + 1 * u]])
        out.triangles(_grown(bob, 1.0 * u), _rgba(KEY, 0.85))
        out.triangles(bob, lane_color)
    return out


def plate(x: float, y: float, width: float, height: float, lane: Sequence[float], u: float) -> Picture:
    """A dark plate for words with its lower left corner at (x, y), the lane's bar at its left."""
    out = Picture()
    out.rectangles(np.array([[x, y, x + width, y + height]]), _rgba(KEY, 0.80))
    out.rectangles(np.array([[x, y, x + 3 * u, y + height]]), _rgba(lane))
    return out


def band(note: Note, bottom: float, top: float, pixel: float) -> Picture:
    """The selected note under curves, in frames and values: a band half a frame beyond its span, and the plumb line
    at its worst frame. pixel: frames that a pixel of the interface covers."""
    out = Picture()
    color = LANE_COLORS[note.lane]
    out.rectangles(np.array([[note.start - 0.5, bottom, note.end + 0.5, top]]), _rgba(color, 0.10))
    for half, tint in ((1.5, _rgba(KEY, 0.5)), (0.5, _rgba(color))):
        out.rectangles(np.array([[note.worst - half * pixel, bottom, note.worst + half * pixel, top]]), tint)
    return out


def _spans(t: Table, axis: Axis) -> tuple[Array, Array]:
    """Left and right pixel of each bar: half a frame beyond its span, and never too thin to see."""
    left, right = axis.x(t.start - 0.5), axis.x(t.end + 0.5)
    wide = np.maximum(right - left, _LEAST * axis.unit)
    middle = (left + right) / 2
    return middle - wide / 2, middle + wide / 2


def _bars(out: Picture, t: Table, order: Array, boxes: Array, u: float, hover: int) -> None:
    if not len(order):
        return
    grow = np.array([-1.0, -1.0, 1.0, 1.0]) * u
    rgb = np.array([LANE_COLORS[name] for name in LANES])[t.lane[order]]
    fills = np.concatenate([rgb * _FILLS[t.rank[order], None], np.ones((len(order), 1))], axis=1)
    trial, aside = t.trial[order], t.aside[order]
    fills[trial, :3] = rgb[trial] * 0.36
    fills[aside, :3] = _HOLLOW
    # interleaved, so that a bar's keyline covers the bar below it
    keyline = np.broadcast_to(_rgba(KEY, 0.85), (len(order), 4))
    both = np.stack([boxes + grow, boxes], axis=1).reshape(-1, 4)
    out.rectangles(both, np.stack([keyline, fills], axis=1).reshape(-1, 4))
    for k in np.flatnonzero(trial):
        out.triangles(_stripes(boxes[k], u), (*rgb[k], 1.0))
    for k in np.flatnonzero(aside):
        _frame(out, boxes[k], (*rgb[k], 0.80), u)
    for place, color in ((hover, _rgba(PAPER, 0.80)), (t.selected, (1.0, 1.0, 1.0, 1.0))):
        at = np.flatnonzero(order == place)
        if place >= 0 and len(at):
            box = boxes[at[0]]
            if place == hover:
                out.rectangles(box[None], (1.0, 1.0, 1.0, 0.28))
            _frame(out, box + grow, color, u)
    out.hits, out.who = boxes, order


def _frame(out: Picture, box: Array, color: Sequence[float], u: float) -> None:
    left, bottom, right, top = box
    out.rectangles(
        np.array(
            [
                [left, top - u, right, top],
                [left, bottom, right, bottom + u],
                [left, bottom, left + u, top],
                [right - u, bottom, right, top],
            ]
        ),
        np.asarray(color, float),
    )


def _stripes(box: Array, u: float) -> Array:
    """Triangles (3 m, 2) of stripes at 45 degrees, 2.2 pixels wide every 5, inside a box."""
    left, bottom, right, top = box
    foot = np.arange(left - (top - bottom), right, 5 * u)
    corners = np.stack([foot, foot + 2.2 * u, foot + 2.2 * u + top - bottom, foot + top - bottom], axis=1)
    corners = np.clip(corners, left, right)
    n = len(foot)
    x = corners[:, [0, 1, 2, 0, 2, 3]].ravel()
    y = np.tile([bottom, bottom, top, bottom, top, top], n)
    return np.stack([x, y], axis=1)


def _merged(boxes: Array) -> Array:
    """Boxes of one row, overlapping ones as one."""
    if not len(boxes):
        return boxes
    boxes = boxes[np.argsort(boxes[:, 0])]
    reach = np.maximum.accumulate(boxes[:, 2])
    first = np.concatenate([[True], boxes[1:, 0] > reach[:-1]])
    starts = np.flatnonzero(first)
    ends = np.append(starts[1:], len(boxes)) - 1
    out = boxes[starts].copy()
    out[:, 2] = reach[ends]
    return out


def _order(t: Table, seen: Array) -> Array:
    """The order in which bars are drawn: high and long ones first, so that what is nested in them stays visible."""
    out: Array = seen[np.lexsort((t.start[seen] - t.end[seen], -t.rank[seen]))]
    return out


def _letters(out: Picture, t: Table, order: Array, boxes: Array, u: float) -> None:
    """Letters in high bars where no bar lies over them, and on a chip at the left end of the selected one."""
    place = np.full(len(order), np.nan)
    for x in (boxes[:, 2] - 7 * u, boxes[:, 0] + 7 * u, (boxes[:, 0] + boxes[:, 2]) / 2):  # the last is the best
        over = (boxes[None, :, 0] < x[:, None] + 5 * u) & (boxes[None, :, 2] > x[:, None] - 5 * u)
        place = np.where(np.triu(over, 1).any(1), place, x)
    wide = boxes[:, 2] - boxes[:, 0] >= _LETTER_LEAST * u
    for k in np.flatnonzero((t.rank[order] == 2) & wide & np.isfinite(place) & (order != t.selected)):
        i, y = int(order[k]), float(boxes[k, 3]) - 8.0 * u
        color = _lane(t, i) if t.trial[i] or t.aside[i] else _rgba(KEY)
        out.letters.append(Letter(LANES[t.notes[i].lane], float(place[k]), y, 9 * u, color))
    for k in np.flatnonzero((order == t.selected) & wide):
        left, top = float(boxes[k, 0]), float(boxes[k, 3])
        chip = np.array([[left, top - 9 * u, left + 10 * u, top]])
        out.rectangles(chip + np.array([-1.0, -1.0, 1.0, 1.0]) * u, _rgba(KEY))
        out.rectangles(chip, _lane(t, t.selected))
        letter = LANES[t.notes[t.selected].lane]
        out.letters.append(Letter(letter, left + 5 * u, top - 8.0 * u, 9 * u, _rgba(KEY)))


def _lane(t: Table, i: int) -> tuple[float, float, float, float]:
    return _rgba(LANE_COLORS[t.notes[i].lane])


def _grown(triangle: Array, by: float) -> Array:
    """A triangle with its corners further from its middle."""
    away = triangle - triangle.mean(0)
    out: Array = triangle + away / np.linalg.norm(away, axis=1)[:, None] * by * 1.6
    return out


def _rgba(color: Sequence[float], alpha: float = 1.0) -> tuple[float, float, float, float]:
    return (color[0], color[1], color[2], alpha)
