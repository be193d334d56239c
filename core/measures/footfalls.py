# SPDX-License-Identifier: GPL-3.0-or-later
"""Footfalls: when each foot stands, to a fraction of a frame, on which part of its sole, and about what it turns."""
from dataclasses import dataclass

import numpy as np

from ..need import NOTHING
from ..shot import SOLE_POINTS, Character
from ..study import Study, measure
from . import touch
from .belt import belt
from .pinned import pinned
from .sole import soles
from .springs import sprung
from .touch import Pace, Span
from .tread import Tread, tread

Array = np.ndarray

N = len(SOLE_POINTS)
HEEL, BALL, TIP = (SOLE_POINTS.index(p) for p in ("heel", "ball", "toe_tip"))
INNER, OUTER = ([SOLE_POINTS.index(f"{p}_{side}") for p in ("heel", "ball")] for side in ("inner", "outer"))
#: What a patch may be called. 'edge' is one side of the foot alone.
KINDS = ("none", "full", "heel", "ball", "toe", "edge")
NONE, FULL, HEEL_ONLY, BALL_ONLY, TOE_ONLY, EDGE = range(len(KINDS))

# No point that moves at more than this share of its swing's peak stands while a faster one of its foot lies lower, by
# more than the sole is known to: of the leg, of the skin or the card, and guessed.
NOT_STILL, LOWER_KNOWN, LOWER_GUESSED = 0.04, 0.02, 0.04
#: Points this near the foot's lowest lie on the ground with it, of the leg; where only their own floor tells it, the
#: ground may rise this much a meter along the foot.
LIES, SLOPE = 0.015, 0.21
DWELLS, DWELL = 0.06, 0.12              # slower than this share of its swing's peak for so many seconds, a foot dwells
SKATE_GAP, SKATE_RISE = 0.3, 0.015      # a foot that alone carries the body cannot let go for so short without rising
GLIDE_RISE, GLIDE_FAR = 0.01, 0.25      # with the other foot standing: as little rise at every point, and no farther
LOOSE = 0.30                            # a point faster than this share of its swing's peak is on no patch
TURNS = np.radians(20.0)                # a second: a foot that turns slower rests
PHASE = 0.04                            # s: shorter changes of the patch are noise


@dataclass(frozen=True)
class Phase:
    """A part of a footfall with one patch: kind (one of KINDS), first and last sample."""
    kind: str
    first: int
    last: int


@dataclass(frozen=True)
class Footfall:
    """One contact of a foot. span: its samples and its ends; kind: 'full' where it ever lies flat, else the kind that
    it has longest; phases in time order; turned: radians about the vertical while it stood, positive
    counterclockwise from above."""
    part: str
    span: Span
    kind: str
    phases: tuple[Phase, ...]
    turned: float


@dataclass(frozen=True)
class Footfalls:
    """falls: 'foot.L', 'foot.R' -> its contacts in time order. On the D drawings of the tread measure: planted (D, S)
    bool, the sole points that stand; kind (D, sides) index into KINDS; pivot (D, sides, 3) m, the place on the sole
    about which a standing foot turns, NaN where it rests or is off the ground; turn (D, sides) rad/s about the
    vertical. ratio (N, sides): speed of each foot's slowest low point over its swing's peak, over the intervals of
    ``way``."""
    falls: dict[str, tuple[Footfall, ...]]
    planted: Array
    kind: Array
    pivot: Array
    turn: Array
    ratio: Array
    way: Pace | None


@dataclass(frozen=True)
class Stances:
    """When each foot stands, before it is told on what. spans: for each side in time order; on the S sole points and
    the intervals of ``way``, ratio (S, D - w): speed over the swing's peak, and least (sides, D - w) its slowest low
    point's. relative (D - 1, S, 3) m: the points' steps against their ground."""
    spans: list[list[Span]]
    ratio: Array
    least: Array
    relative: Array
    way: Pace


