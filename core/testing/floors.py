# SPDX-License-Identifier: GPL-3.0-or-later
"""Captured and keyed clips set down on a floor that is known: what is told of gaps between soles and ground needs both.

No captured clip carries its ground, and its floor drifts by centimeters. Here a foot in contact is moved up or
down by its leg, until the points that stand lie on a level floor; what a foot does within 0.3 s stays.
"""
from dataclasses import replace

import numpy as np

from .. import body
from ..measures.footfalls import Footfalls, N, footfalls
from ..measures.sole import sole_of
from ..measures.tread import Tread, tread
from ..numeric.spans import sliding
from ..shot import Character, Shot, Surface, with_character
from ..study import Study
from . import edit

Array = np.ndarray

#: Half the side of the floor, meters.
HALF = 60.0
#: Seconds over which the floor of a capture keeps its height, in which a foot is moved as a whole.
STEADY = 0.3
#: A leg that would have to be straighter than this share of its length, and than in the clip, lets the body down.
REACH = 0.985
#: Seconds in which the body is let down.
EASE = 0.25


def floor(height: float = 0.0, name: str = "Floor") -> Surface:
    """A level square mesh, large enough for every clip."""
    a, b, c, d = ([x * HALF, y * HALF, height] for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1)))
    return Surface(name, "it is marked as ground", np.array([[a, b, c], [a, c, d]]), np.eye(4)[None])


def on_floor(shot: Shot) -> Shot:
    """The shot with its first character's feet set down on a level mesh at z = 0, its soles told by the card."""
    old = shot.characters[0]
    study = Study(shot)
    t: Tread = study.of(tread, old)
    fallen: Footfalls = study.of(footfalls, old)
    soles = {side: sole_of(old, side) for side in t.sides}
    levels = {side: _levels(t, fallen, side) for side in t.sides}
    every = [level for rows in levels.values() for _, level in rows]
    usual = float(np.median(np.concatenate(every))) if every else 0.0
    new = edit.shift(old, np.broadcast_to([0.0, 0.0, -usual], (shot.count, 3)))
    goals = {}
    for side, rows in levels.items():
        if rows and old.has(*body.LIMBS[f"leg.{side}"]):
            marks = np.concatenate([at for at, _ in rows])
            offset = np.interp(np.arange(shot.count), marks, usual - np.concatenate([level for _, level in rows]))
            goals[f"leg.{side}"] = new.head(f"foot.{side}") + offset[:, None] * np.array([0.0, 0.0, 1.0])
    new = _lowered(new, goals, shot.rate)
    for limb, place in goals.items():
        new = edit.reach(new, limb, place)
    known = tuple(replace(soles[side], source="card") for side in t.sides)
    return replace(with_character(shot, old, replace(new, soles=known)), surfaces=(floor(),))


def _lowered(character: Character, goals: dict[str, Array], rate: float) -> Character:
    """The body let down, smoothly, by as much as its legs are too short for their goals."""
    need = np.zeros(len(character.heads))
    for limb, place in goals.items():
        root, mid, end = body.LIMBS[limb]
        length = REACH * (character.rest_length(root) + character.rest_length(mid)) * character.scale
        line = place - character.head(root)
        was = np.linalg.norm(character.head(end) - character.head(root), axis=-1)
        level = np.linalg.norm(line[:, :2], axis=-1)
        room = np.sqrt(np.maximum(np.maximum(length, was) ** 2 - level**2, 0.0))
        need = np.maximum(need, -line[:, 2] - room)
    reach = max(1, round(EASE * rate))
    wide = sliding(np.maximum(need, 0.0), 2 * reach, np.maximum)
    weight = np.hanning(2 * reach + 3)[1:-1]
    smooth = np.convolve(np.pad(wide, reach, mode="edge"), weight / weight.sum(), mode="valid")
    return edit.shift(character, -smooth[:, None] * np.array([0.0, 0.0, 1.0]))


def _levels(t: Tread, fallen: Footfalls, side: str) -> list[tuple[Array, Array]]:
    """Samples (n,) of each contact of a foot, and the height (n,) near which its standing points lie there."""
    k = t.sides.index(side)
    columns = slice(k * N, k * N + N)
    height = np.where(fallen.planted[:, columns], t.places[:, columns, 2], np.inf).min(1)
    out = []
    for fall in fallen.falls[f"foot.{side}"]:
        rows = np.flatnonzero((t.samples >= fall.span.first) & (t.samples <= fall.span.last) & np.isfinite(height))
        if len(rows):
            reach = max(1, round(STEADY / 2 * t.rate))
            near = [np.median(height[rows[max(0, i - reach):i + reach + 1]]) for i in range(len(rows))]
            out.append((t.samples[rows], np.array(near)))
    return out
