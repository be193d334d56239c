# SPDX-License-Identifier: GPL-3.0-or-later
"""Ramps, and the re-timing of a move: the same poses, other spacing."""
import math

import numpy as np

from .rotation import exp, log, relative

Array = np.ndarray

#: An end whose speed would stay within this share of the span's own is eased to EASED of it: else nothing would change.
NO_CHANGE, EASED = 0.15, 0.6


def min_jerk(share: Array) -> Array:
    """0 to 1 as smoothly as can be, for shares 0 to 1 of the way's time (any shape); held outside."""
    s = np.clip(share, 0.0, 1.0)
    return np.asarray(s**3 * (10 - 15 * s + 6 * s**2))


def eased_time(n: int, speed_in: float, speed_out: float) -> Array:
    """Warped times (n + 1,) from 0 to n whose speed is ``speed_in`` at the start and ``speed_out`` at the end.

    Speeds are shares of the even one (1 keeps it). A cubic in time with those end slopes; end speeds are held under 3,
    up to which the cubic never runs backward.
    """
    a, b = (min(max(speed, 0.0), 3.0) for speed in (speed_in, speed_out))
    s = np.linspace(0.0, 1.0, n + 1)
    return np.asarray(n * (s * s * (3 - 2 * s) + a * s * (1 - s) ** 2 - b * s * s * (1 - s)))


def end_speeds(steps: Array, first: int, last: int, ease_in: bool = True, ease_out: bool = True) -> tuple[float, float]:
    """Speeds in and out for ``eased_time`` of the span between samples ``first`` and ``last``, from steps (F - 1, 3).

    An end takes the speed of the step outside as far as that goes the span's own way: all of it within some degrees,
    none from 60 degrees on, where the move must come to rest to turn. An end that is not to be eased keeps its speed,
    as
    does one at the shot's end, beyond which nothing is known.
    """
    mean = steps[first:last].mean(0)
    size = max(math.sqrt(mean.dot(mean)), 1e-12)

    def outside(step: Array | None) -> float:
        if step is None:
            return 1.0
        return math.sqrt(step.dot(step)) / size * _same_way(step, mean)

    speeds = [outside(steps[first - 1] if ease_in and first > 0 else None),
              outside(steps[last] if ease_out and last < len(steps) else None)]
    asked = [ease_in and first > 0, ease_out and last < len(steps)]
    if all(abs(v - 1) < NO_CHANGE for v in speeds):
        speeds = [EASED if wanted else v for v, wanted in zip(speeds, asked, strict=True)]
    return speeds[0], speeds[1]


def _same_way(step: Array, mean: Array) -> float:
    """How far a step outside of a move goes the move's own way: 1 within some degrees, 0 from 60 on."""
    along = float(step @ mean) / max(math.sqrt(step.dot(step) * mean.dot(mean)), 1e-24)
    return min(max(2 * along - 1, 0.0), 1.0)


def ease_places(places: Array, first: int, last: int, ease_in: bool = True, ease_out: bool = True) -> Array:
    """Places (F, 3) re-timed between samples ``first`` and ``last``; those two and all outside stay."""
    out = np.array(places, float)
    before, after = max(0, first - 1), last + 2            # the steps in between, and one on each side
    near = out[before:after]
    steps = near[1:] - near[:-1]
    at = eased_time(last - first, *end_speeds(steps, first - before, last - before, ease_in, ease_out))
    own = np.arange(last - first + 1)
    piece = out[first:last + 1].copy()
    for k in range(3):
        out[first:last + 1, k] = np.interp(at, own, piece[:, k])
    return out


def ease_rotations(rotations: Array, first: int, last: int, ease_in: bool = True, ease_out: bool = True,
                   beyond: int = 0) -> Array:
    """Rotations (F, 3, 3) re-timed between samples ``first`` and ``last``; those two stay, and all outside too but for
    ``beyond`` samples at an end where the move turns off: it comes to rest there, and what follows (or comes before)
    sets out from that (comes to it) as softly, and is where it was after so many."""
    steps = log(relative(rotations[:-1], rotations[1:]))
    at = eased_time(last - first, *end_speeds(steps, first, last, ease_in, ease_out))
    i = np.clip(at.astype(int), 0, last - first - 1)
    out = np.array(rotations, float)
    out[first:last + 1] = rotations[first + i] @ exp(steps[first + i] * (at - i)[:, None])
    mean = steps[first:last].mean(0)
    for wanted, end, way in ((ease_in, first, -1), (ease_out, last, 1)):
        count = min(beyond, end if way < 0 else len(steps) - end)
        if not wanted or count < 2:
            continue
        # of two steps: where motion trembles, one goes to and the other fro
        a, b = (end, end + 2) if way > 0 else (end - 2, end)
        step = log(relative(rotations[a], rotations[b])) / 2
        off = rotations[a] @ step * (1 - _same_way(step, mean))
        share = np.arange(1, count) / count
        lag = way * count * share * (1 - share) ** 2           # sets out at the speed that is to be taken from it
        rows = end + way * np.arange(1, count)
        out[rows] = exp(-lag[:, None] * off) @ rotations[rows]
    return out
