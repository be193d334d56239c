# SPDX-License-Identifier: GPL-3.0-or-later
"""How far the planted patch of a foot drifts over its ground, pivots forgiven."""
from dataclasses import dataclass, replace

import numpy as np

from ..numeric.hull import smallest_norm, smallest_norm_thick
from ..numeric.rotation import cross, dot, norm, unit
from ..numeric.spans import spans
from ..shot import SOLE_POINTS
from .contacts import SMOOTH_RATE, Contacts
from .tread import Tread

Array = np.ndarray

WINDOW = 1.0        # s: within this long captured feet drift less than the limits
EDGE = 0.08         # s left off each end of a stance: a heel truly slides 2 to 3 cm as it lands
SHORTEST = 0.25     # s: stances under this are not judged
TIGHT = 0.9         # a drift's span is the shortest that holds this share of it ...
AT_REST = 0.1       # ... and goes on until the foot is slower than this share of its skate
DENSE = 96          # drawings up to which all pairs are measured at once
TOGETHER = 0.25     # s: drifts of one stance closer than this are one
# A guessed sole may lie this far off, up or down, and ahead or aside: of the leg, as the guess says of itself.
UNSURE_HEIGHT, UNSURE_PLACE = 0.04, 0.02
# A foot is broad up to its toe tip: this share of the way back from there to the ball it is still this share as broad.
# 0.75 on one skin, 0.6 on one side and 0.95 on the other of a second; a pointed boot less.
TOE_BACK, TOE_BROAD = 0.3, 0.6
_CORNERS = [i for i, p in enumerate(SOLE_POINTS) if p not in ("heel", "ball")]
_TIP = SOLE_POINTS.index("toe_tip")
# m on an adult's leg, s, share of the steps: captured points never keep still like this
SAME_PLACE, SAME_TIME, SAME_SHARE = 3e-5, 0.125, 0.3


@dataclass(frozen=True)
class Stand:
    """A stance by drawings, first and last; judged: whether it is long enough; keyed: whether keys make it, which is
    told of judged ones only."""

    first: int
    last: int
    judged: bool
    keyed: bool


@dataclass(frozen=True)
class Drift:
    """One drift within one stance, by drawings: first and last, worst the end of its farthest slide and since the start
    of that, stance_last the stance's last drawing. Slides to and fro are one drift.

    size m: the largest within the window; total m: within the stance; vector (3,) m from since to worst; walked
    (D, 3) m: the foot's whole way, one for all its drifts; keyed: planted points repeat exactly in the stance;
    swing_after s: from the stance's end to the foot's next one.
    """
    first: int
    last: int
    since: int
    worst: int
    stance_last: int
    size: float
    total: float
    vector: Array
    walked: Array
    keyed: bool
    swing_after: float

    def so_far(self) -> Array:
        """(N, 3) m: the drift from ``first`` to each drawing up to ``stance_last``, held after ``last``."""
        walked = self.walked[self.first:self.stance_last + 1] - self.walked[self.first]
        walked[self.last - self.first:] = walked[self.last - self.first]
        return walked

    @property
    def to_and_fro(self) -> bool:
        """Whether the foot slides on after its farthest slide, or before it, another way."""
        return self.since != self.first or self.worst != self.last


def steps_of(t: Tread, touch: Contacts, side: str, guessed: bool = False, where: Array | None = None) -> Array:
    """(D - 1, 3) m: the smallest step of the planted patch between drawings, in the ground's plane; zero where nothing
    stays, and where the body may rest on other parts.

    guessed: the sole is, so the patch is taken as thick and as wide as that guess is unsure: a foot that rolls about a
    place just outside the guessed patch stands.

    Above 30 drawings a second the step is that over the 1/30 s around, shared evenly: captured noise of single frames
    would add up. where (D,) bool: elsewhere the steps do not matter, and may be left zero.
    """
    columns = t.columns(side)
    relative, planted = _patch(t, touch, side, guessed)
    if where is not None:
        if not where.any():
            return np.zeros((len(relative), 3))
        if _neighbors(t, len(relative)) == 1:
            planted = planted & where[:, None]
    arms = None
    if guessed:
        arms = np.diff(_unsure(t.places[:, columns], t.leg), axis=0)
    else:
        relative, planted = _toed(relative), np.concatenate([planted, planted[:, [_TIP, _TIP]]], 1)
    count = len(relative)
    k = _neighbors(t, count)
    near = _least(relative, np.asarray(planted[:-1] & planted[1:]), t.normal[:-1, columns.start], arms)
    if k == 1:
        return near
    stays = np.asarray(np.lib.stride_tricks.sliding_window_view(planted, k + 1, axis=0).all(-1))
    far = _least(_over(relative, k), stays, t.normal[:count + 1 - k, columns.start],
                 None if arms is None else _over(arms, k)) / k
    total, weight = np.zeros((count, 3)), np.zeros(count)
    some = np.asarray(stays.any(1))
    for shift in range(k):
        rows = slice(shift, shift + len(far))
        total[rows] += np.where(some[:, None], far, 0)
        weight[rows] += some
    return np.where(weight[:, None] > 0, total / np.maximum(weight, 1)[:, None], near)


