# SPDX-License-Identifier: GPL-3.0-or-later
"""Take-offs and landings: feet that meet the ground fast touch and leave it by their height, not by their speed.

A foot that lands from a jump still rolls down fast when the ground bears it already, and at push-off it rises fast
while its toes still push. There its height tells better: it falls or rises by a centimeter or two a hundredth of a
second, and the level at which it stands is known from the stance itself.
"""
from bisect import bisect_left, bisect_right
from dataclasses import replace

import numpy as np

from .touch import Span

Array = np.ndarray

# Speeds in u = sqrt(gravity x leg), heights in leg lengths, times in seconds.
FLIGHT = 0.1                # shorter times without any foot down are no flight
FAST = 0.25                 # what rises or falls slower is judged by its speed
LEVEL = 0.012               # a foot that rises fast leaves at this height over where it stands ...
ROLLED = 0.036              # ... or, rolled up to this, as it begins to
REACH = 0.15                # an end moves by no more than this


def sprung(falls: list[list[Span]], low: Array, samples: Array, rate: float, leg: float, u: float) -> list[list[Span]]:
    """The contacts of all feet, their ends beside a flight moved to where the foot meets or leaves its level.

    falls: each foot's contacts in time order; low (feet, D) m: the height of each foot's lowest point over its own
    floor; samples (D,) at which they stand; rate: samples a second; leg m; u m/s.
    """
    ends = sorted((s.off, k, i) for k, rows in enumerate(falls) for i, s in enumerate(rows) if s.off is not None)
    starts = sorted((s.on, k, i) for k, rows in enumerate(falls) for i, s in enumerate(rows) if s.on is not None)
    begun = np.array([-np.inf if s.on is None else s.on for rows in falls for s in rows])
    ended = np.array([np.inf if s.off is None else s.off for rows in falls for s in rows])
    out = [list(rows) for rows in falls]

    def in_flight(at: float, side: int) -> bool:
        """Whether no foot stands for a while from a little after (side +1) or before (-1) a moment."""
        gap = (at, at + FLIGHT * rate) if side > 0 else (at - FLIGHT * rate, at)
        return bool(((ended <= gap[0] + 1e-9) | (begun >= gap[1] - 1e-9)).all())

    # the feet leave and land one after the other: those within reach of the last to leave, or the first to land
    left, landed = [off for off, _, _ in ends], [on for on, _, _ in starts]
    for off, k, i in ends:
        after = left[bisect_right(left, off + REACH * rate / 2) - 1]
        if in_flight(after, +1):
            moved = _level(low[k], samples, rate, leg, u, off, +1)
            out[k][i] = replace(out[k][i], off=moved, last=int(np.floor(moved + 1e-9)))
    for on, k, i in starts:
        before = landed[bisect_left(landed, on - REACH * rate / 2)]
        if in_flight(before, -1):
            moved = _level(low[k], samples, rate, leg, u, on, -1)
            out[k][i] = replace(out[k][i], on=moved, first=int(np.ceil(moved - 1e-9)))
    return out


def _level(low: Array, samples: Array, rate: float, leg: float, u: float, end: float, side: int) -> float:
    """The moment, from an end away from the contact, at which the foot gets fast at its level; else the end."""
    inside, away = 1.0, REACH * rate + 1.0
    first, last = (end - inside, end + away) if side > 0 else (end - away, end + inside)
    at = np.arange(np.searchsorted(samples, first, "left"), np.searchsorted(samples, last, "right"))[::side]
    for a, b in zip(at[:-1], at[1:], strict=True):
        rise = low[b] - low[a]
        if rise / (abs(samples[b] - samples[a]) / rate) > FAST * u:
            if low[a] > ROLLED * leg:
                return end
            share = max((LEVEL * leg - low[a]) / rise, 0.0)
            moment = samples[a] + min(share, 1.0) * (samples[b] - samples[a])
            return float(moment) if (moment - end) * side > 0 else end
    return end
