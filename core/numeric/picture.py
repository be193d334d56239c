# SPDX-License-Identifier: GPL-3.0-or-later
"""One frame's picture of several things: their outlines, and what covers a point, each found once and only when asked
for."""

import math
from collections.abc import Callable, Sequence

import numpy as np

from .camera import View
from .cover import Cover
from .outline import Contour, contour
from .topology import Topology
from .winding import Winding

Array = np.ndarray

#: The least and the most of what is in the picture, NaN aside, and what they are of nothing.
EXTREMES = ((np.fmin.reduce, np.inf), (np.fmax.reduce, -np.inf))
EVERYWHERE = np.array([-np.inf, -np.inf, np.inf, np.inf])


class Picture:
    """Things projected in one frame, each only when it is asked for.

    view; topologies: one a thing; read(thing) -> what ``View.project`` gives for that topology's vertices, or their
    world places (n, 3) in meters. maymeet(box) -> for each thing whether something of it may lie in a box (4,) of the
    picture: left, low, right, high, U; as far as is known without reading it.
    """

    def __init__(
        self,
        view: View,
        topologies: Sequence[Topology],
        read: Callable[[int], Array | tuple[Array, Array, Array]],
        may_meet: Callable[[Array], Sequence[bool]] | None = None,
    ) -> None:
        self.view = view
        everywhere = [True] * len(topologies)
        self._may_meet = may_meet or (lambda box: everywhere)
        self._topologies = topologies
        self._read = read
        self._flat: dict[int, tuple[Array, Array, Array]] = {}
        self._boxes: dict[int, Array] = {}
        self._contours: dict[int, tuple[Array, Contour]] = {}
        self._windings: dict[int, Winding] = {}
        self._open: dict[int, bool] = {}
        self._covers: dict[int, Cover] = {}
        self._depths: dict[int, float] = {}

    def has(self, thing: int) -> bool:
        """Whether the thing was read."""
        return thing in self._flat

    def flat(self, thing: int) -> tuple[Array, Array, Array]:
        """x, y, w (n,) of the thing's vertices."""
        if thing not in self._flat:
            read = self._read(thing)
            self._flat[thing] = read if isinstance(read, tuple) else self.view.project(read)
        return self._flat[thing]

    def box(self, thing: int) -> Array:
        """left, low, right, high (4,) of the thing, NaN where none of it is before the camera."""
        if thing not in self._boxes:
            x, y, _ = self.flat(thing)  # the least and the most are found fast where nothing is NaN
            box = [float(v) for v in (x.min(), y.min(), x.max(), y.max())] if len(x) else [math.nan] * 4
            if any(map(math.isnan, box)):  # what lies behind the camera is left out, which takes longer
                box = [float(f(v, initial=i)) for f, i in EXTREMES for v in (x, y)]
            self._boxes[thing] = np.array(box) if all(map(math.isfinite, box)) else np.full(4, np.nan)
        return self._boxes[thing]

    def contour(self, thing: int, window: Array) -> Contour:
        """The thing's contour edges that meet the window (4,) or lie to the right of it, and perhaps others."""
        known = self._contours.get(thing)
        if known is None or not holds(known[0], window):
            # What covers a point is told by all edges to its right.
            strip, box = np.array([window[0], window[1], np.inf, window[3]]), self.box(thing)
            seen = np.minimum(strip[2:], box[2:]) - np.maximum(strip[:2], box[:2])
            whole = seen.prod() > 0.5 * (box[2:] - box[:2]).prod()  # then looking for the rest costs more than it saves
            edges = contour(self._topologies[thing], *self.flat(thing), None if whole else strip)
            known = self._contours[thing] = EVERYWHERE if whole else strip, edges
            self._windings.pop(thing, None)
        return known[1]

    def covers(self, thing: int, points: Array, window: Array) -> Array:
        """(K,) whether the thing covers the points (K, 2) U, which lie in the window (4,) or not far from it."""
        if not len(points):
            return np.zeros(0, bool)
        if thing not in self._open:
            self._open[thing] = bool(np.isnan(self.flat(thing)[0].sum()))
        if self._open[thing]:  # triangles that reach behind the camera leave gaps in the contour
            return np.isfinite(self._nearest(points, thing, window))
        known = self._contours.get(thing)
        if known is None or known[0] is not EVERYWHERE:
            self.contour(thing, around(points, window))
        if thing not in self._windings:
            self._windings[thing] = Winding(self._contours[thing][1])
        return self._windings[thing].covers(points)

    def nearest(self, points: Array, things: Sequence[int], window: Array, depth: float) -> Array:
        """Nearness (K,) of the nearest of the things where it covers the points (K, 2) U, -inf elsewhere. window (4,):
        where more will be asked soon. What is farther from the camera than ``depth`` meters may be left out."""
        found = np.full(len(points), -np.inf)
        if not len(points):
            return found
        box = np.concatenate([points.min(axis=0), points.max(axis=0)])
        near = self._may_meet(box)
        for thing in things:
            if near[thing] and meet(self.box(thing), box, 0.0) and self._depth(thing) <= depth:
                found = np.maximum(found, self._nearest(points, thing, window))
        return found

    def _depth(self, thing: int) -> float:
        """Meters from the camera's plane to the nearest vertex of the thing."""
        if thing not in self._depths:
            self._depths[thing] = float(self.view.depth(np.nanmax(self.flat(thing)[2])))
        return self._depths[thing]

    def _nearest(self, points: Array, thing: int, window: Array) -> Array:
        cover = self._covers.get(thing)
        if cover is None or not cover.holds(points):
            triangles = self._topologies[thing].triangles
            cover = self._covers[thing] = Cover([(*self.flat(thing), triangles)], around(points, window))
        return cover.nearest(points, [0])


def holds(outer: Array, inner: Array) -> bool:
    """Whether one box lies in the other."""
    (a, b, c, d), (left, low, right, high) = outer.tolist(), inner.tolist()
    return bool(a <= left and b <= low and c >= right and d >= high)


def around(points: Array, window: Array) -> Array:
    """The box (4,) of a window and some points (K, 2)."""
    if not len(points):
        return window
    return np.concatenate([np.minimum(window[:2], points.min(axis=0)), np.maximum(window[2:], points.max(axis=0))])


def meet(a: Array, b: Array, margin: float) -> bool:
    """Whether two boxes come within a margin of each other."""
    return bool(a[0] - margin <= b[2] and b[0] - margin <= a[2] and a[1] - margin <= b[3] and b[1] - margin <= a[3])