def _patch(t: Tread, touch: Contacts, side: str, guessed: bool) -> tuple[Array, Array]:
    """Steps (D - 1, P, 3) m of the points that tell where a foot stands, and on which drawings they do, (D, P)."""
    planted = held(touch.drawn[f"foot.{side}"]) & ~touch.elsewhere[f"foot.{side}"][:, None]
    relative = touch.relative[:, t.columns(side)]
    # of a guessed sole a planted heel or ball stands between its edges, which are planted with it
    return (relative[:, _CORNERS], planted[:, _CORNERS]) if guessed else (relative, planted)


def _neighbors(t: Tread, count: int) -> int:
    """Over how many of ``count`` steps one is read."""
    return int(min(max(1, round(t.rate / SMOOTH_RATE)), max(1, count)))


def worth(t: Tread, touch: Contacts, side: str, guessed: bool, stances: list[Stand], least: float,
          least_keyed: float) -> Array:
    """(D,) bool: the stances in which the foot could drift as far as drifts looks for. The patch never steps farther
    than the stillest of its points, so that where all those steps together are less, nothing else need be known."""
    relative, planted = _patch(t, touch, side, guessed)
    count = len(relative)
    out = np.zeros(count + 1, bool)
    if _neighbors(t, count) > 1:
        out[:] = True
        return out
    size = np.where(planted[:-1] & planted[1:], norm(relative), np.inf).min(1)
    far = np.concatenate([[0.0], np.cumsum(np.where(np.isfinite(size), size, 0.0))])
    for s in stances:
        if s.judged and far[s.last] - far[s.first] >= (1 - 1e-9) * (least_keyed if s.keyed else least):
            out[s.first:s.last + 1] = True
    return out


def _toed(steps: Array) -> Array:
    """Steps (N, 9, 3) of the sole's points, from (N, 7, 3), and of the inner and outer edge of its toes: a foot that
    turns about one of these stands, though its toe tip goes."""
    ball, inner, outer, tip = (steps[:, SOLE_POINTS.index(p)] for p in ("ball", "ball_inner", "ball_outer", "toe_tip"))
    middle, aside = tip + TOE_BACK * (ball - tip), TOE_BROAD / 2 * (inner - outer)
    return np.concatenate([steps, np.stack([middle + aside, middle - aside], 1)], 1)


def _over(steps: Array, k: int) -> Array:
    """Steps (N, ...) summed over each k neighbors, (N + 1 - k, ...)."""
    path = np.concatenate([np.zeros((1, *steps.shape[1:])), np.cumsum(steps, 0)])
    return np.asarray(path[k:] - path[:-k])


def _unsure(places: Array, leg: float) -> Array:
    """(D, 3, 3) m: from a point of the guessed sole, whose points are places (D, 7, 3), up, ahead and aside to where it
    may be instead."""
    heel, ball, inner, outer = (places[:, SOLE_POINTS.index(p)] for p in ("heel", "ball", "ball_inner", "ball_outer"))
    ahead, aside = unit(ball - heel), unit(inner - outer)
    up = unit(cross(ahead, aside))
    return np.stack([leg * UNSURE_HEIGHT * up, leg * UNSURE_PLACE * ahead, leg * UNSURE_PLACE * aside], 1)


def _least(step: Array, stays: Array, normal: Array, arms: Array | None = None) -> Array:
    """The smallest step (N, 3) in the plane square to normal (N, 3) among all places of the patch: step (N, P, 3),
    stays (N, P); arms (N, 3, 3): of a patch thickened so, how much farther its points may step."""
    seed = np.where(np.abs(normal[:, :1]) < 0.9, [[1.0, 0, 0]], [[0, 1.0, 0]])
    e1 = seed - dot(seed, normal)[:, None] * normal
    e1 /= norm(e1)[:, None]
    e2 = cross(normal, e1)
    flat = np.stack([dot(step, e1[:, None]), dot(step, e2[:, None])], -1)
    if arms is None:
        least = np.nan_to_num(smallest_norm(flat, stays))
    else:
        wide = np.stack([dot(arms, e1[:, None]), dot(arms, e2[:, None])], -1)
        least = np.nan_to_num(smallest_norm_thick(flat, stays, wide))
    out: Array = least[:, :1] * e1 + least[:, 1:] * e2
    return out


