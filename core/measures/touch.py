# SPDX-License-Identifier: GPL-3.0-or-later
"""When a part of the body rests on its ground, to a fraction of a sample: from the speed of its slowest low point.

A part stands while some low point of it is slow against that point's own swing. Where the speed crosses is read between
samples, so that landings and lift-offs come out finer than a frame. Against force plates (20 N; walks, quarter turns,
soles from markers or guessed from joints, with toe bones and without, 24 to 60 fps, played at 0.6 to 2 times their
speed) no crossing on the trials that chose the shares lay farther off than 28 ms.

Arrays here run points first and samples last. D samples, S points, N = D - k intervals of k samples each.
"""
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..numeric.spans import sliding, spans

Array = np.ndarray

# Speeds in u = sqrt(gravity x leg), heights in leg lengths, times in seconds.
SMOOTH_RATE = 30.0          # speeds are read over 1 / this: single frames of a capture at 120 fps are mostly noise
SWING_WINDOW = 0.6          # a swing this near tells what is slow
SWING_HEIGHT = 0.015        # a point this high over its floor swings
USUAL_PEAK = 1.4            # the peak of a walking foot's swing: what is slow where nothing swings near
PEAKS = (0.35, 3.0)         # peaks are held to this: a kick nearby makes no sliding foot stand
#: A part lands when its slowest point falls under this share of the swing's peak, and has left over the other. At 20 N
#: real feet move at 0.03 to 0.11 of it as they land and at 0.08 to 0.22 as they leave.
LANDS, LEAVES = 0.09, 0.14
GATE, SURE = 0.10, 0.06     # points that stand lie lower than the first, and somewhere in a contact than the second
LATE = 0.4                  # samples: a point that stops at once is told to stand so much too late
FILL, DROP = 0.08, 0.07     # shorter gaps are filled, shorter contacts dropped


@dataclass(frozen=True)
class Span:
    """A contact in samples. on: where it begins, off: where it ends, fractions of samples, None where the shot cuts
    it. first, last: the first and last sample at which the part stands; the first may lie before ``on`` by less than
    half a sample."""
    on: float | None
    off: float | None
    first: int
    last: int


@dataclass(frozen=True)
class Pace:
    """Speeds (S, N) m/s of points against their ground, each over ``width`` samples; middle (N,) the sample, halves
    allowed, that each stands for; peak (S, N) m/s of the swing near."""
    speed: Array
    middle: Array
    peak: Array
    width: int

    @property
    def ratio(self) -> Array:
        """(S, N): speed over the swing's peak."""
        return np.asarray(self.speed / self.peak)


def pace(steps: Array, samples: Array, dt: Array, height: Array, leg: float, u: float) -> Pace:
    """Reads speeds. steps (S, 3, D - 1) m between drawings against the ground; samples (D,) at which the drawings
    stand; dt (D - 1,) s; height (S, D) m over each point's floor; leg m; u m/s. Needs two drawings or more."""
    rate = 1.0 / float(np.median(dt))
    count = steps.shape[-1]
    k = int(min(max(1, round(rate / SMOOTH_RATE)), count))
    if k == 1:
        moved, time = steps, dt
    else:
        path = np.zeros((*steps.shape[:2], count + 1))
        np.cumsum(steps, axis=-1, out=path[..., 1:])
        clock = np.concatenate([[0.0], np.cumsum(dt)])
        moved, time = path[..., k:] - path[..., :-k], clock[k:] - clock[:-k]
    speed = np.sqrt(moved[:, 0] ** 2 + moved[:, 1] ** 2 + moved[:, 2] ** 2) / time
    middle = (samples[k:] + samples[:-k]) / 2.0
    return Pace(speed, middle, _peaks(speed, over_each(height, k), rate, leg, u), k)


def over_each(values: Array, width: int) -> Array:
    """The least of values (..., D) at both ends of each interval, (..., N)."""
    return np.minimum(values[..., width:], values[..., :-width])


def _peaks(speed: Array, height: Array, rate: float, leg: float, u: float) -> Array:
    """(S, N) m/s: the peak of the swing that is near, of a walk's swing where none is."""
    swinging = height > SWING_HEIGHT * leg
    peak = np.where(swinging, speed, -np.inf)
    last = speed.shape[-1] - 1
    for row in np.flatnonzero(swinging[:, 0] | swinging[:, last]):
        runs = spans(swinging[row])
        whole = [speed[row, a:b + 1].max() for a, b in runs if a > 0 and b < last]
        if whole:                       # a swing cut by the shot's end has not shown its peak: it borrows the others'
            usual = float(np.median(whole))
            for a, b in runs:
                if a == 0 or b == last:
                    np.maximum(peak[row, a:b + 1], usual, out=peak[row, a:b + 1])
    near = sliding(peak.T, max(1, round(SWING_WINDOW * rate)), np.maximum).T
    return np.where(np.isfinite(near), np.clip(near, PEAKS[0] * u, PEAKS[1] * u), USUAL_PEAK * u)


def slowest(ratio: Array, may: Array) -> Array:
    """(N,) the least ratio (S, N) of the points that may stand (S, N); infinite where none may."""
    return np.asarray(np.where(may, ratio, np.inf).min(0))


def standing(ratio: Array, lands: float = LANDS, leaves: float = LEAVES) -> list[tuple[int, int]]:
    """Runs of intervals, both ends inside, in which a part of this least ratio (N,) stands."""
    told = np.concatenate([[0], np.cumsum(ratio < lands)])
    out = []
    for a, b in spans(ratio < leaves):
        if told[b + 1] == told[a] and a > 0:    # at the shot's beginning it may be leaving already
            continue
        # it leaves faster than it lands: what is too fast for a landing is none yet
        first = a + int(np.argmax(ratio[a:b + 1] < lands)) if a else a
        out.append((first, b))
    return out


def timed(runs: Sequence[tuple[int, int]], ratio: Array, way: Pace, count: int, lands: float = LANDS,
          leaves: float = LEAVES) -> list[Span]:
    """Contacts of runs of intervals, their ends read between samples: where the ratio (N,), as in ``standing``, crosses
    its share on a straight line between the intervals' middles. count: samples of the shot."""
    last = len(ratio) - 1
    out = []
    for a, b in runs:
        on = None if a == 0 else _end(ratio, way, a, -1, lands)
        off = None if b == last else _end(ratio, way, b, +1, leaves)
        first = 0 if on is None else int(np.ceil(on - LATE))
        final = count - 1 if off is None else int(np.floor(off + 1e-9))
        if final >= first:
            out.append(Span(on, off, first, final))
    return out


def _end(ratio: Array, way: Pace, at: int, side: int, share: float) -> float:
    """Where a run whose outermost interval is ``at`` ends, toward ``side`` (-1 its beginning, +1 its end)."""
    out = at + side
    inner, outer = ratio[at], ratio[out]
    here, there = way.middle[at], way.middle[out]
    if not np.isfinite(outer) or outer <= max(share, inner):    # it got too high there, not too fast
        return float((here + there) / 2)
    return float(here + (share - inner) / (outer - inner) * (there - here))
