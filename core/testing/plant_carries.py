# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted carries: the hips are taken along within half a second, feet staying, and come back slowly, as far as the
clip lasts. They sink meanwhile where the legs would not reach.

How far is worked out from what must be demanded: the clip's own pressure point, moved by what the change alone adds, is
to lie 1.3, 2 and 3 times the medium limit outside of what stands. The change's own acceleration is free of a capture's
noise, since the clip's motion cancels in it. The severity is that of the level that is demanded for 0.12 s, sampled as
it is and half a frame later: three frames of 24 hold it, of which the first and last lie on its steep sides. How far is
taken so that both are clear of every step.
"""

import zlib
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import partial

import numpy as np

from .. import body
from ..measures.mass_motion import MassMotion, mass_motion
from ..measures.outside import LIMIT, outsides
from ..measures.support import HOLD, UNSURE, Base, base
from ..numeric.hull import smallest_norm
from ..numeric.spans import held, samples
from ..shot import Character
from ..study import Study
from . import edit
from .plant_flights import centers
from .plants import SIZES, Case, Clean, Window, centres, min_jerk, quiet, spaced

Array = np.ndarray

TIMES = dict(zip(SIZES, (1.3, 2.0, 3.0), strict=True))
OUT, HOLDS, BACK = 0.5, 0.1, 0.9        # s
REACH = 0.985
#: Meters tried, on an adult's leg of 0.85 m.
FARTHEST, STEPS = 0.4, 40
#: What is asked for its severity is held this many times clear of the steps around it.
CLEAR = 1.15
#: Of the leg, tried one after the other: how far the hips sink while they are carried.
SINKS = (0.0, 0.05, 0.1, 0.15)


class NoWay(ValueError):
    """The legs do not reach so far to any side."""


def carries(clean: Clean) -> Iterator[Case]:
    """All planted carries of a clean shot."""
    shot, c = clean.shot, clean.character
    if not c.has(*body.LIMBS["leg.L"], *body.LIMBS["leg.R"]) or Study(shot).of(outsides, c):
        return
    study = Study(shot)
    whole = OUT + HOLDS

    def found() -> Iterator[tuple[int, Callable[[str], Case]]]:
        for centre in centres(shot, whole):
            first = centre - round(whole * shot.rate / 2)
            window = (first, min(first + round((whole + BACK) * shot.rate), shot.count - 1))
            known = study.of(base, c).known[first:first + round(whole * shot.rate)]
            if clean.upright(window) and known.all() and quiet(clean.result, shot, window, c.parts):
                yield centre, partial(_case, clean, study, window)

    for make in spaced(found(), shot, whole + BACK):
        for size in SIZES:
            with suppress(NoWay):
                yield make(size)


def carried(clean: Clean, window: Window, offset: Array) -> Character:
    """The hips moved by ``offset`` (3,) m within OUT from the window's first sample, and back by its last."""
    t = (np.arange(clean.shot.count) - window[0]) / clean.shot.rate
    along = min_jerk(t / OUT) * (1 - min_jerk((t - OUT - HOLDS) / BACK))
    return edit.carry_root(clean.character, along[:, None] * offset)


def _case(clean: Clean, study: Study, window: Window, size: str) -> Case:
    shot, c = clean.shot, clean.character
    found: Base = study.of(base, c)
    start = np.random.default_rng(zlib.crc32(f"{shot.name}{window[0]}".encode())).uniform(0, 2 * np.pi)
    limit = LIMIT.scaled(c.leg_length)
    wanted = TIMES[size] * limit.medium
    for turn in range(8):
        angle = start + turn * np.pi / 4
        way = found.plane @ np.array([np.cos(angle), np.sin(angle)])
        for far in np.linspace(0.05, FARTHEST, STEPS) * c.leg_length / 0.85:
            planted = _reaching(clean, window, far * way)
            if planted is None:
                break
            excess = demanded(clean, study, planted)
            levels = [float(held(told, samples(HOLD, shot.rate) + 1).max())
                      for told in (excess, (excess[1:] + excess[:-1]) / 2)]
            severity = limit.severity(min(levels) / CLEAR)
            if excess.max() >= wanted and severity == limit.severity(max(levels) * CLEAR):
                worst = int(excess.argmax())
                near = np.flatnonzero(excess >= 0.9 * excess.max())
                asked = None if severity is None else severity.value
                return Case("carried", size, clean.with_(planted), "undriven-move", "pelvis", asked,
                            float(excess[worst]), 0.2 * float(excess[worst]),
                            (window[0], window[0] + round((OUT + HOLDS) * shot.rate)),
                            (shot.frame(int(near[0])), shot.frame(int(near[-1]))), "undriven")
    raise NoWay(size)


def _reaching(clean: Clean, window: Window, offset: Array) -> Character | None:
    """The hips carried, with the least sinking with which the feet stay where they are."""
    for sinks in SINKS:
        c = clean.character
        planted = carried(clean, window, offset - sinks * c.leg_length * c.up)
        if _reaches(clean, planted):
            return planted
    return None


def _reaches(clean: Clean, planted: Character) -> bool:
    """Whether both feet stay where they are."""
    return all(np.abs(planted.head(f"foot.{s}") - clean.character.head(f"foot.{s}")).max() < 1e-4 and _straight(
        planted, s) <= max(REACH, _straight(clean.character, s)) for s in body.SIDES)


def _straight(c: Character, side: str) -> float:
    root, mid, end = body.LIMBS[f"leg.{side}"]
    length = (c.rest_length(root) + c.rest_length(mid)) * c.scale
    return float((np.linalg.norm(c.head(end) - c.head(root), axis=-1) / length).max())


def demanded(clean: Clean, study: Study, planted: Character) -> Array:
    """(F,) m by which the pressure point lies outside, less what is not known of it."""
    shot, c = clean.shot, clean.character
    found: Base = study.of(base, c)
    moved: MassMotion = study.of(mass_motion, c)
    change = centers(planted) - centers(c)
    bend = np.zeros_like(change)
    bend[1:-1] = (change[2:] - 2 * change[1:-1] + change[:-2]) * shot.rate**2
    height = moved.fitted @ moved.up - found.level
    lift = np.linalg.norm(moved.gravity) * np.maximum(moved.load, 0.3) + bend @ moved.up
    center = found.center + change @ found.plane
    point = found.point + (change - (height / lift)[:, None] * bend) @ found.plane
    away = smallest_norm(found.corners - np.nan_to_num(point)[:, None], found.there)
    out = np.linalg.norm(np.nan_to_num(away), axis=1)
    return np.where(found.known, out - UNSURE * np.linalg.norm(np.nan_to_num(point - center), axis=1), 0.0)
