# SPDX-License-Identifier: GPL-3.0-or-later
"""The point of smallest norm in the hull of a few planar points, for many sets at once."""
import numpy as np

Array = np.ndarray


def smallest_norm(points: Array, present: Array) -> Array:
    """The point nearest to the origin in the convex hull of each set.

    points: (F, N, 2), N up to about ten; present: (F, N) bool, which of them belong to the set. Returns (F, 2): zero
    where the hull holds the origin, NaN where the set is empty.
    """
    points = np.asarray(points, float)
    present = np.asarray(present, bool)
    if points.ndim != 3 or points.shape[2] != 2 or present.shape != points.shape[:2]:
        raise ValueError(f"smallest_norm: expected (F, N, 2) and (F, N), got {points.shape} and {present.shape}")
    f, n, _ = points.shape
    out = np.full((f, 2), np.nan)
    if f == 0 or n == 0:
        return out
    some = np.flatnonzero(present.any(1))
    if not len(some):
        return out
    # points first and sets last, one array a coordinate: all sums run along the many sets
    there = present[some].T
    row = np.arange(len(some))
    first = there.argmax(0)
    # an absent point becomes a copy of a present one: the hull stays the same and no mask is needed further on
    x, y = (np.where(there, c, c[first, row]) for c in np.moveaxis(points[some], (2, 1), (0, 1)))
    a, b = np.triu_indices(n)
    ax, ay = x[b] - x[a], y[b] - y[a]
    length2 = ax * ax + ay * ay
    t = -(x[a] * ax + y[a] * ay) / np.where(length2 > 0, length2, 1.0)
    t = np.minimum(np.maximum(t, 0.0), 1.0)
    nx, ny = x[a] + t * ax, y[a] + t * ay
    best = (nx * nx + ny * ny).argmin(0)
    bx, by = nx[best, row], ny[best, row]
    # The nearest point of all chords is the hull's own if the whole set lies beyond it; if not, the origin is inside.
    size = np.maximum(np.abs(x), np.abs(y)).max(0)
    beyond = (x * bx + y * by).min(0) >= bx * bx + by * by - 1e-12 * size * size
    out[some, 0], out[some, 1] = np.where(beyond, bx, 0.0), np.where(beyond, by, 0.0)
    return out
