# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted skates: a standing foot slides over the ground by known sizes, and swings back before its next print."""

import zlib
from collections.abc import Iterator

import numpy as np

from .. import body
from ..measures.contacts import Stance
from ..numeric.rotation import log, relative
from ..shot import Character
from . import edit
from .plants import SIZES, Case, Clean, min_jerk, quiet

Array = np.ndarray

#: Metres on an adult whose leg is ADULT long; scaled by the figure's own.
FAR = dict(zip(SIZES, (0.03, 0.04, 0.10), strict=True))
ADULT = 0.85
SECONDS = (0.15, 0.3)
TOLERANCE = 0.01
#: The ends of a stance in which no slip is measured, and some room, seconds.
EDGE = 0.12
#: Degrees that the foot may turn or roll meanwhile: a slide in a turn is a turn about another point.
TURNS = 8.0
#: The leg is never pulled straighter than this share of its length.
REACH = 0.985
PLACES = 4


def skates(clean: Clean) -> Iterator[Case]:
    """All planted skates of a clean shot."""
    for side in body.SIDES:
        part = f"foot.{side}"
        if not clean.character.has(*body.LIMBS[f"leg.{side}"]) or part not in clean.touch.stances:
            continue
        count = 0
        for stance in clean.touch.stances[part]:
            made = [case for seconds in SECONDS for case in _in_stance(clean, stance, side, seconds)]
            yield from made
            count += bool(made)
            if count == PLACES:
                break


def skated(clean: Clean, side: str, first: int, count: int, offset: Array, lift: int) -> Character:
    """The foot slid by ``offset`` (3,) metres from sample ``first`` over ``count`` samples, carried so until it lifts
    at sample ``lift``, and back before it stands again."""
    at = np.arange(clean.shot.count)
    along = min_jerk((at - first) / count)
    again = next((s.first for s in clean.touch.stances[f"foot.{side}"] if s.first > lift), clean.shot.count)
    back = max(again - lift - 1, 1)
    along = along * (1 - min_jerk((at - lift) / back)) if again < clean.shot.count else along
    c = clean.character
    return edit.reach(c, f"leg.{side}", c.head(f"foot.{side}") + along[:, None] * offset)


def _in_stance(clean: Clean, stance: Stance, side: str, seconds: float) -> Iterator[Case]:
    shot, c = clean.shot, clean.character
    count = max(2, round(seconds * shot.rate))
    edge = int(np.ceil(EDGE * shot.rate))
    room = (stance.last - edge) - (stance.first + edge) - count
    clipped = stance.first == 0 or stance.last == shot.count - 1
    if room < 0 or (clipped and room < edge):
        return
    first = stance.first + edge + room // 2
    window = (first, first + count)
    whole = (stance.first, stance.last)
    if _turns(clean, side, window) > TURNS:
        return
    if not quiet(clean.result, shot, whole, body.LIMBS[f"leg.{side}"]) or _rests(clean, whole):
        return
    scale = c.leg_length / ADULT
    way = _way(clean, side, first, count, stance.last, FAR["large"] * scale)
    if way is None:
        return
    for size in SIZES:
        far = FAR[size] * scale
        planted = clean.with_(skated(clean, side, first, count, way * far, stance.last))
        # the drift is within 5 % of its most from there on to the end of the stance
        most = shot.frame(int(first + np.ceil(0.8 * count)))
        yield Case(f"skate in {seconds:g} s", size, planted, "slip", f"foot.{side}", _severity(size, clean.keyed), far,
                   max(TOLERANCE, 0.1 * far), window, (most, shot.frame(stance.last)))


def _severity(size: str, keyed: bool) -> str:
    """On bare captured skeletons the middle one is low: their soles are guessed."""
    return {"small": "low", "middle": "medium" if keyed else "low", "large": "high"}[size]


def _turns(clean: Clean, side: str, window: tuple[int, int]) -> float:
    """Degrees by which the foot turns or rolls in the window, between its first frame and any other."""
    c = clean.character
    rows = slice(window[0], window[1] + 1)
    assert c.axes is not None
    axes = c.axes[rows, c.index[f"foot.{side}"]]
    return float(np.degrees(np.linalg.norm(log(relative(axes[0], axes)), axis=-1).max()))


def _rests(clean: Clean, window: tuple[int, int]) -> bool:
    """Whether the body may rest on something else than its feet: there a foot may drag."""
    reach = {"hand.L": 0.25, "hand.R": 0.25, "shin.L": 0.2, "shin.R": 0.2, "pelvis": 0.4, "head": 0.35}
    return any(clean.character.has(p) and clean.near_floor(p, window, r) for p, r in reach.items())


def _way(clean: Clean, side: str, first: int, count: int, last: int, far: float) -> Array | None:
    """A level direction (3,) in which leg and ankle still reach, else None; the shot's name decides which."""
    c = clean.character
    root, mid, end = body.LIMBS[f"leg.{side}"]
    rows = slice(first, min(last + 2, clean.shot.count))
    length = float((c.rest_length(root) + c.rest_length(mid)) * c.scale[first])
    start = np.random.default_rng(zlib.crc32(f"{clean.shot.name}{side}{first}".encode())).uniform(0, 2 * np.pi)
    for k in range(12):
        angle = start + k * np.pi / 6
        # level is square to the world's Z, which is up in all of our clips
        way = np.array([np.cos(angle), np.sin(angle), 0.0])
        reaches = np.linalg.norm(c.head(end)[rows] + far * way - c.head(root)[rows], axis=-1).max() < REACH * length
        if reaches and clean.ankles_stay(skated(clean, side, first, count, far * way, last)):
            return way
    return None
