# SPDX-License-Identifier: GPL-3.0-or-later
"""Spans in which a signal marches on evenly between two corners, as a machine does and a body does not."""
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isnan, sqrt

import numpy as np

from ..numeric.rotation import norm
from ..numeric.spans import spans
from ..shot import Character
from ..study import Study, measure
from .keyed import keyed
from .turn import Motion, Signal, turn

Array = np.ndarray

#: Velocity changes by at most this share from drawing to drawing, for at least so many steps and seconds.
EVEN, LEAST_STEPS, LEAST_SECONDS = 0.03, 4, 0.16
#: ... and strays from the span's mean velocity by at most this share of it, so that small changes do not add up.
WANDER = 0.08
#: Slower spans are moving holds (legs a second).
LEAST_SPEED = 0.25
#: Share of the speed by which it must change at the harder end, and at the softer one.
HARD, SOFT = 0.25, 0.20
#: Evenness that no body and no eased curve shows by chance; then one corner is enough, of at least this share.
EXACT, EXACT_HARD = 0.005, 0.08
#: Where keys are known to be linear: quaternion and Euler channels turn a little unevenly between them.
KEYED_EVEN = 0.10
#: The noisy test: the stretch stays within this share of its travel plus three times the noise of a straight even
#: march.
MARCH, NOISES, NOISY_HARD, NOISY_SPEED, NOISY_STEPS, NOISY_SECONDS = 0.012, 3.0, 0.30, 0.30, 8, 0.33
#: Three times the noise beyond this share of the travel: too noisy to tell.
TOO_NOISY = 0.018


#: Outside a corner the motion is calm where its own change is below this share of the corner.
CALM = 0.03
#: The lesser half of a corner that a key between frames splits is at least this share of it; less is lost in the number
#: told, and cannot be told from a move that comes to rest by itself.
LESSER_HALF = 0.2
#: Changes of an even march that turn back on each other by this much are noise: white noise turns back by 2/3, the
#: unevenness of straight quaternion or Euler channels not at all. Smaller ones (legs) are rounding.
TURNS_BACK, ROUNDING = 0.25, 5e-5


@dataclass(frozen=True)
class EvenSpan:
    """Drawings ``first`` to ``last`` (indices into Motion.drawings) marched through evenly.

    speed: legs a second, on average; ratio: peak over mean speed. corners: change of velocity at first and last, legs a
    second, NaN at the shot's own end. noisy: found by the test for baked, noisy motion, or trembling on its way.
    """
    signal: Signal
    first: int
    last: int
    speed: float
    ratio: float
    corners: tuple[float, float]
    noisy: bool = False

    @property
    def corner(self) -> float:
        """The harder corner, legs a second."""
        return max(c for c in self.corners if not isnan(c))

    @property
    def worst(self) -> int:
        """The drawing of the harder corner."""
        into, out = (0.0 if isnan(c) else c for c in self.corners)
        return self.first if into >= out else self.last


def even_spans(signal: Signal, straight: Sequence[tuple[int, int]] = ()) -> list[EvenSpan]:
    """Even spans with hard ends of one signal, in order. ``straight``: first and last drawing of stretches between keys
    that are known to run straight; there a motion a little less even will do, from the one key to the other."""
    velocity, speed = signal.velocity, signal.speed
    if len(speed) < LEAST_STEPS:
        return []
    change = signal.change
    limit = np.maximum(speed[:-1], speed[1:])
    calm = spans(change <= EVEN * limit, LEAST_STEPS - 1)
    if not straight and not calm:
        return []
    found: list[EvenSpan] = []
    tried = [(a, b + 1, HARD, SOFT) for a, b in calm]
    if calm:                                               # what is exactly even is even as well
        tried += [(a, b + 1, EXACT_HARD, 0.0) for a, b in spans(change <= EXACT * limit, LEAST_STEPS - 1)]
    straight_steps = {(a, b - 1) for a, b in straight}
    tried += [(a, b - 1, EXACT_HARD, 0.0) for a, b in straight
              if (change[a:b - 1] <= KEYED_EVEN * limit[a:b - 1]).all()]
    for a, b, hard, soft in tried:
        span = _span(signal, a, b, hard, soft)
        if span is None or any(_overlap(span, f) for f in found):
            continue
        if (a, b) in straight_steps or _wander(velocity[a:b + 1]) <= WANDER:
            found.append(replace(span, noisy=True) if _trembles(signal, a, b) else span)
    return sorted(found, key=lambda s: s.first)


