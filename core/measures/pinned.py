# SPDX-License-Identifier: GPL-3.0-or-later
"""Feet that keys hold exactly: their contacts begin and end where the hold does, however softly they move off.

No captured point ever keeps still like this, and a foot that starts between flat keys is slow for two or three frames.
"""
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..numeric.spans import spans
from .touch import Span

Array = np.ndarray

STILL = 1e-3                # leg lengths a second: a pinned point is slower, solvers of limbs not being exact
LEAST = 3                   # intervals that a hold lasts at least
REACH = 0.06                # s: an end moves by no more than this, about what a soft start hides
GOES = 0.35                 # a foot whose slowest point has this share of its mean speed goes; with less it rolls


def pinned(found: Sequence[Span], speeds: Array, samples: Array, leg: float, rate: float) -> list[Span]:
    """Contacts with their ends moved to those of exact holds. speeds (S, D - 1) m/s: of the foot's points between
    drawings; samples (D,) at which they stand; rate: samples a second.

    A foot that stops or starts within one interval goes that part of it which its speed before or after leads one to
    expect. One that rolls on to its hold over another point stands meanwhile, though no point of the sole that is known
    keeps exactly still.
    """
    speed = speeds.min(0)
    total, least = (np.concatenate([[0.0], np.cumsum(rows)]) for rows in (speeds.mean(0), speed))

    def goes(one: float, other: float) -> bool:
        """Whether the foot goes rather than rolls between two moments."""
        a, b = samples.searchsorted([min(one, other) - 1e-6, max(one, other) + 1e-6])
        # whole intervals between the two alone: what it does in the others is partly its swing
        if b - 1 <= a:
            return bool(np.diff(samples[max(a - 1, 0):b + 1]).max() < REACH * rate)
        return bool(least[b - 1] - least[a] > GOES * (total[b - 1] - total[a]))

    holds = spans(speed < STILL * leg, LEAST)
    if not holds:
        return list(found)
    begins = np.array([_moment(speed, samples, a, -1) for a, _ in holds])
    ends = np.array([_moment(speed, samples, b, +1) for _, b in holds])
    out = []
    for span in found:
        inside = (begins < span.last + 0.5) & (ends > span.first - 0.5)
        if span.on is not None and inside.any():
            at = begins[inside][0]
            if abs(at - span.on) <= REACH * rate and goes(at, span.on):
                span = replace(span, on=float(at), first=int(np.ceil(at - 1e-6)))
        if span.off is not None and inside.any():
            at = ends[inside][-1]
            if abs(at - span.off) <= REACH * rate and goes(at, span.off):
                span = replace(span, off=float(at), last=int(np.floor(at + 1e-6)))
        out.append(span)
    return out


def _moment(speed: Array, samples: Array, at: int, side: int) -> float:
    """The moment at which a hold begins (side -1) or ends (+1) whose outermost interval is ``at``."""
    edge = samples[at] if side < 0 else samples[at + 1]
    out = at + side
    if not 0 <= out < len(speed):
        return float(edge)
    reach = samples[out + 1] - samples[out]
    beyond = [out + side * n for n in (1, 2)]
    if not all(0 <= n < len(speed) for n in beyond):
        return float(edge)
    near, far = speed[beyond]
    # as fast as the intervals beyond lead one to expect, it moved through the whole of this one
    expected = max(near + min(near - far, 0.0), 1e-12)
    return float(edge + side * (1.0 - min(speed[out] / expected, 1.0)) * reach)
