# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a note's pin and its words stand in a picture, beside the marks of its evidence. In pixels from the upper left
corner, whoever draws them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from .evidence import Arc, Arrow, Evidence, Label, Patch, ScreenOutline
from .marks import Frame, Mark, shown
from .note import Note
from .palette import LANE_COLORS

Array = np.ndarray


def spots(marks: Iterable[Mark]) -> Array:
    """All corners of marks, x and y (n, 2) in pixels."""
    lines = [line[:, :2] for mark in marks for line in mark.lines]
    return np.concatenate(lines) if lines else np.empty((0, 2))


def anchor(note: Note, marks: Sequence[Mark]) -> Array | None:
    """Where (2,) a line from a note's words ends: on a mark of the finding, not in the air beside it; None where
    nothing shows."""
    found = [m for m in marks if m.color == LANE_COLORS[note.lane]] or list(marks)
    at = spots(found)
    if not len(at):
        return None
    middle = (at.min(0) + at.max(0)) / 2
    out: Array = at[np.argmin(np.linalg.norm(at - middle, axis=1))]
    return out


def beside(
    marks: Sequence[Mark],
    at: Array | None,
    size: tuple[float, float],
    room: tuple[float, float, float, float],
    unit: float,
) -> Array:
    """Upper left corner (2,) of a plate of this size inside ``room`` (left, top, right, bottom in pixels): beside the
    marks, else below or above them, where there is no room for either as far from them as the room allows."""
    low, high = np.array(room[:2], float) + 8 * unit, np.array(room[2:], float) - 8 * unit
    most = np.maximum(high - size, low)
    if at is None:
        return np.asarray(low + 8 * unit)
    around = spots(marks)
    least, greatest = np.maximum(around.min(0), low), np.minimum(around.max(0), high)
    away = 26 * unit
    places = [
        (greatest[0] + away, at[1] - size[1] / 2),
        (least[0] - away - size[0], at[1] - size[1] / 2),
        (at[0] - size[0] / 2, greatest[1] + away),
        (at[0] - size[0] / 2, least[1] - away - size[1]),
    ]
    corners = [np.clip(place, low, most) for place in places]
    covered = [np.maximum(np.minimum(c + size, greatest) - np.maximum(c, least), 0).prod() for c in corners]
    out: Array = corners[int(np.argmin(covered))]  # the first of those that cover nothing
    return out


@dataclass(frozen=True)
class Pins:
    """What stands for the findings of n notes at one scene frame, whatever the view.

    places (m, 3): world meters, or x, y of the shot's picture in its units and 0 where ``units`` (m,) says so. of (m,):
    whose each is, a note's first choice before its second.
    """

    count: int
    places: Array
    units: Array
    of: Array

    def pixels(self, frame: Frame) -> Array:
        """Pixel and nearness (n, 3) of each note; NaN where nothing of it shows."""
        at = frame.pixels(self.places)
        if self.units.any():
            at[self.units] = frame.from_units(self.places[self.units, :2])
        out = np.full((self.count, 3), np.nan)
        good = np.flatnonzero(np.isfinite(at).all(axis=1))[::-1]  # the first choice is written last
        out[self.of[good]] = at[good]
        return out


def pins(notes: Sequence[Note], number: int, camera: bool = True) -> Pins:
    """What stands for each note's finding at scene frame ``number``.

    camera: the view is the shot's own camera, in which alone a screen outline has its place.
    """
    places: list[Sequence[float] | Array] = []
    units, of = [], []
    for n, note in enumerate(notes):
        for shape in sorted(shown(note, number, camera), key=lambda e: e.role != "found"):
            flat = isinstance(shape, ScreenOutline)
            places.append((*shape.places[0][:2], 0.0) if isinstance(shape, ScreenOutline) else _stands(shape, number))
            units.append(flat)
            of.append(n)
    return Pins(len(notes), np.array(places, float).reshape(-1, 3), np.array(units, bool), np.array(of, int))


def _stands(shape: Evidence, number: int) -> Sequence[float] | Array:
    """The place (3,) in the world that stands for a shape."""
    if isinstance(shape, Arc):
        return shape.centre
    if isinstance(shape, Arrow):
        return shape.end
    if isinstance(shape, Label):
        return shape.place
    if isinstance(shape, Patch):
        middle: Array = np.mean(shape.places, axis=0)
        return middle
    assert not isinstance(shape, ScreenOutline)
    each = len(shape.places) == shape.frames[1] - shape.frames[0] + 1
    return shape.places[number - shape.frames[0] if each else 0]