def _wander(velocity: Array) -> float:
    mean = velocity.mean(0)
    return float(norm(velocity - mean).max()) / max(_size(mean), 1e-12)


def _size(v: Array) -> float:
    """Length of one v (3,)."""
    return sqrt(float(v @ v))


def noisy_spans(signal: Signal, step: float) -> list[EvenSpan]:
    """Longest stretches, NOISY_STEPS at least, that stay by an even march within the clip's noise, with hard ends.
    step: the usual seconds between drawings."""
    least = max(NOISY_STEPS, int(round(NOISY_SECONDS / step)))
    around = max(2, int(round(0.08 / step)))
    path = np.concatenate([np.zeros((1, 3)), np.cumsum(signal.steps, axis=0)])
    time = np.concatenate([[0.0], np.cumsum(signal.seconds)])
    allowance = NOISES * signal.noise
    if len(path) <= least:
        return []
    starts = np.flatnonzero(_marches(path, time, least, allowance))
    found: list[EvenSpan] = []
    taken = np.zeros(len(path), bool)
    marches = [(int(a), _longest(path, time, int(a), least, allowance)) for a in starts]
    for first, last in sorted(marches, key=lambda s: s[0] - s[1]):
        if taken[first:last + 1].sum() > 1:
            continue
        span = _noisy_span(signal, first, last, around)
        if span is not None:
            taken[first:last + 1] = True
            found.append(span)
    return sorted(found, key=lambda s: s.first)


@measure(uses=(turn, keyed))
def even(study: Study, character: Character) -> tuple[EvenSpan, ...]:
    """All even spans of a character, the noisy ones where no exact one lies. Keys only soften the test of evenness
    where
    they are straight; they never speak alone."""
    motion: Motion = study.of(turn, character)
    frames = study.shot.frames[motion.drawings]
    keys = study.of(keyed, character)
    step = float(np.median(motion.signals[0].seconds)) if motion.signals else 1.0
    out: list[EvenSpan] = []
    for signal in motion.signals:
        exact = even_spans(signal, keys.stretches(signal.part, frames))
        out += exact
        if signal.part in keys.sparse:                     # curves have no noise to look through
            continue
        out += [n for n in noisy_spans(signal, step) if not any(_overlap(n, e) for e in exact)]
    return tuple(out)


def _overlap(a: EvenSpan, b: EvenSpan) -> bool:
    return a.first < b.last and b.first < a.last


def _span(signal: Signal, a: int, b: int, hard: float, soft: float) -> EvenSpan | None:
    """The span of steps a to b, or None where it is too short, too slow or the whole shot, or its ends are soft."""
    if b - a + 1 < LEAST_STEPS:
        return None
    velocity, speed = signal.velocity, signal.speed
    mean = float(np.add.reduce(speed[a:b + 1])) / (b - a + 1)
    if mean <= LEAST_SPEED or signal.seconds[a:b + 1].sum() < LEAST_SECONDS - 1e-6:
        return None
    change = signal.change
    # a corner is at most the two changes into which a key between frames splits it: most stretches end here
    around = (max(a - 2, 0), a), (b, min(b + 2, len(change)))
    most = [float(change[first:last].sum()) if first < last else float("nan") for first, last in around]
    if not _ends_hard(most, mean, hard, soft):
        return None
    corners = _corner(velocity[a::-1]), _corner(velocity[b:])
    if not _ends_hard(corners, mean, hard, soft):
        return None
    return EvenSpan(signal, a, b + 1, mean, float(speed[a:b + 1].max() / mean), corners)


