# SPDX-License-Identifier: GPL-3.0-or-later
"""The point of smallest norm in the hull of a few planar points, alone or thickened, for many sets at once."""
from functools import cache

import numpy as np

Array = np.ndarray


@cache
def _pairs(n: int, apart: int) -> tuple[Array, Array]:
    """Both numbers of all pairs of n points at least ``apart`` apart in their order."""
    a, b = np.triu_indices(n, apart)
    return a, b


def _filled(points: Array, present: Array, some: Array) -> tuple[Array, Array]:
    """The coordinates of the points of some sets, points first and sets last, so that all sums run along the many sets:
    (N, S) each. An absent point becomes a copy of a present one: the hull stays the same and no mask is needed further
    on."""
    there = present[some].T
    first, row = there.argmax(0), np.arange(len(some))
    x, y = (np.where(there, c, c[first, row]) for c in points[some].transpose(2, 1, 0))
    return x, y


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
    x, y = _filled(points, present, some)
    row = np.arange(len(some))
    a, b = _pairs(n, 0)
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


class Hulls:
    """The convex hulls of many sets of planar points, asked for what smallest_norm finds as the sets move as wholes:
    what moving leaves as it is, such as the chords, is worked out once."""

    def __init__(self, points: Array, present: Array) -> None:
        """points: (F, N, 2), N up to about ten; present: (F, N) bool, which of them belong to the set."""
        points = np.asarray(points, float)
        present = np.asarray(present, bool)
        if points.ndim != 3 or points.shape[2] != 2 or present.shape != points.shape[:2]:
            raise ValueError(f"Hulls: expected (F, N, 2) and (F, N), got {points.shape} and {present.shape}")
        self._sets = len(points)
        self._some = np.flatnonzero(present.any(1))
        if not len(self._some):
            return
        self._row = np.arange(len(self._some))
        x, y = _filled(points, present, self._some)
        a, b = _pairs(points.shape[1], 0)
        self._points, self._starts = (x, y), (x[a], y[a])
        # chords, and their way along themselves to the foot of the origin's square
        ax, ay = x[b] - x[a], y[b] - y[a]
        length2 = ax * ax + ay * ay
        self._chords = ax, ay
        length2[length2 == 0] = 1.0
        self._shares = ax / length2, ay / length2
        self._foot = -(x[a] * self._shares[0] + y[a] * self._shares[1])
        self._room = tuple(np.empty(ax.shape) for _ in range(4))

    def nearest(self, moved: Array) -> Array:
        """The point nearest to the origin in each hull, after the sets were moved by (F, 2).

        Returns (F, 2): zero where the hull holds the origin, NaN where the set is empty.
        """
        out = np.full((self._sets, 2), np.nan)
        if not len(self._some):
            return out
        far = np.asarray(moved, float)[self._some].T
        t, nx, ny, aside = self._room
        np.multiply(self._shares[0], far[0], out=t)
        np.multiply(self._shares[1], far[1], out=aside)
        t += aside
        np.subtract(self._foot, t, out=t)
        np.maximum(t, 0.0, out=t)
        np.minimum(t, 1.0, out=t)
        for place, chord, start, along in zip((nx, ny), self._chords, self._starts, far):
            np.multiply(t, chord, out=place)
            place += start
            place += along
        np.multiply(nx, nx, out=t)
        np.multiply(ny, ny, out=aside)
        t += aside
        best = t.argmin(0)
        bx, by = nx[best, self._row], ny[best, self._row]
        # as in smallest_norm
        x, y = self._points[0] + far[0], self._points[1] + far[1]
        size = np.maximum(np.abs(x), np.abs(y)).max(0)
        beyond = (x * bx + y * by).min(0) >= bx * bx + by * by - 1e-12 * size * size
        out[self._some, 0], out[self._some, 1] = np.where(beyond, bx, 0.0), np.where(beyond, by, 0.0)
        return out


def smallest_norm_thick(points: Array, present: Array, arms: Array) -> Array:
    """The point nearest to the origin in each hull grown by a symmetric hexagon or octagon.

    points (F, N, 2) and present (F, N) bool as for smallest_norm; arms (F, 3, 2): every point p stands for all of
    p +- arms[0] +- arms[1] and p +- arms[0] +- arms[2]. Returns (F, 2): zero where the grown hull holds the origin, NaN
    where the set is empty.

    Of a convex polygon's sides the one that lies farthest toward the origin touches the nearest point, so that it is
    enough to try the directions of all chords and of the hexagon's sides, and the ones square to them.
    """
    points = np.asarray(points, float)
    present = np.asarray(present, bool)
    if points.ndim != 3 or points.shape[2] != 2 or present.shape != points.shape[:2]:
        raise ValueError(f"smallest_norm_thick: expected (F, N, 2) and (F, N), got {points.shape} and {present.shape}")
    if arms.shape != (len(points), 3, 2):
        raise ValueError(f"smallest_norm_thick: expected arms ({len(points)}, 3, 2), got {arms.shape}")
    out = np.full((len(points), 2), np.nan)
    some = np.flatnonzero(present.any(1))
    if not len(some):
        return out
    there = present[some].T
    row = np.arange(len(some))
    p = np.moveaxis(points[some], 0, -1)                                     # (N, 2, F)
    p = np.where(there[:, None], p, p[there.argmax(0), :, row].T)
    u, v, w = np.moveaxis(arms[some], 0, -1)                                 # (2, F) each
    a, b = _pairs(len(p), 1)
    along = np.concatenate([p[b] - p[a], np.stack([u, v + w, v - w, p[0]])])
    x, y = along[:, 0], along[:, 1]
    long = np.sqrt(x * x + y * y)
    long[long == 0] = 1.0
    x, y = x / long, y / long
    x, y = np.concatenate([x, -y]), np.concatenate([y, x])                   # (K, F)
    # both ways of each direction: how far all of the set lies beyond the origin
    far = p[:, 0, None] * x + p[:, 1, None] * y                              # (N, K, F)
    wide = np.abs(x * u[0] + y * u[1]) + np.maximum(np.abs(x * v[0] + y * v[1]), np.abs(x * w[0] + y * w[1]))
    beyond = np.concatenate([far.min(0) - wide, -far.max(0) - wide])
    best = beyond.argmax(0)
    gap = beyond[best, row]
    sign = np.where(best < len(x), 1.0, -1.0)
    dx, dy = sign * x[best % len(x), row], sign * y[best % len(x), row]
    corners = np.concatenate([p + arm for q in (v, w) for arm in (u + q, u - q, q - u, -u - q)])
    ahead = corners[:, 0] * dx + corners[:, 1] * dy
    aside = corners[:, 1] * dx - corners[:, 0] * dy
    size = np.maximum(np.abs(corners).max((0, 1)), 1e-300)
    side = ahead <= gap + 1e-9 * size
    low, high = np.where(side, aside, np.inf).min(0), np.where(side, aside, -np.inf).max(0)
    across = np.clip(0.0, low, high)
    out[some] = np.where(gap > 0, [gap * dx - across * dy, gap * dy + across * dx], 0.0).T
    return out
