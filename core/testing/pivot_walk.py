# SPDX-License-Identifier: GPL-3.0-or-later
"""A walk whose contacts are known: the foot turns about its heel edge, lies flat, then turns about its ball, each held
exactly."""
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache, lru_cache

import numpy as np

from ..measures.sole import guessed_sole
from ..numeric.rotation import exp
from ..shot import Shot
from . import edit
from .puppet import act, adult

Array = np.ndarray

STEP, STANCE, SWING = 1.1, 0.66, 0.44        # s a stride, on the ground, in the air
STRIDE = 1.1                                 # m
# the sole's pitch at landing and at lift-off, toes down positive
STRIKE, PUSH = float(np.radians(-18.0)), float(np.radians(32.0))


@dataclass(frozen=True)
class Walk:
    """A shot, and for each foot its contacts as (landing, lift-off) in seconds."""
    shot: Shot
    contacts: dict[str, list[tuple[float, float]]]


def smooth(s: Array | float) -> Array:
    """Minimum jerk from 0 to 1."""
    s = np.clip(s, 0, 1)
    out: Array = s**3 * (10 - 15 * s + 6 * s**2)
    return out


@lru_cache(maxsize=16)  # most tests ask for the same few
def walk(fps: float = 24.0, seconds: float = 4.4, in_place: bool = False, pace: float = 1.0,
         ground: Callable[[Array], Array] | None = None) -> Walk:
    """The walk at ``fps``; in place, the ground goes backward under it, evenly or as far as
    ``ground(t)`` meters. ``pace`` plays it faster."""
    f = int(round(seconds * fps)) + 1
    t = np.arange(f) / fps * pace
    puppet = adult()
    speed = STRIDE / STEP
    body_travel = np.stack([np.zeros(f), -speed * t, np.full(f, -0.03) + 0.012 * np.cos(4 * np.pi * t / STEP)], 1)
    shot = act({}, body_travel, fps, puppet)
    character = shot.characters[0]
    known: dict[str, list[tuple[float, float]]] = {}
    for side, phase in (("L", 0.0), ("R", 0.5)):
        foot = f"foot.{side}"
        sole = standing_sole(side)
        ankle0, heel0, ball0 = character.rest_head(foot), sole[0], sole[3]
        place, pitch = np.empty((f, 3)), np.empty(f)
        known[foot] = []
        for cycle in range(-2, int(t[-1] / STEP) + 2):
            land = (cycle + phase) * STEP
            print_at = np.array([0, -speed * (land + STANCE / 2), 0])     # under the body in mid-stance
            known[foot].append((land / pace, (land + STANCE) / pace))
            for i in np.flatnonzero((t >= land - 1e-9) & (t < land + STEP - 1e-9)):
                since = t[i] - land
                pitch[i], place[i] = _foot(since, print_at, np.array([0, -STRIDE, 0]), ankle0, heel0, ball0)
        character = edit.reach(character, f"leg.{side}", place)
        turn = exp(np.stack([pitch, np.zeros(f), np.zeros(f)], 1))
        character = edit.turn(character, foot, turn)
    if in_place:
        back = speed * t if ground is None else ground(t)
        character = edit.shift(character, np.stack([np.zeros(f), back, np.zeros(f)], 1))
    return Walk(replace(shot, characters=(character,)), known)


@cache
def standing_sole(side: str) -> Array:
    """Sole points (7, 3) of the adult's foot at rest, as a check guesses them."""
    return guessed_sole(act({}, np.zeros((4, 3))).characters[0], side).points


def _foot(since: float, print_at: Array, stride: Array, ankle: Array, heel: Array, ball: Array) -> tuple[float, Array]:
    """Pitch about x and ankle place of one foot, ``since`` seconds after landing."""
    flat, rise = 0.10, 0.40                   # s: flat on the ground from, heel off from
    if since <= flat:
        return _about(heel, STRIKE * float(1 - smooth(since / flat)), ankle, print_at)
    if since <= rise:
        return 0.0, ankle + print_at
    if since <= STANCE:
        return _about(ball, PUSH * float(smooth((since - rise) / (STANCE - rise))), ankle, print_at)
    s = (since - STANCE) / SWING
    # feet leave and land at about 1 m/s, as over force plates, never softly
    gone = 0.55 * s + 0.45 * float(smooth(s))
    pitch = PUSH + (STRIKE - PUSH) * gone
    _, start = _about(ball, PUSH, ankle, print_at)
    _, end = _about(heel, STRIKE, ankle, print_at + stride)
    return pitch, start + (end - start) * gone + np.array([0, 0, 0.09 * np.sin(np.pi * s) ** 2])


def _about(pivot: Array, pitch: float, ankle: Array, print_at: Array) -> tuple[float, Array]:
    return pitch, pivot + pitched(pitch) @ (ankle - pivot) + print_at


def pitched(angle: float) -> Array:
    """(3, 3) the turn of a foot by a pitch, toes down positive."""
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def skated(shot: Shot, foot: str, start: float, seconds: float, offset: Array, lift: float) -> Shot:
    """The shot with a foot moved over the ground by ``offset`` (3,) m from ``start`` s on, for good until ``lift``
    s."""
    weight = smooth((shot.times - start) / seconds) * (1 - smooth((shot.times - lift) / 0.3))
    character = shot.characters[0]
    limb = f"leg.{foot[-1]}"
    return replace(shot, characters=(edit.reach(character, limb, character.head(foot) + weight[:, None] * offset),))
