# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted frozen parts: a head, arm or hand keeps its turn against what carries it for a while, then catches up.

It catches up as from a pose that was keyed twice to the next key: on the way from the held turn to the one that is due,
not through all that it missed, at a multiple of its speed, which would be a jerk besides.
"""

import zlib
from collections.abc import Iterator
from dataclasses import replace
from math import ceil

import numpy as np

from .. import body
from ..measures.hits import hits
from ..measures.local import local_axes
from ..numeric.rotation import exp, log, norm, relative
from ..shot import Character, Shot
from ..study import Study
from . import edit
from .plants import SIZES, Case, Clean, min_jerk, prepared, quiet
from .retime import retimed

Array = np.ndarray

#: Seconds that it is held, with the severity that it must be noted at; a hand is low at most.
HELD = dict(zip(SIZES, ((0.75, "low"), (1.4, "medium"), (2.6, "high")), strict=True))
CATCHES = 0.4
#: Part -> the parts that keep their turn against their parents.
TURNS = {"head": ("neck", "head")} | {
    f"{p}.{s}": ((f"clavicle.{s}", f"{p}.{s}") if p == "upper_arm" else (f"{p}.{s}",))
    for s in body.SIDES for p in ("upper_arm", "forearm", "hand")
}
#: The part's joint is carried at this speed on average, legs a second, and the part itself turns, degrees a second.
CARRIED, TURNING = 0.35, 8.0
#: At most this share of the shot is held, and that share still with the motion's own rests (degrees a second):
#: beyond, a part is not animated yet.
SHARE, STILL, STILL_TURN = 0.5, 0.55, 2.0
#: A motion that is played to and fro takes this many times its length for each sweep, so that it is nowhere faster;
#: more sweeps than these are one motion over and over.
SLOWER, MOST_SWEEPS = np.pi / 2, 3
#: Places for each part and size.
PLACES = 1


def freezes(clean: Clean) -> Iterator[Case]:
    """All planted frozen parts of a clean shot: one place for each part and size. What the shot is too short for is
    planted in the same motion played to and fro."""
    hosts: dict[int, Clean] = {}
    for size in SIZES:
        sweeps = _sweeps(clean.shot, HELD[size][0])
        if sweeps > MOST_SWEEPS:
            continue
        if sweeps not in hosts:
            hosts[sweeps] = clean if sweeps == 1 else prepared(_played(clean, sweeps))
        for part in TURNS:
            if clean.character.has(part, "chest"):
                yield from _held(hosts[sweeps], part, size)


def _sweeps(shot: Shot, seconds: float) -> int:
    """How often the motion must be played for a freeze to be no more than SHARE of it: once, or an odd number of
    sweeps, so that it ends where it ends."""
    short = (seconds / SHARE) * shot.rate / max(1, shot.count - 1)
    return 1 if short <= 1 else 2 * max(1, ceil((short / SLOWER - 1) / 2)) + 1


def _played(clean: Clean, sweeps: int) -> Shot:
    played = to_and_fro(clean.character, sweeps)
    frames = clean.shot.frames[0] + np.arange(len(played.heads)) * (clean.shot.fps / clean.shot.rate)
    return replace(clean.shot, frames=frames, first=None, last=None, characters=(played,))


def to_and_fro(character: Character, sweeps: int) -> Character:
    """The figure's motion played forward, backward and so on, never faster than it is, turning round softly."""
    count = len(character.heads) - 1
    every = np.arange(round(SLOWER * count) * sweeps + 1)
    at = count * (1 - np.cos(np.pi * every / round(SLOWER * count))) / 2
    return retimed(character, np.clip(at, 0, count))


def _held(clean: Clean, part: str, size: str) -> Iterator[Case]:
    shot, c = clean.shot, clean.character
    turns = TURNS[part]
    # a part has one note a shot, and parts of one limb have one together: this one would be the clip's own
    limb = [p for p in TURNS if body.side(p) == body.side(part)]
    if any(n.check == "frozen-part" and set(limb) & set(n.parts) for n in clean.result.notes):
        return
    speed = np.linalg.norm(np.diff(c.head(part), axis=0), axis=-1) * shot.rate / c.leg_length
    turning = _turning(c, part, shot.rate)
    order = np.random.default_rng(zlib.crc32(f"{shot.name}{part}frozen{size}".encode()))
    seconds, severity = HELD[size]
    count, back = round(seconds * shot.rate), round(CATCHES * shot.rate)
    starts = order.permutation(np.arange(2, max(2, shot.count - count - back - 2)))
    places = 0
    for i in starts.tolist():
        if speed[i : i + count].mean() < CARRIED or turning[i : i + count].mean() < TURNING:
            continue
        window = (i, i + count + back)
        # an arm that bore weight would leave it to the feet
        if not quiet(clean.result, shot, window, (part, *turns)) or not clean.upright(window):
            continue
        planted = c
        at = np.arange(shot.count)
        left = np.where(at < i, 0.0, 1.0 - min_jerk((at - i - count) / back))[:, None]
        for p in turns:
            if c.has(p):
                local = local_axes(c, p)
                planted = edit.with_turn(planted, p, local @ exp(left * log(relative(local, local[i]))))
        held = clean.with_(planted)
        if _still(planted, part, shot.rate) > STILL:
            continue
        if _touches(held, planted, part, i + count // 2):
            continue
        yield Case(f"held dead {seconds:g} s", size, held, "frozen-part", part,
                   "low" if part.startswith("hand") else severity, seconds, 0.13, window,
                   (shot.frame(i), shot.frame(i + count)), known=clean.result)
        places += 1
        if places == PLACES:
            return


def _turning(c: Character, part: str, rate: float) -> Array:
    """Degrees a second (F - 1,) by which the part turns against its parent."""
    local = local_axes(c, part)
    return np.asarray(np.degrees(norm(log(relative(local[:-1], local[1:])))) * rate)


def _still(c: Character, part: str, rate: float) -> float:
    """The share of the shot in which the part rests on what carries it."""
    return float((np.max([_turning(c, p, rate) for p in TURNS[part] if c.has(p)], axis=0) < STILL_TURN).mean())


def _touches(shot: Shot, character: Character, part: str, sample: int) -> bool:
    """Whether the part's hand touches something in the sample: an arm that carries is held on purpose."""
    hand = f"hand.{body.side(part)}"
    return character.has(hand) and bool(Study(shot).of(hits, character).touching(hand, sample))
