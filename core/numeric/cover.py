# SPDX-License-Identifier: GPL-3.0-or-later
"""Which triangles of the picture cover a point, and how near is the nearest of them."""

import numpy as np

Array = np.ndarray

#: Side of the tiles, in U, into which points are sorted.
TILE = 24.0

#: At most this many point-triangle tests at once, to bound the memory.
BLOCK = 2_000_000


class Cover:
    """The projected triangles of one thing in one frame.

    x, y, w (n,): picture places in U and nearness (see numeric.camera); triangles (t, 3). Triangles with a corner
    behind
    the camera or without area in the picture cover nothing.
    """

    def __init__(self, x: Array, y: Array, w: Array, triangles: Array) -> None:
        self._x, self._y, self._w = x, y, w
        a, b, c = triangles.T
        self._triangles = triangles
        xa, xb, xc, ya, yb, yc = x[a], x[b], x[c], y[a], y[b], y[c]
        self._left = np.minimum(np.minimum(xa, xb), xc)
        self._right = np.maximum(np.maximum(xa, xb), xc)
        self._low = np.minimum(np.minimum(ya, yb), yc)
        self._high = np.maximum(np.maximum(ya, yb), yc)

    def nearest(self, points: Array) -> Array:
        """Nearness (K,) of the nearest triangle that covers each of the points (K, 2) in U; -inf where none does."""
        found = np.full(len(points), -np.inf)
        if not len(points) or not len(self._triangles):
            return found
        near = self._meeting(np.arange(len(self._triangles)), points)
        if not len(near):
            return found
        tile = np.floor(points / TILE).astype(np.int64)
        key = tile[:, 0] * 1_000_003 + tile[:, 1]
        order = np.argsort(key, kind="stable")
        cuts = np.flatnonzero(np.diff(key[order])) + 1
        for rows in np.split(order, cuts):
            here = self._meeting(near, points[rows]) if len(cuts) else near
            if len(here):
                step = max(1, BLOCK // len(here))
                for k in range(0, len(rows), step):
                    found[rows[k : k + step]] = self._nearest_of(points[rows[k : k + step]], here)
        return found

    def _meeting(self, among: Array, points: Array) -> Array:
        """Those of the triangles whose boxes meet the box of the points."""
        (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
        whole = len(among) == len(self._triangles)
        left, right, low, high = ((v if whole else v[among]) for v in (self._left, self._right, self._low, self._high))
        out: Array = among[(left <= x1) & (right >= x0) & (low <= y1) & (high >= y0)]
        return out

    def _nearest_of(self, points: Array, among: Array) -> Array:
        a, b, c = self._triangles[among].T
        x, y, w = self._x, self._y, self._w
        ux, uy, vx, vy = x[b] - x[a], y[b] - y[a], x[c] - x[a], y[c] - y[a]
        area = ux * vy - uy * vx
        with np.errstate(divide="ignore", invalid="ignore"):
            inverse = 1.0 / area
        px, py = points[:, 0, None] - x[a], points[:, 1, None] - y[a]
        with np.errstate(invalid="ignore"):
            s = (px * vy - py * vx) * inverse
            t = (ux * py - uy * px) * inverse
            inside = (s >= 0.0) & (t >= 0.0) & (s + t <= 1.0)
            depth = np.where(inside, w[a] + s * (w[b] - w[a]) + t * (w[c] - w[a]), -np.inf)
        out: Array = depth.max(axis=1)
        return out
