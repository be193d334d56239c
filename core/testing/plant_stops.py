# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted hard stops: a hand or the whole body plays at speed, stands from one frame to the next, and goes on.

A hand is held in the world, its arm solved again, and catches up; of the whole body the clip's own time stands still.
"""

import zlib
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from .. import body
from ..catalogue import chosen
from ..measures.moves import stride_of
from ..note import Result
from ..numeric.rotation import angle_between
from ..shot import Character
from . import edit
from .plants import SIZES, Case, Clean, min_jerk, quiet, review
from .retime import retimed

Array = np.ndarray

#: Seconds that it stands, and in which it catches up.
STANDS, CATCHES = 0.35, 0.4
#: The share of its peak that the last step of a stop is slowed to, by its size; a large one is as fast as it is.
SHARES = {"small": 0.575, "middle": 0.725, "large": 1.0}
#: The severity that a stop must be noted at by its size.
SEVERITY = dict(zip(SIZES, ("low", "medium", "high"), strict=True))
#: Least peak of a stop, legs a second; of a large one, and what is too near to that to be asked for.
PEAK, LARGE_PEAK, NEARLY = 0.6, 1.1, 0.9
#: A move lasts so many frames of 24 before it stops, faster than a tenth of its peak.
LEAST_FRAMES = 4
#: A hand stays so many legs from the floor and from the lines of the body, and its arm this share short of straight.
CLEAR, BENT = 0.22, 0.985
#: Degrees beyond the clip's own bend of a wrist to which a plant may bring it.
WRIST = 2.0
#: Degrees of bend: a limb that is held straighter than this is flat, or has snapped straight.
STRAIGHT = 10.0
PLACES = 2
#: What tells that a body can not be held where it is.
BALANCE = ["airborne", "off-balance", "undriven-move"]
#: A foot so many legs over where it stands is on no ground.
SWINGS = 0.06


#: Of the whole body the hardest of these stops is asked for.
ENDS = ("pelvis", "chest", "head", "hand.L", "hand.R")


def stops(clean: Clean) -> Iterator[Case]:
    """All planted hard stops of a clean shot: up to PLACES for each hand, for the body, and size."""
    c, shot = clean.character, clean.shot
    gap = round((STANDS + CATCHES) * shot.rate)
    for parts in (("hand.L",), ("hand.R",), ENDS):
        hands = [p for p in parts if p.startswith("hand")]
        if not c.has(*parts, *(p for h in hands for p in body.LIMBS[f"arm.{body.side(h)}"][:2])):
            continue
        taken: dict[str, list[int]] = {size: [] for size in SIZES}
        for i, rate, part, size, share in _candidates(clean, parts):
            if len(taken[size]) == PLACES or any(abs(i - k) < gap for k in taken[size]):
                continue
            window = (i - 3, i + gap)
            planted = _held(clean, part, parts, i, rate) if quiet(clean.result, shot, window, parts) else None
            if planted is None or parts is ENDS and _falls(clean, planted, i):
                continue
            taken[size].append(i)
            frame = shot.frame(i)
            kind = "hard stop of the body" if parts is ENDS else "hard stop of a hand"
            yield Case(kind, size, clean.with_(planted), "dead-stop", part, SEVERITY[size],
                       share if parts is not ENDS else None, 0.05, window, (frame, frame),
                       known=_later(clean, i) if parts is ENDS else None)


def _candidates(clean: Clean, parts: tuple[str, ...]) -> Iterator[tuple[int, float, str, str, float]]:
    """Samples at which a stop may be planted, in an order that depends on names alone: what its last step is slowed
    to, the hardest part, size and share."""
    shot, c = clean.shot, clean.character
    stride = stride_of(shot.times)
    order = np.random.default_rng(zlib.crc32(f"{shot.name}{parts[0]}".encode()))
    least, after = (LEAST_FRAMES + 1) * stride, round((STANDS + CATCHES + 0.1) * shot.rate)
    paths = {p: c.end(p) if p in ("head", "chest") else c.head(p) for p in parts}
    for i in order.permutation(np.arange(least, shot.count - after)).tolist():
        legs = {part: np.diff(path[i::-stride], axis=0) / c.leg_length for part, path in paths.items()}
        speeds = {part: (np.linalg.norm(some, axis=-1) * shot.rate / stride).tolist() for part, some in legs.items()}
        hardest = max(_size(some)[1] for some in speeds.values())
        for wanted in reversed(SIZES):
            rate = min(1.0, SHARES[wanted] / max(hardest, 1e-9))
            told = {part: _size([some[0] * rate, *some[1:]]) for part, some in speeds.items()}
            if any(size is None for size, _, _ in told.values()):
                continue                                    # too near to a limit to be asked for
            found = [(SIZES.index(size), peak, part, share) for part, (size, share, peak) in told.items() if size]
            if found and SIZES[max(found)[0]] == wanted:
                yield i, rate, max(found)[2], wanted, max(found)[3]


def _size(speeds: list[float]) -> tuple[str | None, float, float]:
    """Size, share and peak of a stop whose speeds (leg/s) are told backward from it: '' for none, None near a limit."""
    peak, count = 0.0, 0
    for v in speeds:
        if v < 0.1 * peak:
            break
        peak, count = max(peak, v), count + 1
    share = speeds[0] / peak if peak else 0.0
    if count < LEAST_FRAMES or share < 0.45 or peak < 0.4:
        return "", share, peak
    if peak < PEAK:
        return None, share, peak
    if share >= 0.82 and peak >= LARGE_PEAK:
        return "large", share, peak
    if share >= 0.67 and (share <= 0.78 or peak <= NEARLY):
        return "middle", share, peak
    return ("small" if 0.52 <= share <= 0.63 else None), share, peak


def _held(clean: Clean, part: str, parts: tuple[str, ...], i: int, rate: float) -> Character | None:
    """The character with the parts standing from sample i on, come there with its last step slowed to ``rate``, or None
    where the place does not lend itself."""
    shot, c = clean.shot, clean.character
    hand = part.startswith("hand")
    if clean.near_floor(part, (i, i), CLEAR) or hand and not _clear(clean, part, c.head(part)[i], i):
        return None
    stands, catches = round(STANDS * shot.rate), round(CATCHES * shot.rate)
    if parts is ENDS:
        if not all(_steady(clean, foot, i) for foot in clean.touch.planted) or _straight(c, i):
            return None
        return _frozen(c, i, rate, stride_of(shot.times), stands, catches)
    stride = stride_of(shot.times)
    path = c.head(part).copy()
    path[i - stride + 1 : i + 1] = _slowed(path, i, rate, stride)
    back = min_jerk((np.arange(shot.count) - i - stands) / catches)[:, None]
    place = np.where((np.arange(shot.count) >= i)[:, None], path[i] * (1 - back) + path * back, path)
    limb = f"arm.{body.side(part)}"
    shoulder, length = c.head(body.LIMBS[limb][0]), sum(c.rest_length(p) for p in body.LIMBS[limb][:2])
    rows = slice(i, i + stands + catches)
    far = np.linalg.norm(place[rows] - shoulder[rows], axis=-1)
    if far.max() > BENT * length or far.min() < 0.3 * length:
        return None
    active = np.zeros(shot.count, bool)
    active[rows] = True
    active[i - stride + 1 : i] = True
    planted = edit.reach(c, limb, place, solve=active)
    bends = [_wrist(who, part) for who in (c, planted)]
    return planted if bends[1][rows].max() <= bends[0].max() + WRIST else None


def _wrist(c: Character, part: str) -> Array:
    """Degrees (F,) between the forearm's line and the hand's."""
    arm = c.head(part) - c.head(f"forearm.{body.side(part)}")
    return np.asarray(np.degrees(angle_between(arm, c.end(part) - c.head(part))))


def _later(clean: Clean, i: int) -> Result:
    """The clean review with what it says after sample i said later too, for the body's time stands that long, and what
    is said after the same stand, come to softly: faults of the clip's own that what went on before hid."""
    shot = clean.shot
    stands, catches = round(STANDS * shot.rate), round(CATCHES * shot.rate)
    late = round((STANDS + CATCHES / 2) * shot.fps)
    frame = shot.frame(i)
    after = [replace(n, start=n.start + late, end=n.end + late, worst=n.worst + late) for n in clean.result.notes
             if n.end >= frame]
    soft = clean.review(_come_softly(clean.character, i, stands, catches))
    own = [n for n in soft.notes if n.start > shot.frame(i + stands)]
    return replace(clean.result, notes=(*clean.result.notes, *after, *own))


