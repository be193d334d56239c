# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted faults of a path: a wiggle, one frame moved toward its neighbor, a kink.

A hand is moved in the world, its arm solved again; the head is turned about its joint until its top is where it should
be. Sizes are those of an adult with a leg of LEVER_LEG meters.
"""

import zlib
from collections.abc import Callable, Iterator

import numpy as np

from .. import body
from ..catalogue import chosen
from ..measures.local import local_axes
from ..measures.turn import LEVER_LEG
from ..numeric.rotation import about, angle_between, log, norm, shortest, unit
from ..shot import Character
from . import edit
from .plants import SIZES, Case, Clean, Window, min_jerk, quiet, review

Array = np.ndarray

#: Meters of a wiggle to each side, frame by frame; its length in seconds: 8 frames of 24.
WIGGLES, WIGGLE_SECONDS = (0.005, 0.01, 0.03), 8 / 24
#: Share of the way to the neighbor that one frame is moved; legs a second that the part moves there at least.
SHOVES, SHOVE_SPEED = (0.2, 0.4, 0.8), 0.4
#: Degrees by which a path leaves a frame turned, the seconds in which it eases back, legs a second there at least.
KINKS, KINK_SECONDS, KINK_SPEED = (30.0, 60.0, 90.0), 0.5, 0.6
PARTS = ("hand.L", "hand.R", "head")
PLACES = 2
#: An arm is brought at most to this share of its length, and at least to this; the head turned by so many degrees.
BENT, FOLDED, HEAD = 0.97, 0.2, 25.0
#: What a head misses of where it should be, at most, of the largest offset.
MISSED = 0.3
#: Degrees beyond the clip's own bend of a wrist to which a plant may bring it, and up to which it is free.
WRIST, FREE_WRIST = 2.0, 60.0
#: Degrees; a wrist that turns less in the whole clip stays as it is, or it would be alive in the window alone.
DEAD_WRIST = 1.0
#: A hand stays so many legs from the floor: what touches it is led by it.
CLEAR = 0.15

Build = Callable[[Array, int, float], tuple[Array, int, int] | None]


def wiggles(clean: Clean) -> Iterator[Case]:
    """Wiggles over 8 frames of 24, to and fro from frame to frame."""
    frames = max(4, round(WIGGLE_SECONDS * clean.shot.rate))
    scale = clean.character.leg_length / LEVER_LEG

    def build(path: Array, i: int, size: float) -> tuple[Array, int, int] | None:
        if i + frames >= len(path) - 2:
            return None
        offset = np.zeros_like(path)
        way = unit(np.random.default_rng(i).normal(size=3))
        offset[i : i + frames] = (size * scale * (-1.0) ** np.arange(frames))[:, None] * way
        return offset, i, i + frames - 1

    yield from _planted(clean, "wiggle", "jitter", WIGGLES, build, 0.0, ("low", "low", "high"))


def shoves(clean: Clean) -> Iterator[Case]:
    """One frame moved toward a neighbor."""

    def build(path: Array, i: int, size: float) -> tuple[Array, int, int] | None:
        neighbor = i + (1 if i % 2 else -1)
        offset = np.zeros_like(path)
        offset[i] = size * (path[neighbor] - path[i])
        return offset, i, i

    yield from _planted(clean, "one frame shoved", "uneven-spacing", SHOVES, build, SHOVE_SPEED)


def kinks(clean: Clean) -> Iterator[Case]:
    """A path that leaves a frame turned, about an axis square to it, and eases back."""
    frames = round(KINK_SECONDS * clean.shot.rate)

    def build(path: Array, i: int, size: float) -> tuple[Array, int, int] | None:
        if i + frames >= len(path) - 1:
            return None
        step = path[i] - path[i - 1]
        axis = np.cross(step, np.random.default_rng(i).normal(size=3))
        away = np.arange(len(path)) - i
        left = min_jerk(1 - away / frames) * (away > 0)
        there = (path - path[i]) @ about(axis, float(np.radians(size))).T + path[i]
        return left[:, None] * (there - path), i, i + frames

    yield from _planted(clean, "kink", "arc-break", KINKS, build, KINK_SPEED)


def _planted(
    clean: Clean, kind: str, check: str, sizes: tuple[float, ...], build: Build, speed: float,
    severities: tuple[str, str, str] = ("low", "medium", "high")
) -> Iterator[Case]:
    shot, c = clean.shot, clean.character
    for part in PARTS:
        if not c.has(*_parts(part)) or c.axes is None:
            continue
        path = _path(c, part)
        stride = max(1, int(np.ceil(shot.rate / 24 - 0.5 - 1e-6)))
        order = np.random.default_rng(zlib.crc32(f"{shot.name}{kind}{part}".encode()))
        edge = 4 * stride
        every = order.permutation(np.arange(edge, shot.count - edge)).tolist()
        for size, amount in zip(SIZES, sizes, strict=True):
            taken: list[int] = []
            for i in every:
                if len(taken) == PLACES:
                    break
                if any(abs(i - k) < shot.rate for k in taken):
                    continue
                if _slow(path, i, stride, shot.rate, speed * c.leg_length):
                    continue
                made = build(path, i, amount)
                if made is None or not quiet(clean.result, shot, made[1:], _parts(part)):
                    continue
                planted = _moved(clean, part, *made)
                if planted is None or _bent_past(clean, planted, part, made[1:]):
                    continue
                taken.append(i)
                last = made[2] if check == "jitter" else i
                severity, worst = severities[SIZES.index(size)], (shot.frame(i), shot.frame(last))
                yield Case(f"{kind} of the {body.base(part)}", size, clean.with_(planted), check, part, severity, None,
                           0.0, made[1:], worst)


def _parts(part: str) -> tuple[str, ...]:
    return (*body.LIMBS[f"arm.{body.side(part)}"], part) if part != "head" else ("head",)


def _path(c: Character, part: str) -> Array:
    return c.end(part) if part == "head" else c.head(part)


def _slow(path: Array, i: int, stride: int, rate: float, least: float) -> bool:
    """Whether the part moves slower than ``least`` m/s on either side of sample i."""
    steps = np.linalg.norm(path[[i, i + stride]] - path[[i - stride, i]], axis=-1)
    return bool(steps.min() * rate / stride < least)


def _moved(clean: Clean, part: str, offset: Array, first: int, last: int) -> Character | None:
    """The part's path moved by ``offset`` (F, 3), or None where the body does not lend itself."""
    c = clean.character
    if part == "head":
        joint, top = c.head(part), c.end(part)
        turn = shortest(top - joint, top + offset - joint)
        if np.degrees(angle_between(top - joint, top + offset - joint)).max() > HEAD:
            return None
        still = np.abs(offset).max(axis=-1) == 0
        turn[still] = np.eye(3)
        planted = edit.turn(c, part, turn)
        # a top that can only swing about its joint does not come everywhere
        missed = np.linalg.norm(planted.end(part) - top - offset, axis=-1).max()
        return planted if missed < MISSED * np.linalg.norm(offset, axis=-1).max() else None
    if clean.near_floor(part, (first, last), CLEAR):
        return None
    limb = f"arm.{body.side(part)}"
    place = c.head(part) + offset
    shoulder, length = c.head(body.LIMBS[limb][0]), sum(c.rest_length(p) for p in body.LIMBS[limb][:2])
    moved = np.abs(offset).max(axis=-1) > 0
    far = np.linalg.norm(place - shoulder, axis=-1)[moved]
    if far.max() > BENT * length or far.min() < FOLDED * length:
        return None
    planted = edit.reach(c, limb, place, solve=moved)
    wrist = local_axes(c, part)
    if np.degrees(norm(log(wrist[0].T @ wrist))).max() < DEAD_WRIST:
        planted = edit.with_turn(planted, part, wrist)
    bends = [_wrist(who, part) for who in (c, planted)]
    return planted if bends[1][moved].max() <= max(bends[0].max() + WRIST, FREE_WRIST) else None


def _bent_past(clean: Clean, planted: Character, part: str, window: Window) -> bool:
    """Whether a joint of the moved arm comes past its range there: that would be a fault as well."""
    found = review(clean.with_(planted), chosen(["joint-limit"]))
    return not quiet(found, clean.shot, window, _parts(part))


def _wrist(c: Character, part: str) -> Array:
    """Degrees (F,) between the forearm's line and the hand's."""
    arm = c.head(part) - c.head(f"forearm.{body.side(part)}")
    return np.asarray(np.degrees(angle_between(arm, c.end(part) - c.head(part))))
