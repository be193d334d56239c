# SPDX-License-Identifier: GPL-3.0-or-later
"""Which triangles of the picture cover a point, and how near is the nearest of them."""

from collections.abc import Sequence

import numpy as np

from .outline import sides_beyond

Array = np.ndarray

#: Side of the cells, in U, into which points are sorted.
CELL = 2.0

#: At most this many point-triangle tests at once, to bound the memory.
BLOCK = 1_000_000


class Cover:
    """The projected triangles of some things in one frame.

    things: for each its picture places x, y in U and nearness w (see numeric.camera), all (n,), and triangles (t, 3).
    Triangles with a corner behind the camera or without area in the picture cover nothing. window (4,): left, low,
    right, high in U of the part of the picture that will be asked about.
    """

    def __init__(self, things: Sequence[tuple[Array, Array, Array, Array]], window: Array) -> None:
        self.window = window
        places: list[tuple[Array, Array, Array]] = []
        kept: list[Array] = []
        offset = 0
        for x, y, w, triangles in things:
            beyond = sides_beyond(x, y, window)
            a, b, c = triangles.T
            rows = np.flatnonzero((beyond[a] & beyond[b] & beyond[c]) == 0)
            kept.append(np.stack([a[rows], b[rows], c[rows]]) + offset)
            if len(rows):
                places.append((x, y, w))
                offset += len(x)
        self._starts = np.cumsum([0, *(k.shape[1] for k in kept)])
        self._triangles = np.concatenate(kept, axis=1) if kept else np.zeros((3, 0), int)
        x, y, w = (np.concatenate(v) for v in zip(*places, strict=True)) if places else (np.zeros(0),) * 3
        a, b, c = self._triangles
        xa, ya, xb, yb, xc, yc = x[a], y[a], x[b], y[b], x[c], y[c]
        self._left, self._right = np.minimum(np.minimum(xa, xb), xc), np.maximum(np.maximum(xa, xb), xc)
        self._low, self._high = np.minimum(np.minimum(ya, yb), yc), np.maximum(np.maximum(ya, yb), yc)
        self._x, self._y, self._w = x, y, w

    def holds(self, points: Array) -> bool:
        """Whether all of the points (K, 2) lie in the window that was named at birth."""
        (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
        left, low, right, high = self.window
        return bool(left <= x0 and low <= y0 and right >= x1 and high >= y1)

    def nearest(self, points: Array, things: Sequence[int]) -> Array:
        """Nearness (K,) of the nearest triangle of some of the things, by their place in the list at birth, that covers
        each of the points (K, 2) in U; -inf where none does."""
        found = np.full(len(points), -np.inf)
        if not len(points) or not len(self._left):
            return found
        cell = np.floor(points / CELL).astype(np.int64)
        (i0, j0), (i1, j1) = cell.min(axis=0), cell.max(axis=0)
        (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
        near = np.concatenate([self._meeting(thing, x0, y0, x1, y1) for thing in things])
        if not len(near):
            return found
        wide = int(i1 - i0) + 1
        key = (cell[:, 1] - j0) * wide + cell[:, 0] - i0
        order = np.argsort(key, kind="stable")
        key = key[order]
        # A triangle meets the points of whole runs of cells, one run for each row of cells that its box meets.
        first = np.clip(np.floor(self._left[near] / CELL), i0, i1).astype(np.int64) - i0
        last = np.clip(np.floor(self._right[near] / CELL), i0, i1).astype(np.int64) - i0
        bottom = np.clip(np.floor(self._low[near] / CELL), j0, j1).astype(np.int64) - j0
        top = np.clip(np.floor(self._high[near] / CELL), j0, j1).astype(np.int64) - j0
        rows = top - bottom + 1
        owner = np.repeat(np.arange(len(near)), rows)
        row = np.arange(len(owner)) - np.repeat(np.cumsum(rows) - rows, rows) + bottom[owner]
        start = np.searchsorted(key, row * wide + first[owner], "left")
        count = np.searchsorted(key, row * wide + last[owner], "right") - start
        some = count > 0
        owner, start, count = near[owner[some]], start[some], count[some]
        total = np.cumsum(count)
        done = 0
        while done < len(count):
            upto = max(done + 1, int(np.searchsorted(total, (total[done - 1] if done else 0) + BLOCK, "right")))
            many = count[done:upto]
            triangle = np.repeat(owner[done:upto], many)
            point = order[
                np.arange(len(triangle)) - np.repeat(np.cumsum(many) - many, many) + np.repeat(start[done:upto], many)
            ]
            self._test(points, point, triangle, found)
            done = upto
        return found

    def _meeting(self, thing: int, x0: float, y0: float, x1: float, y1: float) -> Array:
        """Rows of a thing's triangles whose boxes meet this one."""
        own = slice(self._starts[thing], self._starts[thing + 1])
        met = (self._left[own] <= x1) & (self._right[own] >= x0) & (self._low[own] <= y1) & (self._high[own] >= y0)
        out: Array = np.flatnonzero(met) + self._starts[thing]
        return out

    def _test(self, points: Array, point: Array, triangle: Array, found: Array) -> None:
        """Raises ``found`` to the nearness of the pairs in which the triangle covers the point."""
        px, py = points[point, 0], points[point, 1]
        near = np.flatnonzero(
            (self._left[triangle] <= px)
            & (self._right[triangle] >= px)
            & (self._low[triangle] <= py)
            & (self._high[triangle] >= py)
        )
        point, (a, b, c) = point[near], self._triangles[:, triangle[near]]
        x, y, w = self._x, self._y, self._w
        ux, uy, vx, vy = x[b] - x[a], y[b] - y[a], x[c] - x[a], y[c] - y[a]
        px, py = px[near] - x[a], py[near] - y[a]
        with np.errstate(divide="ignore", invalid="ignore"):
            inverse = 1.0 / (ux * vy - uy * vx)
            s = (px * vy - py * vx) * inverse
            t = (ux * py - uy * px) * inverse
            inside = np.flatnonzero((s >= 0.0) & (t >= 0.0) & (s + t <= 1.0))
        a, b, c, s, t = a[inside], b[inside], c[inside], s[inside], t[inside]
        np.maximum.at(found, point[inside], w[a] + s * (w[b] - w[a]) + t * (w[c] - w[a]))
