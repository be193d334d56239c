# SPDX-License-Identifier: GPL-3.0-or-later
"""Spans of samples in which a signal is beyond a limit, and how long it holds there.

A span is (first, last), both inside, as sample indices. NaN counts as "not beyond".
"""

import math
from collections.abc import Callable, Sequence

import numpy as np

Array = np.ndarray
Span = tuple[int, int]

#: A level counts once it is held this long: 2 frames of 24.
HELD_SECONDS = 0.08


def spans(mask: Array, least: int = 1) -> list[Span]:
    """The runs of True in a mask (F,), both ends inside, those of ``least`` samples or more."""
    padded = np.zeros(len(mask) + 2, bool)
    padded[1:-1] = mask
    edges = (padded[1:] != padded[:-1]).nonzero()[0]
    if least > 1 and len(edges):
        edges = edges.reshape(-1, 2)
        edges = edges[edges[:, 1] - edges[:, 0] >= least].ravel()
    ends = iter(edges.tolist())
    return [(a, b - 1) for a, b in zip(ends, ends, strict=True)]


def joined(found: Sequence[Span], gap: int) -> list[Span]:
    """Spans in order, those with fewer than ``gap`` samples between one and the next made one."""
    out: list[Span] = []
    for first, last in sorted(found):
        if out and first - out[-1][1] - 1 < gap:
            out[-1] = (out[-1][0], max(out[-1][1], last))
        else:
            out.append((first, last))
    return out


def beyond(level: Array, opens: Array | float, closes: Array | float, gap: int = 0) -> list[Span]:
    """Spans in which ``level`` (F,) is above ``opens``, with hysteresis.

    While the level stays above ``closes`` (below or at ``opens``) a span goes on, so one that hovers about the limit is
    one span; its ends are still the first and last sample above ``opens``. Spans fewer than ``gap`` samples apart join.
    """
    with np.errstate(invalid="ignore"):
        above, alive = np.asarray(level > opens), np.asarray(level > closes)
    out: list[Span] = []
    if not above.any():
        return out
    for first, last in spans(above | alive):
        inside = np.flatnonzero(above[first : last + 1])
        if len(inside):
            out.append((first + int(inside[0]), first + int(inside[-1])))
    return joined(out, gap)


def sliding(values: Array, reach: int, extreme: Callable[..., Array] = np.maximum) -> Array:
    """The extreme (``np.maximum`` or ``np.minimum``) of values (F, ...) from ``reach`` samples before to after."""
    reach = min(reach, len(values) - 1)
    if reach <= 0:
        return np.array(values, copy=True)
    # an end value once more changes no extreme of a window that holds it
    out = np.concatenate([values[:1]] * reach + [values] + [values[-1:]] * reach)
    width, whole = 1, 2 * reach + 1
    while 2 * width <= whole:
        out, width = extreme(out[:-width], out[width:]), 2 * width
    rest = whole - width
    return extreme(out[:-rest], out[rest:]) if rest else out


def nearest(rising: Array, values: Array) -> Array:
    """For each value (N,) the index of the nearest entry of ``rising`` (F,), the earlier one of two as near."""
    after = np.clip(np.searchsorted(rising, values), 1, max(1, len(rising) - 1))
    after = np.minimum(after, len(rising) - 1)
    before = np.maximum(after - 1, 0)
    return np.where(values - rising[before] <= rising[after] - values, before, after)


def samples(seconds: float, rate: float, least: int = 1) -> int:
    """How many samples at ``rate`` a second make up ``seconds``, rounded, at least ``least``."""
    return max(least, int(math.floor(seconds * rate + 0.5)))


def held(level: Array, count: int) -> Array:
    """The level that is held: at each sample the highest value that some ``count`` samples in a row, this one among
    them, do not fall below. A peak shorter than ``count`` samples is cut down to its shoulders; NaN holds nothing."""
    level = np.asarray(level, float)
    if count <= 1 or len(level) == 0:
        return np.where(np.isnan(level), -np.inf, level)
    if len(level) < count:
        return np.full(len(level), -np.inf)
    solid = np.where(np.isnan(level), -np.inf, level)
    kept = len(solid) - count + 1
    least = solid[:kept]
    for shift in range(1, count):
        least = np.minimum(least, solid[shift : shift + kept])
    out = np.full(len(solid), -np.inf)
    for shift in range(count):
        np.maximum(out[shift : shift + kept], least, out=out[shift : shift + kept])
    return out