def _trembles(signal: Signal, a: int, b: int) -> bool:
    """Whether steps a to b differ by noise: what a curve leaves uneven goes one way for a while."""
    changes = signal.velocity[a + 1:b + 1] - signal.velocity[a:b]
    power = float((changes**2).sum())
    if sqrt(power / len(changes)) * float(signal.seconds[a:b + 1].mean()) < ROUNDING:
        return False
    return float((changes[1:] * changes[:-1]).sum()) < -TURNS_BACK * power


def _corner(outward: Array) -> float:
    """Change of velocity just outside a span whose end step comes first in ``outward`` (N, 3); NaN at the shot's end.

    A key between two frames splits its corner over two changes that go the same way. Where the motion beyond is calm
    for as long as a span must last, both count, less the change that it has anyway; elsewhere, as where a move swings
    back at once, the second change is the motion's own.
    """
    changes = outward[1:LEAST_STEPS + 2] - outward[:LEAST_STEPS + 1][:max(0, len(outward) - 1)]
    if not len(changes):
        return float("nan")
    corner = _size(changes[0])
    if len(changes) == LEAST_STEPS + 1:
        size, other, usual = corner, _size(changes[1]), float(norm(changes[2:]).max())
        whole = _size(changes[0] + changes[1])
        alike = changes[0] @ changes[1] > 0.98 * size * other and min(size, other) > LESSER_HALF * whole
        if alike and usual < CALM * whole:
            corner = max(corner, whole - usual)
    return corner


def _ends_hard(corners: Sequence[float], speed: float, hard: float, soft: float) -> bool:
    """One end, NaN, may be the shot's own; then the other must be the harder one."""
    known = [c for c in corners if not isnan(c)]
    return bool(known) and max(known) > hard * speed and min(known) >= soft * speed


def _marches(path: Array, time: Array, count: int, allowance: float) -> Array:
    """(D - count,) whether the ``count`` steps from each drawing on are a straight even march."""
    whole = path[count:] - path[:-count]
    travel = norm(whole)
    seconds = time[count:] - time[:-count]
    out = (allowance <= TOO_NOISY * travel) & (travel > NOISY_SPEED * seconds)
    left = np.flatnonzero(out)
    # from the middle out, where most stray the farthest: what has strayed once is looked at no more
    for step in sorted(range(1, count), key=lambda k: abs(k - count / 2)):
        if not len(left):
            break
        share = (time[left + step] - time[left]) / seconds[left]
        off = norm(path[left + step] - path[left] - whole[left] * share[:, None])
        stays = off <= MARCH * travel[left] + allowance
        out[left[~stays]] = False
        left = left[stays]
    return out


def _marches_whole(path: Array, time: Array, allowance: float) -> bool:
    """Whether all of the path (N, 3) is one straight even march."""
    whole, seconds = path[-1] - path[0], float(time[-1] - time[0])
    travel = _size(whole)
    if allowance > TOO_NOISY * travel or travel <= NOISY_SPEED * seconds:
        return False
    off = path - path[0] - whole * ((time - time[0]) / seconds)[:, None]
    return bool(norm(off).max() <= MARCH * travel + allowance)


def _longest(path: Array, time: Array, first: int, least: int, allowance: float) -> int:
    """The last drawing of the longest march from ``first`` on."""
    last = first + least
    while last + 1 < len(path):
        if not _marches_whole(path[first:last + 2], time[first:last + 2], allowance):
            break
        last += 1
    return last


def _noisy_span(signal: Signal, first: int, last: int, around: int) -> EvenSpan | None:
    """The stretch with corners told by the mean of a few steps inside against as many outside."""
    v, speed = signal.velocity, signal.speed[first:last]
    mean = float(np.linalg.norm(v[first:last].mean(0)))
    if first < around or last + around > len(v):
        return None
    corners = [float(np.linalg.norm(v[i:i + around].mean(0) - v[i - around:i].mean(0))) for i in (first, last)]
    if min(corners) <= NOISY_HARD * mean:
        return None
    return EvenSpan(signal, first, last, mean, float(speed.max() / mean), (corners[0], corners[1]), noisy=True)