@measure(NOTHING, uses=(tread, belt, soles))
def stances(study: Study, character: Character) -> Stances | None:
    """Reads when both feet stand on the ground that the tread measure knows, belts included; None where there is
    nothing to read."""
    t: Tread = study.of(tread, character)
    d, s = len(t.samples), t.height.shape[1]
    if d < 3 or s == 0:
        return None
    relative = t.steps - study.of(belt, character).velocity * t.dt[:, None, None]
    source = study.of(soles, character).source
    lower = np.where([source[side] != "guess" for side in t.sides], LOWER_KNOWN, LOWER_GUESSED) * t.leg
    sides = len(t.sides)
    height, over = np.ascontiguousarray(t.height.T), np.ascontiguousarray(t.over.T)
    way = touch.pace(np.ascontiguousarray(relative.transpose(1, 2, 0)), t.samples, t.dt, height, t.leg, t.speed)
    ratio = way.ratio
    may = _may(height, over, ratio, way, t.leg, lower)
    dwelling = _carries(may, over, ratio, way, lower, t.rate)
    may |= dwelling
    least = _least(ratio, may)
    low = touch.over_each(height, way.width) < touch.SURE * t.leg
    sure = (may & low | dwelling).reshape(sides, N, -1).any(1)
    # what never gets down to the ground, as the top of a low hop, must not be joined with what does
    runs = [[(a, b) for a, b in touch.standing(row) if down[a:b + 1].any()]
            for row, down in zip(least, sure, strict=True)]
    runs = _joined(t, runs, height, relative, way)
    found = []
    for k in range(sides):
        rows = slice(k * N, k * N + N)
        # where no point may stand any more, being too high, its speed still tells when it left
        speed = np.where(np.isfinite(least[k]), least[k], ratio[rows].min(0))
        found.append(touch.timed(_kept(runs[k], len(ratio[0]), t, way), speed, way, study.shot.count))
    raw = np.sqrt((relative**2).sum(-1)).T / t.dt
    found = [pinned(row, raw[k * N:k * N + N], t.samples, t.leg, sample_rate(t)) for k, row in enumerate(found)]
    spans = sprung(found, height.reshape(sides, N, d).min(1), t.samples, sample_rate(t), t.leg, t.speed)
    return Stances(spans, ratio, least, relative, way)


@measure(NOTHING, uses=(tread, stances))
def footfalls(study: Study, character: Character) -> Footfalls:
    """The patch that each standing foot stands on, and about what it turns."""
    t: Tread = study.of(tread, character)
    d, s, sides = len(t.samples), t.height.shape[1], len(t.sides)
    falls: dict[str, tuple[Footfall, ...]] = {f"foot.{side}": () for side in t.sides}
    stood: Stances | None = study.of(stances, character)
    if stood is None:
        return Footfalls(falls, np.zeros((d, s), bool), np.zeros((d, sides), int), np.full((d, sides, 3), np.nan),
                         np.zeros((d, sides)), np.zeros((0, sides)), None)
    height, over = np.ascontiguousarray(t.height.T), np.ascontiguousarray(t.over.T)
    planted = np.zeros((s, d), bool)
    kind = np.zeros((sides, d), int)
    for k, spans in enumerate(stood.spans):
        rows = slice(k * N, k * N + N)
        stands = np.zeros(d, bool)
        for a, b in (_drawn(t.samples, span) for span in spans):
            stands[a:b] = True
        planted[rows] = _patch(stands, height[rows], over[rows], stood.ratio[rows], t.places[:, rows], stood.way, t.leg)
        kind[k] = _calmed(_kinds(planted[rows]), round(PHASE * t.rate))
    pivot, turn = _turning(t, stood.relative, planted)
    total = np.concatenate([np.zeros((1, sides)), np.cumsum(turn[:-1] * t.dt[:, None], 0)])
    falls = {part: tuple(_footfall(part, span, t.samples, kind[k], total[:, k]) for span in stood.spans[k])
             for k, part in enumerate(falls)}
    return Footfalls(falls, planted.T, kind.T, pivot, turn, stood.least.T, stood.way)


def sample_rate(t: Tread) -> float:
    """Samples a second; on twos half of them are drawings."""
    return float((t.samples[-1] - t.samples[0]) / t.dt.sum()) if len(t.dt) else t.rate


def _least(ratio: Array, may: Array) -> Array:
    """(sides, N) the ratio of each foot's slowest point of those that may stand (S, N)."""
    return np.stack([touch.slowest(ratio[a:a + N], may[a:a + N]) for a in range(0, len(ratio), N)])


def _lies(over: Array, ratio: Array, way: Pace, lower: Array) -> Array:
    """(S, N) bool: points not over a lower one of their foot that moves, unless still."""
    feet = over.reshape(-1, N, over.shape[1])
    feet = np.maximum(feet[..., way.width:], feet[..., :-way.width])
    loose = np.where((ratio < touch.LEAVES).reshape(feet.shape), np.inf, feet).min(1, keepdims=True)
    lies = (feet < loose + lower[:, None, None]).reshape(ratio.shape)
    return np.asarray(lies | (ratio < NOT_STILL))