def _falls(clean: Clean, held: Character, i: int) -> bool:
    """Whether the body, held from sample i on, would hang or fall there: another fault, of balance or flight."""
    notes = review(clean.with_(held), chosen(BALANCE)).notes
    frames = [clean.shot.frame(k) for k in (i - 3, i + round(STANDS * clean.shot.rate))]
    return any(n.severity.rank and n.start <= frames[1] and frames[0] <= n.end for n in notes)


def _straight(c: Character, i: int) -> bool:
    """Whether a knee or elbow would be held straight, which is a fault of its own."""
    limbs = [parts for parts in body.LIMBS.values() if c.has(*parts)]
    bends = [angle_between(c.head(b)[i] - c.head(a)[i], c.head(e)[i] - c.head(b)[i]) for a, b, e in limbs]
    return bool(np.degrees(bends).min(initial=180.0) < STRAIGHT)


def _steady(clean: Clean, foot: str, i: int) -> bool:
    """Whether the foot stands all round sample i, or swings so high that it seems to stand nowhere when it is held."""
    near = slice(max(0, i - round(clean.shot.rate / 6)), i + round(clean.shot.rate / 6))
    stands, c = clean.touch.standing(foot), clean.character
    low = np.minimum(c.head(foot) @ c.up, c.end(foot) @ c.up)
    usual = float(np.quantile(low[stands], 0.1)) if stands.any() else float(low.min())
    return bool(stands[near].all()) or bool(not stands[near].any() and low[i] > usual + SWINGS * c.leg_length)


