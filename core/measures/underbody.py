# SPDX-License-Identifier: GPL-3.0-or-later
"""The ground under parts other than feet: what meshes tell of it, else the level at which the feet stand."""
from dataclasses import dataclass

import numpy as np

from ..need import Need
from ..numeric.rotation import dot
from ..shot import Character
from ..study import Study, measure
from .footfalls import Footfalls, footfalls
from .tread import Tread, tread
from .underfoot import carried, floors, tells, under_points, upward

Array = np.ndarray

#: A surface up to this share of the leg over a point still counts as under it: flesh sinks into cushions.
ABOVE = 0.25
# part -> what it is called as a support, and how high its joint lies over what it rests on: of a leg, from memory of
# body breadths.
RESTS = {
    "hand": ("hand", 0.10),
    "forearm": ("elbow", 0.09),
    "shin": ("knee", 0.12),
    "pelvis": ("seat", 0.24),
    "chest": ("back", 0.24),
    "head": ("head", 0.22),
}


@dataclass(frozen=True)
class Underbody:
    """Points of parts that may rest on something, C of them, sample by sample.

    names (C): 'hand.L', 'knee.R', 'seat' ...; parts (C) whose joint each is; places (F, C, 3) m; over (F, C) m over
    what lies below; reach (C,) m, how high the joint lies when the part rests; known (F, C) bool: a mesh tells what
    lies below; motion (F - 1, C, 3) m, how that moves; level (F,) m, where the feet stand, along up.
    """
    names: tuple[str, ...]
    parts: tuple[str, ...]
    places: Array
    over: Array
    reach: Array
    known: Array
    motion: Array
    level: Array


@measure(Need.JOINTS | Need.GROUND, uses=(tread, footfalls, floors))
def underbody(study: Study, character: Character) -> Underbody:
    """Casts hands, elbows, knees, seat, back and head down on the meshes taken for ground. A hand lies as low as the
    lower of its wrist and its end."""
    up = upward(study.shot.gravity)
    leg = character.leg_length
    parts = [p for p in character.parts if p.partition(".")[0] in RESTS]
    f = study.shot.count
    heads = character.head_rows[:, [character.index[p] for p in parts]]
    places = heads.copy()
    for k, part in enumerate(parts):
        if part.startswith("hand"):
            end = character.tail_rows[:, character.index[part]]
            lower = up @ end < up @ heads[:, k]
            places[:, k] = np.where(lower, end, heads[:, k])
        elif part == "pelvis" and character.has("thigh.L", "thigh.R"):
            places[:, k] = (character.head_rows[:, character.index["thigh.L"]]
                            + character.head_rows[:, character.index["thigh.R"]]) / 2
    points = places.transpose(2, 1, 0)                                                   # (F, C, 3)
    level = _level(study.of(tread, character), study.of(footfalls, character), points, up, f)
    best = np.full((f, len(parts)), np.nan)
    motion = np.zeros((max(0, f - 1), len(parts), 3))
    still = study.of(floors)
    for k, surface in enumerate(study.shot.surfaces):
        if not tells(surface) or not parts:
            continue
        found, _ = under_points(points, surface, still.get(k), up, ABOVE * leg)
        with np.errstate(invalid="ignore"):
            higher = ~np.isnan(found) & ~(found <= best)
        best = np.where(higher, found, best)
        if surface.moving:
            motion = np.where(higher[:-1, :, None], carried(points, surface), motion)
    known = ~np.isnan(best)
    base = np.where(known, best, level[:, None])
    names = tuple(RESTS[p.partition(".")[0]][0] + p[p.index("."):] if "." in p else RESTS[p][0] for p in parts)
    reach = np.array([RESTS[p.partition(".")[0]][1] for p in parts]) * leg
    return Underbody(names, tuple(parts), points, dot(points, up) - base, reach, known, motion, level)


def _level(t: Tread, fallen: Footfalls, points: Array, up: Array, count: int) -> Array:
    """(F,) m along up: where the feet stand, between footfalls in a straight line; else the lowest joint."""
    heights = np.where(fallen.planted, t.places @ up, np.inf).min(1) if fallen.planted.size else np.zeros(0)
    down = np.flatnonzero(np.isfinite(heights))
    if len(down):
        return np.asarray(np.interp(np.arange(count), t.samples[down], heights[down]))
    low = float(dot(points, up).min()) if points.size else 0.0
    return np.full(count, low)