def _carries(may: Array, over: Array, ratio: Array, way: Pace, lower: Array, rate: float) -> Array:
    """(S, N) bool: points of feet that dwell high over their floor while no other foot stands: on something that no
    mesh tells, since something must carry the body."""
    out = np.zeros_like(may)
    least = _least(ratio, may)
    stands = np.zeros(least.shape, bool)
    for k, row in enumerate(least):
        for a, b in touch.standing(row):
            stands[k, a:b + 1] = True
    lies = _lies(over, ratio, way, lower)
    for k, row in enumerate(_least(ratio, lies)):
        alone = (row < DWELLS) & ~stands[np.arange(len(stands)) != k].any(0)
        told = np.concatenate([[0], np.cumsum(alone)])
        for a, b in touch.standing(row):
            if told[b + 1] - told[a] >= DWELL * rate and not stands[k, a:b + 1].all():
                out[k * N:k * N + N, a:b + 1] = lies[k * N:k * N + N, a:b + 1]
    return out


def _may(height: Array, over: Array, ratio: Array, way: Pace, leg: float, lower: Array) -> Array:
    """(S, N) bool: points that may stand: low, and not over a lower one of their foot that moves, unless still."""
    near = touch.over_each(height, way.width) < touch.GATE * leg
    return np.asarray(near & _lies(over, ratio, way, lower))


def _joined(t: Tread, runs: list[list[tuple[int, int]]], height: Array, relative: Array, way: Pace
            ) -> list[list[tuple[int, int]]]:
    """Runs of all feet with the gaps filled that are no steps: too short, or a skate under load."""
    n = height.shape[1] - way.width
    held = np.zeros((len(runs), n), bool)
    for k, rows in enumerate(runs):
        for a, b in rows:
            held[k, a:b + 1] = True
    out = []
    for k, rows in enumerate(runs):
        columns = slice(k * N, k * N + N)
        low = height[columns].min(0)
        others = held[np.arange(len(runs)) != k].any(0)
        kept: list[tuple[int, int]] = []
        for a, b in rows:
            if kept and _same(t, kept[-1][1], a, low, others, height[columns], relative[:, columns], way.width):
                kept[-1] = (kept[-1][0], b)
            else:
                kept.append((a, b))
        out.append(kept)
    return out


def _same(t: Tread, a: int, b: int, low: Array, others: Array, height: Array, steps: Array, width: int) -> bool:
    """Whether a foot that stands up to interval a and from interval b stood all the while."""
    seconds = (b - a - 1) / t.rate
    # drawings a + 1 to b bound the gap's intervals; those of a wider pace reach further
    gap = slice(a + 1, b + width)
    ends = low[a], low[min(b + width, len(low) - 1)]
    if not others[a + 1:b].any() and low[gap].max() - min(ends) > SKATE_RISE * t.leg:
        return False
    if seconds < touch.FILL:
        return True
    if seconds >= SKATE_GAP:
        return False
    if not others[a + 1:b].any():
        return True
    if low[gap].max() - max(ends) > SKATE_RISE * t.leg:
        return False
    # every step lifts something first, however low: what only sinks or rolls down slides
    rise = (height[:, gap].max(1) - height[:, a + 1]).max()
    travel = np.linalg.norm(steps[a + 1:b + width - 1].sum(0), axis=-1).min()
    return bool(rise < GLIDE_RISE * t.leg and travel < GLIDE_FAR * t.leg)


def _kept(runs: list[tuple[int, int]], count: int, t: Tread, way: Pace) -> list[tuple[int, int]]:
    """Runs of ``count`` intervals that last, or are cut by the shot."""
    return [(a, b) for a, b in runs
            if (b - a + way.width) / t.rate >= touch.DROP or a == 0 or b == count - 1]


def _patch(stands: Array, height: Array, over: Array, ratio: Array, places: Array, way: Pace, leg: float) -> Array:
    """(7, D) bool: the points of a foot that stands (D,) which lie on the ground. places (D, 7, 3) m."""
    d = len(stands)
    quiet = np.full((N, d), np.inf)
    quiet[:, :-way.width] = ratio
    np.minimum(quiet[:, way.width:], ratio, out=quiet[:, way.width:])
    bottom = over.argmin(0)
    gap = over - over.min(0)
    # where no mesh tells the ground's slope, a point's own floor does, as far as grounds slope
    away = np.linalg.norm(places - places[np.arange(d), bottom][:, None], axis=-1).T
    own = (height < LIES / 2 * leg) & (gap < LIES * leg + SLOPE * away)
    out = stands & ((gap < LIES * leg) | own) & (quiet < LOOSE)
    # something of a standing foot stands: of the low ones the stillest
    empty = np.flatnonzero(stands & ~out.any(0))
    low = np.where(gap < 4 * LIES * leg, quiet, np.inf)[:, empty]
    out[low.argmin(0), empty] = True
    return np.asarray(out)


