# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether a thing covers points of the picture, told by its contour alone.

How many of a thing's triangles lie over a point changes only at its contour edges: across every other edge one triangle
ends where the next begins. So the number is summed up over the contour edges that a line from the point to the right
meets. It is the same as what all triangles would tell, and where a mesh is dense its contour is a small part of it.
"""

import numpy as np

from .outline import Contour

Array = np.ndarray

#: At most this many pairs of points and edges at once, to bound the memory.
BLOCK = 1_000_000
#: Up to so many pairs all are tried at once: looking for those that meet costs more.
FEW = 1 << 13


class Winding:
    """The contour of one thing in one frame, asked for the points that it covers.

    edges: the whole contour, or what ``contour`` gives for a window that is open to the right.
    """

    def __init__(self, edges: Contour) -> None:
        (x0, y0), (x1, y1) = edges.start.T, edges.stop.T
        slants = y0 != y1  # a level edge is met by no line to the right
        x0, y0, x1, y1, layers = (v[slants] for v in (x0, y0, x1, y1, edges.layers))
        rises = y1 > y0
        self._bottom, self._top = np.where(rises, y0, y1), np.where(rises, y1, y0)
        self._x, self._right = np.where(rises, x0, x1), np.maximum(x0, x1)
        self._up = np.where(rises, layers, -layers)
        with np.errstate(divide="ignore", invalid="ignore"):
            self._lean = (x1 - x0) / (y1 - y0)

    def covers(self, points: Array) -> Array:
        """(K,) whether any triangle of the thing covers the points (K, 2) U."""
        count = np.zeros(len(points))
        if not len(points):
            return count > 0.0
        if len(points) * len(self._up) <= FEW:
            x, y = points[:, 0, None], points[:, 1, None]
            met = (self._bottom <= y) & (self._top > y) & (self._x + (y - self._bottom) * self._lean > x)
            return np.asarray(np.where(met, self._up, 0.0).sum(1) > 0.5)
        order = np.argsort(points[:, 1], kind="stable")
        px, py = points[order].T
        met = np.flatnonzero((self._bottom <= py[-1]) & (self._top > py[0]) & (self._right > px.min()))
        # An edge holds its lower end but not its upper one, so that no point meets two neighbors or none.
        first = np.searchsorted(py, self._bottom[met], "left")
        many = np.searchsorted(py, self._top[met], "left") - first
        met, first, many = (v[many > 0] for v in (met, first, many))
        total = np.cumsum(many)
        done = 0
        while done < len(met):
            upto = max(done + 1, int(np.searchsorted(total, (total[done - 1] if done else 0) + BLOCK, "right")))
            edge, some = met[done:upto], many[done:upto]
            point = np.arange(int(some.sum())) + np.repeat(first[done:upto] - np.cumsum(some) + some, some)
            rise = py[point] - np.repeat(self._bottom[edge], some)
            crossing = np.repeat(self._x[edge], some) + rise * np.repeat(self._lean[edge], some)
            right = np.flatnonzero(crossing > px[point])
            count += np.bincount(point[right], np.repeat(self._up[edge], some)[right], len(points))
            done = upto
        out = np.empty(len(points), bool)
        out[order] = count > 0.5
        return out
