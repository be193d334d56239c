# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted heel edges: the weight stands on the back of a heel for a known time.

A foot that carries alone is turned toes up about its heel by its leg, eased within 0.12 s; where both feet stand, both
are. What it needs to be a fault that can be asked for, said before any check was run:

- the feet stand flat from before the window to after it: a heel strike or a heel that is up already is another pose;
- the hips are 0.8 of the leg over the ankles: who crouches stands as he can;
- nothing but the feet is low enough to bear (Clean.upright), and no note on the legs is near;
- the legs reach and the ankles stay within 24 degrees of their range in the clip.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from .. import body
from ..measures.footfalls import FULL, Footfalls, footfalls
from ..measures.sole import carried, sole_of
from ..measures.tread import Tread, tread
from ..numeric.rotation import exp, unit
from ..numeric.spans import spans
from ..shot import SOLE_POINTS, Character
from . import edit
from .corpus import resampled
from .plants import Case, Clean, Window, min_jerk, prepared, quiet

Array = np.ndarray

#: Seconds on the edge: with the toes more than EDGE degrees up. size -> seconds, severity.
SECONDS = {"small": (0.3, "low"), "large": (0.6, "medium")}
EDGE = 12.0
#: Degrees of the turn, and seconds in which it is made; EASED of one such ramp is spent over EDGE degrees.
TOP, RAMP, EASED = 22.0, 0.12, 0.47
#: Degrees within which a sole is flat, and beyond its range in the clip to which an ankle may come.
FLAT, ANKLE = 10.0, 24.0
#: The leg is never pulled straighter than this share of its length.
REACH = 0.99
PLACES, APART = 3, 0.5
#: Of the leg: hips this high over the ankles stand, lower ones crouch.
UPRIGHT = 0.8
_HEEL, _BALL = SOLE_POINTS.index("heel"), SOLE_POINTS.index("ball")


def edges(clean: Clean) -> Iterator[Case]:
    """All planted heel edges of a clean shot; the long ones in the shot played at half its speed, since one foot seldom
    carries alone for so long in a walk."""
    c = clean.character
    if not c.has("pelvis", *body.LIMBS["leg.L"], *body.LIMBS["leg.R"]):
        return
    slow = resampled(clean.shot, 2 * clean.shot.rate)
    slow = replace(slow, fps=clean.shot.fps, name=f"{clean.shot.name} slowed")
    for host, size in ((clean, "small"), (prepared(slow), "large")):
        yield from _edges(host, size)


def _edges(clean: Clean, size: str) -> Iterator[Case]:
    c = clean.character
    study = clean.study
    fallen: Footfalls = study.of(footfalls, c)
    t: Tread = study.of(tread, c)
    # a foot whose heel hangs over the edge of a step has none to stand on
    whole = np.repeat(fallen.kind == FULL, np.diff([*t.samples, clean.shot.count]), axis=0)
    stands = {s: np.zeros(clean.shot.count, bool) for s in body.SIDES}
    flat = {s: (np.abs(_pitch(c, s)) < FLAT) & whole[:, k] for k, s in enumerate(body.SIDES)}
    for s in body.SIDES:
        for fall in fallen.falls[f"foot.{s}"]:
            stands[s][fall.span.first:fall.span.last + 1] = True
    seconds, severity = SECONDS[size]
    for which in (("L",), ("R",), ("L", "R")):
        mask = np.ones(clean.shot.count, bool)
        for s in body.SIDES:
            mask &= stands[s] & flat[s] if s in which else ~stands[s]
        taken: list[int] = []
        for window in _windows(clean, mask, seconds):
            if len(taken) == PLACES or any(abs(window[0] - w) < APART * clean.shot.rate for w in taken):
                continue
            case = _case(clean, which, window, size, seconds, severity)
            if case is not None:
                taken.append(window[0])
                yield case


def _windows(clean: Clean, mask: Array, seconds: float) -> Iterator[Window]:
    """Windows of so many seconds inside runs of the mask, 0.15 s from the shot's ends."""
    rate = clean.shot.rate
    length, away = int(np.ceil(seconds * rate)), round(0.15 * rate)
    for a, b in spans(mask):
        a, b = max(a, away), min(b, clean.shot.count - 1 - away)
        for first in range(a, b - length + 1, max(1, round(0.1 * rate))):
            yield (first, first + length)


def _case(clean: Clean, which: tuple[str, ...], window: Window, size: str, seconds: float,
          severity: str) -> Case | None:
    legs = [p for s in which for p in body.LIMBS[f"leg.{s}"]]
    if not clean.upright(window) or not quiet(clean.result, clean.shot, window, legs):
        return None
    weight = turned_up(clean, window, seconds)
    c = clean.character
    hips, ankles = (np.stack([c.head(f"{p}.{s}") @ c.up for s in body.SIDES]) for p in ("thigh", "foot"))
    if (hips.mean(0) - ankles.min(0))[window[0]:window[1] + 1].min() < UPRIGHT * c.leg_length:
        return None
    for side in which:
        c = tipped(c, side, weight)
        if edit.overreaches(clean.character, c, f"leg.{side}", REACH):
            return None
    if not clean.ankles_stay(c, ANKLE):
        return None
    shot = clean.with_(c)
    part = f"foot.{which[0]}"
    return Case("weight on a heel edge" if len(which) == 1 else "weight on both heel edges", size, shot, "thin-support",
                part, severity, seconds, 0.1 * seconds + 1 / shot.rate, window,
                (shot.frame(window[0]), shot.frame(window[1])), "heel", known=clean.result)


def turned_up(clean: Clean, window: Window, seconds: float) -> Array:
    """(F,) 0 to 1 and back, so that TOP degrees of it are over EDGE degrees for so many seconds."""
    rate = clean.shot.rate
    middle = (window[0] + window[1]) / 2
    half = seconds / 2 - EASED * RAMP
    away = np.abs(np.arange(clean.shot.count) - middle) / rate
    return min_jerk(1 - (away - half) / RAMP)


def tipped(character: Character, side: str, weight: Array) -> Character:
    """The foot turned toes up about its heel."""
    sole = carried(character, sole_of(character, side))
    ahead = sole[:, _BALL] - sole[:, _HEEL]
    across = unit(np.cross(np.broadcast_to(character.up, ahead.shape), ahead))
    return edit.rolled(character, f"foot.{side}", sole[:, _HEEL], exp(-np.radians(TOP * weight)[:, None] * across))


def _pitch(character: Character, side: str) -> Array:
    sole = carried(character, sole_of(character, side))
    ahead = unit(sole[:, _BALL] - sole[:, _HEEL])
    return np.asarray(np.degrees(np.arcsin(ahead @ character.up)))