def _kinds(planted: Array) -> Array:
    """(D,) the kind of each patch (7, D)."""
    heel, ball = planted[:HEEL + 3].any(0), planted[BALL:BALL + 3].any(0)
    inner, outer = planted[INNER].any(0), planted[OUTER].any(0)
    middle = planted[[HEEL, BALL]].any(0)
    kind = np.select([heel & ball, heel, ball, planted[TIP]], [FULL, HEEL_ONLY, BALL_ONLY, TOE_ONLY], NONE)
    return np.where(((inner != outer) & ~middle & ~planted[TIP]), EDGE, kind)


def _calmed(kind: Array, least: int) -> Array:
    """Kinds in which changes that last less than ``least`` drawings are given to what went before them."""
    if least < 2 or not len(kind):
        return kind
    out = kind.copy()
    starts = np.concatenate([[0], np.flatnonzero(kind[1:] != kind[:-1]) + 1, [len(kind)]])
    for a, b in zip(starts[1:-1], starts[2:], strict=True):
        if b - a < least and kind[a] != NONE and out[a - 1] != NONE and b < len(kind) and kind[b] != NONE:
            out[a:b] = out[a - 1]
    return out


def _drawn(samples: Array, span: Span) -> tuple[int, int]:
    """The drawings inside a contact, from the first to the one after the last."""
    a, b = samples.searchsorted((span.first, span.last + 1)).tolist()
    return a, b


def _footfall(part: str, span: Span, samples: Array, kind: Array, total: Array) -> Footfall:
    """total (D,): how far the foot has turned up to each drawing, summed over all its contacts."""
    a, b = _drawn(samples, span)
    own = kind[a:b]
    if b <= a:
        return Footfall(part, span, KINDS[FULL], (), 0.0)
    starts = [0, *(np.flatnonzero(own[1:] != own[:-1]) + 1).tolist()]
    begins = [span.first, *samples[a + np.array(starts[1:], int)].tolist()]
    ends = [n - 1 for n in begins[1:]] + [span.last]
    phases = tuple(Phase(KINDS[own[n]], first, last) for n, first, last in zip(starts, begins, ends, strict=True))
    held = np.bincount(own, minlength=len(KINDS))
    name = KINDS[FULL if held[FULL] else int(held.argmax())]
    return Footfall(part, span, name, phases, float(total[b - 1] - total[a]))


def _turning(t: Tread, relative: Array, planted: Array) -> tuple[Array, Array]:
    """(D, sides, 3) the pivots and (D, sides) rad/s about the vertical."""
    d, sides = len(t.samples), len(t.sides)
    pivot, turn = np.full((d, sides, 3), np.nan), np.zeros((d, sides))
    up = t.up
    seed = np.array([1.0, 0, 0]) if abs(up[0]) < 0.9 else np.array([0.0, 1.0, 0])
    e1 = seed - seed @ up * up
    e1 /= np.linalg.norm(e1)
    e2 = np.cross(up, e1)
    for k in range(sides):
        columns = slice(k * N, k * N + N)
        speed = relative[:, columns] / t.dt[:, None, None]
        x = (t.places[:-1, columns] @ np.stack([e1, e2], 1)).transpose(2, 1, 0)      # (2, 7, D - 1)
        v = (speed @ np.stack([e1, e2], 1)).transpose(2, 1, 0)
        stands = planted[columns, :-1] & planted[columns, 1:]
        # the foot bone's own turn: heel and ball are rigid in it, the toes are not
        rigid = [p for p in range(N) if p != TIP]
        arm, pull = x[:, rigid] - x[:, rigid].mean(1, keepdims=True), v[:, rigid] - v[:, rigid].mean(1, keepdims=True)
        rate = (arm[0] * pull[1] - arm[1] * pull[0]).sum(0) / np.maximum((arm**2).sum((0, 1)), 1e-12)
        down = stands.any(0)
        turn[:-1, k] = np.where(down, rate, 0.0)
        spin = np.linalg.norm(speed - speed.mean(1, keepdims=True), axis=-1).max(1)
        size = np.linalg.norm(t.places[:-1, columns] - t.places[:-1, columns].mean(1, keepdims=True), axis=-1).max(1)
        moving = np.flatnonzero(down & (spin > TURNS * size))
        if not len(moving):
            continue
        # the place of the patch that moves least: nearer to a point the slower that is
        weight = np.where(stands, 1.0 / (np.linalg.norm(speed, axis=-1).T ** 2 + (1e-3 * t.speed) ** 2), 0.0)
        weight = weight[:, moving] / weight[:, moving].sum(0)
        pivot[moving, k] = np.einsum("pm,mpi->mi", weight, t.places[:-1, columns][moving])
    return pivot, turn
