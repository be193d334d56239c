# SPDX-License-Identifier: GPL-3.0-or-later
"""Moves and stops read from a row of speeds, one a step; step i lies between the samples i and i + 1."""

from dataclasses import dataclass

import numpy as np

Array = np.ndarray

#: A move lasts while it is faster than this share of its own peak: the one share that serves slow and fast alike.
SHARE = 0.10
#: The time of a start or stop is where the speed passes this share of the peak, on a straight line from step to step.
CROSSING = 0.15
#: An ease that runs out falls from step to step to this share at least: the last steps of a cubic one as 13 : 11 : 9.
DECAYS = 0.9


@dataclass(frozen=True, slots=True)
class Move:
    """One move.

    It leaves sample ``first`` and has arrived at sample ``last``. peak: its fastest step, speed: that step's speed.
    start, stop: in samples, between frames, where the speed passes 15 % of the peak: a mark that the same easing always
    passes at the same share of the move, so that moves can be compared; no estimate of the key. rises, stops: rest lies
    before, after it; False where the motion is cut there. travel: sum of its speeds times the seconds of a step.
    mean: speed of its steps; last_share: the last step's
    that is faster than a tenth of the peak, over the peak's. after: the fastest of the steps at rest that make it a
    stop, over the peak's; 1 where it does not stop.
    """

    first: int
    last: int
    peak: int
    speed: float
    mean: float
    travel: float
    start: float
    stop: float
    rises: bool
    stops: bool
    last_share: float
    after: float

    @property
    def ratio(self) -> float:
        """Peak over mean speed: 1 marched, 1.571 half a sine, 1.875 minimum jerk."""
        return self.speed / self.mean if self.mean > 0 else 1.0


def moves(speed: Array, step: float, floor: float, least: float, rest: int) -> list[Move]:
    """The moves in speeds (S,), in order of time.

    step: seconds of one step. floor: what is slower is at rest; least: a peak this fast makes a move; rest: so many
    steps at rest make a stop. The highest peak is grown first, so that a lower one on its flank belongs to it.
    """
    v: list[float] = speed.tolist()
    n = len(v)
    if n == 0:
        return []
    runs = np.flatnonzero(np.concatenate([[True], speed[1:] != speed[:-1]]))     # equal speeds are one peak, or none
    value = np.concatenate([[-1.0], speed[runs], [-1.0]])
    peaks = runs[(value[1:-1] > least) & (value[1:-1] > value[:-2]) & (value[1:-1] > value[2:])]
    taken = [False] * n
    found: list[Move] = []
    for peak in peaks[np.argsort(-speed[peaks], kind="stable")].tolist():
        if taken[peak]:
            continue
        top = v[peak]
        low = max(floor, SHARE * top)
        a = b = peak
        while a > 0 and not taken[a - 1] and v[a - 1] > low:
            a -= 1
        while b < n - 1 and not taken[b + 1] and v[b + 1] > low:
            b += 1
        for i in range(a, b + 1):
            taken[i] = True
        total = sum(v[a : b + 1])
        rested = max(v[b + 1 : b + 1 + rest]) if b + rest < n else float("inf")
        crossing = CROSSING * top
        found.append(
            Move(
                first=a,
                last=b + 1,
                peak=peak,
                speed=top,
                mean=total / (b - a + 1),
                travel=total * step,
                start=_crossed(v, peak, -1, crossing, a),
                stop=_crossed(v, peak, 1, crossing, b + 1),
                rises=a >= rest and max(v[a - rest : a]) <= low,
                stops=rested <= low,
                last_share=v[b] / top,
                after=rested / top if rested <= low else 1.0,
            )
        )
    return sorted(found, key=lambda m: m.first)


def _crossed(v: list[float], peak: int, way: int, level: float, end: int) -> float:
    """Where the speed falls under ``level`` on the way out from the peak, in samples; the move's end where it never
    does."""
    i = peak
    while 0 <= i + way < len(v):
        here, there = v[i], v[i + way]
        if there < level:
            return i + 0.5 + way * (here - level) / (here - there)
        i += way
    return float(end)


def to_rest(v: list[float], edge: int, way: int, quiet: float, count: int, most: int) -> int | None:
    """The sample nearest to ``edge``, at most ``most`` samples on, where all motion ends; None where it does not.

    v: speeds; way: 1 for a stop, -1 for a start. An eased key begins so slowly that its first steps are under a tenth
    of the peak; where stillness of ``count`` steps under ``quiet`` lies beyond them, it tells the key's own frame. A
    speed that does not fall from step to step is another small move, as a settle is, or a creep: None.
    """
    for at in range(edge, edge + way * (most + 1), way):
        steps = v[at : at + count] if way > 0 else v[max(0, at - count) : max(0, at)]
        if len(steps) < count:
            return None
        if max(steps) <= quiet:
            return at
        here, before = (at, at - 1) if way > 0 else (at - 1, at)
        if at != edge and v[here] > DECAYS * v[before]:
            return None
    return None
