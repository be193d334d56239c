# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a frame that breaks its path should land: as a remedy, as what is drawn, and the keys behind it."""

import numpy as np

from ..evidence import Arrow, Evidence, Label, Point, Polyline, places
from ..note import KeyReference
from ..numeric.rotation import norm
from ..remedy import Land
from ..shot import Character
from ..study import Study
from .breaks import Break
from .in_reach import arm_of, in_reach, reached
from .key_refs import keys_in
from .paths import where
from .ticks import MOVED_BY, PATHS, Ticks, ticks

Array = np.ndarray

#: Drawings drawn on each side of a break, and of the smooth path there.
AROUND, NEAR = 6, 4


def landing(known: Ticks, one: Break) -> tuple[int, Array]:
    """The first drawing that the smooth path changes, and by how many legs (N, 3) each from it on is off that path.

    One drawing out of place is one at any rate. A corner is spread evenly over three drawings of 24 to 36 a second,
    however many more there are: one drawing moved as far as every second one asks would be out of place itself, moved
    as far as every single one asks it would leave the corner to be seen.
    """
    if one.kind != "corner":
        return one.drawing, one.off[None]
    half = (3 * known.stride - 1) // 2
    inside = half - np.abs(np.arange(1 - half, half))
    # a step changes by three times ``off`` over ``stride`` drawings; spread over 2 half + 1, it is summed up twice
    share = inside * (inside + 1) / 2 / (2 * half + 1)
    return one.drawing + 1 - half, share[:, None] * (3 * one.off / one.stride)


def landing_in_reach(study: Study, character: Character, one: Break) -> tuple[int, Array]:
    """As ``landing``, in meters of the world, held to where the arm of a hand reaches: it comes no nearer to straight
    than it is in the frames beside."""
    known: Ticks = study.of(ticks, character)
    start, off = landing(known, one)
    off = off * character.leg_length
    if one.part.startswith("hand") and character.has(*arm_of(one.part)):
        rows = known.drawings[start : start + len(off)]
        beside = known.drawings[[max(0, start - 1), min(len(known.drawings) - 1, start + len(off))]]
        off = -in_reach(character, one.part, rows, -off, reached(character, one.part, beside).max())
    return start, off


def off_path(known: Ticks, one: Break) -> float:
    """Legs by which the break is off the smooth path."""
    return float(norm(landing(known, one)[1]).max())


def remedy_of(study: Study, character: Character, one: Break) -> Land:
    """The frame, and the ones beside it that go with it, moved back by what they are off."""
    known: Ticks = study.of(ticks, character)
    start, off = landing_in_reach(study, character, one)
    drawn = np.arange(start, start + len(off))
    first, last = (study.shot.frame(int(known.drawings[i])) for i in drawn[[0, -1]])
    # on frames between two drawings, where there are any, as on the nearer
    at = study.shot.frames[known.drawings[drawn]]
    every = [int(np.abs(at - frame).argmin()) for frame in range(first, last + 1)]
    return Land(one.part, (first, last), places(-off[every]))


def keys_at(study: Study, character: Character, one: Break) -> tuple[KeyReference, ...]:
    known: Ticks = study.of(ticks, character)
    start, off = landing(known, one)
    first, last = study.shot.frames[known.drawings[[start, start + len(off) - 1]]].tolist()
    chain = dict.fromkeys(p for p in (*MOVED_BY[one.part], one.part) if character.has(p))
    return keys_in(character, chain, first, last)


def evidence_of(study: Study, character: Character, one: Break, told: str) -> tuple[Evidence, ...]:
    """The path with a tick a drawing, the smooth path there, where the frame is and where it should land."""
    known: Ticks = study.of(ticks, character)
    shot = study.shot
    path = where(character, PATHS[one.part])
    around = known.drawings[max(0, one.drawing - AROUND) : one.drawing + AROUND + 1]
    near = known.drawings[max(0, one.drawing - NEAR) : one.drawing + NEAR + 1]
    at = _sample(study, character, one)
    start, off = landing_in_reach(study, character, one)
    whole = path.copy()
    whole[known.drawings[start : start + len(off)]] -= off
    smooth = whole[near]
    found, landed = places(path[[at]]), places(whole[[at]])
    frames = shot.frame(int(around[0])), shot.frame(int(around[-1]))
    here = shot.frame(at), shot.frame(at)
    return (
        Polyline("found", frames, places(path[around]), ticks=True),
        Polyline("held_against", frames, places(smooth), ticks=True, dashed=True),
        Point("found", here, found, "ring"),
        Point("held_against", here, landed, "disc"),
        Arrow("held_against", here, found[0], landed[0]),
        Label("found", here, found[0], told),
    )


def _sample(study: Study, character: Character, one: Break) -> int:
    known: Ticks = study.of(ticks, character)
    return int(known.drawings[one.drawing])