def held(planted: Array) -> Array:
    """Planted points (D, 7) where a planted heel or ball brings its inner and outer edge."""
    out = planted.copy()
    for middle in ("heel", "ball"):
        at = SOLE_POINTS.index(middle)
        out[:, at + 1:at + 3] |= planted[:, at:at + 1]
    return out


def drifts(t: Tread, steps: Array, stances: list[Stand], least: float, least_keyed: float) -> list[Drift]:
    """All drifts of one foot at or above ``least`` meters (``least_keyed`` in keyed stances), in time order, from its
    steps (D - 1, 3) and its stances."""
    path = np.concatenate([np.zeros((1, 3)), np.cumsum(steps, 0)])
    edge = int(np.ceil(EDGE * t.rate - 1e-6))
    found: list[Drift] = []
    for k, stance in enumerate(stances):
        a, b = stance.first, stance.last
        lo, hi = a + edge, b - edge
        if not stance.judged or hi <= lo:
            continue
        window = hi - lo if stance.keyed else min(hi - lo, max(1, round(WINDOW * t.rate)))
        floor = least_keyed if stance.keyed else least
        spells = _merged(_spells(_Between(path, lo, hi), lo, hi, window, floor), round(TOGETHER * t.rate), window, path)
        if not spells:
            continue
        after = (stances[k + 1].first - b) / t.rate if k + 1 < len(stances) else 1.0
        reach = path[lo:hi + 1] - path[lo]
        total = float(norm(reach[:, None] - reach[None, ::max(1, len(reach) // 64)]).max())
        for spell in spells:
            first, last, since, worst, size = spell
            found.append(Drift(first, last, since, worst, b, size, max(total, size), path[worst] - path[since], path,
                               stance.keyed, after))
    return found


def stands(t: Tread, touch: Contacts) -> dict[str, list[Stand]]:
    """Side -> all stances of its foot, in time order. Where half of the figure's judged stances keep a point exactly,
    keys make the others too, though they skate."""
    told: dict[str, list[Stand]] = {}
    for side in t.sides:
        repeats = _Repeats(t, touch, side)
        told[side] = []
        for a, b in spans(np.asarray(touch.drawn[f"foot.{side}"].any(1))):
            judged = (b - a + 1) / t.rate >= SHORTEST
            told[side].append(Stand(a, b, judged, judged and repeats.within(a, b)))
    every = [s for stances in told.values() for s in stances if s.judged]
    if every and sum(s.keyed for s in every) >= len(every) / 2:
        return {side: [replace(s, keyed=s.judged) for s in stances] for side, stances in told.items()}
    return told


def _belted(t: Tread, touch: Contacts) -> bool:
    """Whether the ground goes by under the feet."""
    return touch.relative is not t.steps and not np.array_equal(touch.relative, t.steps)


class _Repeats:
    """Whether some planted point keeps its place exactly through much of a stance, as only keys make it."""

    def __init__(self, t: Tread, touch: Contacts, side: str) -> None:
        planted = touch.drawn[f"foot.{side}"]
        stays = planted[:-1] & planted[1:]
        step = touch.relative[:, t.columns(side)]
        # a belt's speed is an estimate: exact there is what moves on evenly, which a stance's last step cannot tell
        self._short = 1 if _belted(t, touch) else 0
        if self._short:
            step = np.diff(step, axis=0)
        still = stays[:len(step)] & (norm(step) < SAME_PLACE * t.leg / 0.85)
        none = np.zeros((1, stays.shape[1]), int)
        self._stays = np.concatenate([none, np.cumsum(stays, axis=0)])
        self._still = np.concatenate([none, np.cumsum(still, axis=0)])
        self._least = max(2, round(SAME_TIME * t.rate))

    def within(self, a: int, b: int) -> bool:
        """For the stance from drawing a to b."""
        still = self._still[max(a, b - self._short)] - self._still[a]
        stays = self._stays[b] - self._stays[a]
        return bool((still >= np.maximum(self._least, SAME_SHARE * stays)).any())


class _Between:
    """The path (D, 3) m of a stance from drawing lo to hi, and the distances between its drawings, which are all found
    at once where it is short, when first asked for."""

    def __init__(self, path: Array, lo: int, hi: int) -> None:
        self.path, self._lo, self._hi = path, lo, hi
        self._all: Array | None = None

    def pairs(self, a: int, b: int) -> Array:
        """Distances (N, N) between drawings a to b."""
        if self._hi - self._lo >= DENSE:
            return _pairs(self.path[a:b + 1])
        if self._all is None:
            self._all = _pairs(self.path[self._lo:self._hi + 1])
        rows = slice(a - self._lo, b + 1 - self._lo)
        return self._all[rows, rows]

    def most(self, a: int, b: int) -> float:
        """A distance that none between drawings a to b exceeds: the largest, where they are known, else their box's."""
        if self._all is not None:
            return float(self.pairs(a, b).max())
        here = self.path[a:b + 1]
        return float(np.linalg.norm(here.max(0) - here.min(0)))


def _spells(between: _Between, lo: int, hi: int, window: int, least: float) -> list[tuple[int, int, float]]:
    """Largest drift between lo and hi, then the largest ones before and after it, and so on down to ``least``."""
    if hi <= lo or between.most(lo, hi) < least:
        return []
    best, where = _largest(between, lo, hi, window)
    if best < least or best <= 0:
        return []
    first, last = _tightest(between, *where, best)
    a, b = max(lo, first - 2), min(hi, last + 2)
    size_here = float(between.pairs(a, b).max()) if b - a < 2 * window + 8 else best
    return [*_spells(between, lo, first, window, least), (first, last, size_here),
            *_spells(between, last, hi, window, least)]


def _largest(between: _Between, lo: int, hi: int, window: int) -> tuple[float, tuple[int, int]]:
    """The largest drift between two drawings of lo to hi, up to ``window`` apart, and those two: the nearest ones."""
    path = between.path
    if hi - lo < DENSE:
        size = between.pairs(lo, hi)
        if hi - lo > window:
            gap = _GAPS[:hi - lo + 1, :hi - lo + 1]
            size = size * (abs(gap) <= window)
        # told both ways round: of every two the earlier one is the row
        first, last = (size >= size.max() * (1 - 1e-9)).nonzero()
        first, last = first[last > first], last[last > first]
        if not len(first):
            return 0.0, (lo, lo)
        pick = int((last - first).argmin())
        i, j = int(first[pick]), int(last[pick])
        return float(size[i, j]), (lo + i, lo + j)
    best, where = 0.0, (lo, lo)
    for gap_here in range(1, min(window, hi - lo) + 1):
        sizes = norm(path[lo + gap_here:hi + 1] - path[lo:hi + 1 - gap_here])
        at = int(sizes.argmax())
        if sizes[at] > best * (1 + 1e-9):
            best, where = float(sizes[at]), (lo + at, lo + at + gap_here)
    return best, where


#: How many drawings the column lies after the row.
_GAPS = np.arange(DENSE)[None] - np.arange(DENSE)[:, None]


def _pairs(path: Array) -> Array:
    """Distances (N, N) between the places of a path (N, 3)."""
    rows = np.ascontiguousarray(path.T)
    return norm((rows[:, :, None] - rows[:, None]).transpose(1, 2, 0))


def _tightest(between: _Between, i: int, j: int, best: float) -> tuple[int, int]:
    """The skate itself inside the pair (i, j): noise before and after it makes that longer.

    The shortest span that holds nearly all of the drift, then out to where the foot comes to rest.
    """
    path = between.path
    first, last = i, j
    if j - i < DENSE:
        pairs, gaps = between.pairs(i, j), _GAPS[:j - i + 1, :j - i + 1]
        gap = int(gaps[(gaps > 0) & (pairs >= TIGHT * best)].min(initial=j - i))
        at = int(np.diagonal(pairs, gap).argmax())
        first, last = i + at, i + at + gap
    else:
        for gap in range(1, j - i + 1):
            size = norm(path[i + gap:j + 1] - path[i:j + 1 - gap])
            at = int(size.argmax())
            if size[at] >= TIGHT * best:
                first, last = i + at, i + at + gap
                break
    along = path[last] - path[first]
    speed = (path[i + 1:j + 1] - path[i:j]) @ (along / norm(along))
    going = AT_REST * float(speed[first - i:last - i].max())
    while last < j and speed[last - i] > going:
        last += 1
    while first > i and speed[first - i - 1] > going:
        first -= 1
    return first, last


_Merged = tuple[int, int, int, int, float]


def _merged(spells: list[tuple[int, int, float]], gap: int, window: int, path: Array) -> list[_Merged]:
    """Neighboring drifts with less than ``gap`` drawings between them as one: (first, last, since, worst, size), the
    farthest slide going from ``since`` to ``worst``. Onward ones add up; to and fro ones keep the larger's size."""
    out: list[_Merged] = []
    for first, last, size in spells:
        if not out or first - out[-1][1] > gap or last - out[-1][0] > window:
            out.append((first, last, first, last, size))
            continue
        start, _, since, worst, was = out[-1]
        whole = float(np.linalg.norm(path[last] - path[since]))
        onward = worst == out[-1][1] and (path[last] - path[first]) @ (path[worst] - path[since]) > 0
        if onward:
            out[-1] = (start, last, since, last, max(was, size, whole))
        else:
            out[-1] = (start, last, *((since, worst) if was >= size else (first, last)), max(was, size))
    return out