def _frozen(c: Character, i: int, rate: float, stride: int, stands: int, starts: int) -> Character:
    """The whole figure with its time held from sample i, and going on after by a soft start."""
    at = np.arange(len(c.heads), dtype=float)
    last = i - stride
    at[last:] = last + rate * (np.minimum(at[last:], i) - last)
    at[i:] = _going_on(len(at), at[i], i, stands, starts)
    return retimed(c, at)


def _come_softly(c: Character, i: int, stands: int, starts: int) -> Character:
    """The same, but the time slows down evenly to the stand, which begins as much later."""
    at = np.arange(len(c.heads), dtype=float)
    slows = min(stands // 2, i)
    since = np.clip(at - (i - slows), 0, 2 * slows)
    at[: i + slows] -= (since**2 / (4 * max(1, slows)))[: i + slows]
    at[i + slows :] = _going_on(len(at), float(i), i, stands, starts)[slows:]
    return retimed(c, at)


def _going_on(count: int, stood: float, i: int, stands: int, starts: int) -> Array:
    """The clip's own time (count - i,) from sample i on: ``stood`` for so many samples, then on by a soft start."""
    after = np.clip(np.arange(i, count) - i - stands, 0, None)
    soft = np.minimum(after, starts)
    return np.asarray(np.minimum(stood + soft**2 / (2 * starts) + (after - soft), count - 1))


def _slowed(path: Array, i: int, rate: float, stride: int) -> Array:
    """The places (stride, 3) of the last 24th of a second up to sample i, come there at that rate."""
    at = i - stride + rate * np.arange(1, stride + 1)
    low = np.floor(at).astype(int)
    share = (at - low)[:, None]
    return np.asarray(path[low] * (1 - share) + path[np.minimum(low + 1, i)] * share)


def _clear(clean: Clean, part: str, place: Array, i: int) -> bool:
    """Whether the hand stands away from the floor and from all of the body but its own arm."""
    c = clean.character
    leg = c.leg_length
    own = {f"{p}.{body.side(part)}" for p in ("clavicle", "upper_arm", "forearm", "hand")}
    for other in c.parts:
        if other in own:
            continue
        a, b = c.head(other)[i], c.end(other)[i]
        share = np.clip((place - a) @ (b - a) / max(float((b - a) @ (b - a)), 1e-12), 0, 1)
        if np.linalg.norm(place - a - share * (b - a)) < CLEAR * leg:
            return False
    return True
