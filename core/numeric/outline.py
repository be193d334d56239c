# SPDX-License-Identifier: GPL-3.0-or-later
"""Outlines in the picture as contour edges, and the exact gap between two of them. No polygon is ever built.

A contour edge is one whose two faces are turned opposite ways in the picture, or that has no second face. The nearest
points of two separate shapes always lie on their contour edges, so the gap between these is the gap between the shapes.

Oracle: shapely's union of the projected triangles (tests/core/numeric/test_outline.py).
"""

from dataclasses import dataclass

import numpy as np

from ..kiss import Pieces
from .topology import Topology

Array = np.ndarray

#: Distance of the samples along an edge, U.
STEP = 2.0


@dataclass(frozen=True, slots=True)
class Contour:
    """m edges of one thing's contour in one frame.

    start, stop (m, 2) U; w (m, 2) nearness at both; normal (m, 2), away from the face; ends (m, 2): vertex positions in
    the topology, by which edges can be chained. layers (m,): how many more triangles lie at an edge's left hand, seen
    from start to stop, than at its right: 2 or -2 at a fold, 1 or -1 at a rim.
    """

    start: Array
    stop: Array
    w: Array
    normal: Array
    ends: Array
    layers: Array

    def __len__(self) -> int:
        return len(self.start)

    def take(self, rows: Array) -> "Contour":
        return Contour(
            self.start[rows], self.stop[rows], self.w[rows], self.normal[rows], self.ends[rows], self.layers[rows]
        )

    def within(self, box: Array) -> "Contour":
        """The edges whose boxes meet ``box`` (4,): left, low, right, high."""
        x0, x1 = np.minimum(self.start[:, 0], self.stop[:, 0]), np.maximum(self.start[:, 0], self.stop[:, 0])
        y0, y1 = np.minimum(self.start[:, 1], self.stop[:, 1]), np.maximum(self.start[:, 1], self.stop[:, 1])
        return self.take(np.flatnonzero((x0 <= box[2]) & (x1 >= box[0]) & (y0 <= box[3]) & (y1 >= box[1])))


@dataclass(frozen=True, slots=True)
class Samples:
    """Points along a contour: place (k, 2), w (k,), normal (k, 2), length (k,) of contour that each stands for, edge
    (k,)."""

    place: Array
    w: Array
    normal: Array
    length: Array
    edge: Array

    def __len__(self) -> int:
        return len(self.place)


def contour(top: Topology, x: Array, y: Array, w: Array, window: Array | None = None) -> Contour:
    """The contour edges of a thing whose vertices lie at x, y (n,) U with nearness w (n,); NaN behind the camera.

    window (4,): left, low, right, high of the part of the picture that matters; edges clear of it may be left out.
    """
    asked, area = _areas(top, x, y, window)
    one, two = top.faces.T if asked is None else top.faces[asked].T
    front = area > 0.0
    turned = front[one] ^ front[two]
    if asked is None:
        turned ^= top.flip
        turned |= top.rim
    else:
        turned ^= top.flip[asked]
        turned |= top.rim[asked]
    rows = np.flatnonzero(turned)
    one, two = one[rows], two[rows]
    area_one, area_two = area[one], area[two]
    # A triangle that reaches behind the camera has no area (NaN): its edges are no outline.
    if not np.isfinite(area_one.sum() + area_two.sum()):
        kept = np.isfinite(area_one) & np.isfinite(area_two)
        rows, one, two, area_one, area_two = rows[kept], one[kept], two[kept], area_one[kept], area_two[kept]
    rows = rows if asked is None else asked[rows]
    ends = top.edges[rows]
    i, j = ends.T
    xi, yi = x[i], y[i]
    along_x, along_y = x[j] - xi, y[j] - yi
    length = np.hypot(along_x, along_y)
    full = np.flatnonzero(length > 1e-9)
    if len(full) < len(rows):
        rows, one, two, area_one, area_two = rows[full], one[full], two[full], area_one[full], area_two[full]
        xi, yi, along_x, along_y, length, ends = (v[full] for v in (xi, yi, along_x, along_y, length, ends))
        i, j = ends.T
    # The normal points away from the face that shows more of itself: a face seen edge-on has no side. Its middle
    # is taken, since along a doubled seam the two faces share no vertices.
    a, b, c = top.triangles[np.where(np.abs(area_two) > np.abs(area_one), two, one)].T
    beyond_x, beyond_y = (x[a] + x[b] + x[c]) / 3.0 - xi, (y[a] + y[b] + y[c]) / 3.0 - yi
    side = np.where(beyond_x * along_y > beyond_y * along_x, -1.0, 1.0).astype(length.dtype) / length
    start = np.stack([xi, yi]).T
    return Contour(
        start,
        start + np.stack([along_x, along_y]).T,
        np.stack([w[i], w[j]]).T,
        np.stack([along_y * side, -along_x * side]).T,
        ends,
        np.where(area_one > 0.0, 1, -1) * np.where(top.rim[rows], 1, 2),
    )


def _areas(top: Topology, x: Array, y: Array, window: Array | None) -> tuple[Array | None, Array]:
    """The edges that may meet the window, None for all, and the signed area of each triangle (t,), 0 where no such edge
    needs it."""
    if window is None:
        asked, triangles = None, top.triangles
    else:
        beyond = sides_beyond(x, y, window)
        i, j = top.edges.T
        asked = np.flatnonzero((beyond[i] & beyond[j]) == 0)
        if len(asked) * 2 > len(top.edges):
            asked, triangles = None, top.triangles
        else:
            wanted = np.zeros(len(top.triangles), bool)
            wanted[top.faces[asked]] = True
            faces = np.flatnonzero(wanted)
            triangles = top.triangles[faces]
    a, b, c = triangles.T
    xa, ya = x[a], y[a]
    area = (x[b] - xa) * (y[c] - ya) - (y[b] - ya) * (x[c] - xa)
    if asked is None:
        return None, area
    all_ = np.zeros(len(top.triangles), area.dtype)
    all_[faces] = area
    return asked, all_


def sides_beyond(x: Array, y: Array, window: Array) -> Array:
    """(n,) a bit for each side of the window (4,) that a point lies beyond, 0 inside: points with a bit in common lie
    all beyond one side."""
    left, low, right, high = window
    out: Array = (x < left).view(np.uint8) | (x > right).view(np.uint8) << 1 | (y < low).view(np.uint8) << 2
    out |= (y > high).view(np.uint8) << 3
    return out


def sample(edges: Contour, step: float = STEP) -> Samples:
    """Points in the middle of equal pieces, at most ``step`` U long, of every edge."""
    along = edges.stop - edges.start
    length = np.hypot(along[:, 0], along[:, 1])
    count = np.maximum(1, np.ceil(length / step)).astype(int)
    edge = np.repeat(np.arange(len(edges)), count)
    within = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    t = (within + 0.5) / count[edge]
    return Samples(
        place=edges.start[edge] + along[edge] * t[:, None],
        w=edges.w[edge, 0] * (1.0 - t) + edges.w[edge, 1] * t,
        normal=edges.normal[edge],
        length=(length / count)[edge],
        edge=edge,
    )


def near_pairs(a: Array, b: Array, reach: float) -> tuple[Array, Array, Array]:
    """All pairs of points a (n, 2) and b (m, 2) at most ``reach`` apart: indices into both, and distances."""
    if not len(a) or not len(b):
        return np.zeros(0, int), np.zeros(0, int), np.zeros(0)
    near_a, near_b = _near(a, b, reach), _near(b, a, reach)
    if len(near_a) < len(a) or len(near_b) < len(b):
        i, j, distance = _all_pairs(a[near_a], b[near_b], reach)
        return near_a[i], near_b[j], distance
    return _all_pairs(a, b, reach)


def _near(a: Array, b: Array, reach: float) -> Array:
    """Rows of a (n, 2) that may lie within ``reach`` of some b: those with one in their own or a neighboring cell."""
    low = b.min(axis=0) - reach
    cells = np.floor((b - low) / reach).astype(np.int64)
    wide, high = cells.max(axis=0) + 2
    if wide * high > 1_000_000:
        return np.arange(len(a))
    taken = np.zeros((wide, high), bool)
    taken[cells[:, 0], cells[:, 1]] = True
    taken[1:] |= taken[:-1].copy()
    taken[:-1] |= taken[1:].copy()
    taken[:, 1:] |= taken[:, :-1].copy()
    taken[:, :-1] |= taken[:, 1:].copy()
    rows = np.flatnonzero(((a >= low) & (a < low + reach * np.array([wide, high]))).all(axis=1))
    at = np.floor((a[rows] - low) / reach).astype(np.int64)
    out: Array = rows[taken[np.minimum(at[:, 0], wide - 1), np.minimum(at[:, 1], high - 1)]]
    return out


def _all_pairs(a: Array, b: Array, reach: float) -> tuple[Array, Array, Array]:
    if not len(a) or not len(b):
        return np.zeros(0, int), np.zeros(0, int), np.zeros(0)
    low = np.minimum(a.min(axis=0), b.min(axis=0)) - 2.0 * reach
    ca, cb = np.floor((a - low) / reach).astype(np.int64), np.floor((b - low) / reach).astype(np.int64)
    row = int(max(ca[:, 1].max(), cb[:, 1].max())) + 3
    key = cb[:, 0] * row + cb[:, 1]
    order = np.argsort(key, kind="stable")
    key = key[order]
    base = ca[:, 0] * row + ca[:, 1]
    lows = np.concatenate([np.searchsorted(key, base + d * row - 1, "left") for d in (-1, 0, 1)])
    highs = np.concatenate([np.searchsorted(key, base + d * row + 1, "right") for d in (-1, 0, 1)])
    count = highs - lows
    i = np.repeat(np.tile(np.arange(len(a)), 3), count)
    j = order[np.arange(len(i)) - np.repeat(np.cumsum(count) - count, count) + np.repeat(lows, count)]
    between = a[i] - b[j]
    distance = np.hypot(between[:, 0], between[:, 1])
    close = distance <= reach
    return i[close], j[close], distance[close]


def _foot(p: Array, start: Array, stop: Array) -> Array:
    """The point of each segment that is nearest to p, (n, 2)."""
    along = stop - start
    squared = np.maximum((along * along).sum(axis=1), 1e-30)
    t = np.clip(((p - start) * along).sum(axis=1) / squared, 0.0, 1.0)
    out: Array = start + along * t[:, None]
    return out


def between_segments(p: Array, q: Array, r: Array, s: Array) -> tuple[Array, Array, Array]:
    """Distance (n,) between segments pq and rs, all (n, 2), 0 where they cross, and the nearest point on each (n,
    2)."""
    on_a = np.stack([p, q, _foot(r, p, q), _foot(s, p, q)])
    on_b = np.stack([_foot(p, r, s), _foot(q, r, s), r, s])
    apart = np.hypot(on_a[..., 0] - on_b[..., 0], on_a[..., 1] - on_b[..., 1])
    best = apart.argmin(axis=0)
    rows = np.arange(len(p))
    distance, point_a, point_b = apart[best, rows], on_a[best, rows], on_b[best, rows]
    u, v, o = q - p, s - r, r - p
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (o[:, 0] * v[:, 1] - o[:, 1] * v[:, 0]) / cross
        k = (o[:, 0] * u[:, 1] - o[:, 1] * u[:, 0]) / cross
        crossing = (t >= 0.0) & (t <= 1.0) & (k >= 0.0) & (k <= 1.0)
    if crossing.any():
        meeting = p[crossing] + u[crossing] * t[crossing, None]
        distance[crossing], point_a[crossing], point_b[crossing] = 0.0, meeting, meeting
    return distance, point_a, point_b


def edge_pairs(a: Samples, b: Samples, i: Array, j: Array, edges: int) -> tuple[Array, Array]:
    """The different pairs of edges behind pairs of samples; ``edges``: how many edges b's contour has."""
    key = np.unique(a.edge[i] * max(1, edges) + b.edge[j])
    return key // max(1, edges), key % max(1, edges)


def gap(a: Contour, b: Contour, reach: float = 40.0) -> tuple[float, Array, Array]:
    """Exact gap in U between two contours: 0 where they cross, inf where they are over ``reach`` apart.

    With it the nearest point (2,) of each, NaN where there is none. One contour wholly inside the other has a gap too.
    """
    nowhere = np.full(2, np.nan)
    if not len(a) or not len(b):
        return np.inf, nowhere, nowhere
    grown = np.array([-1.0, -1.0, 1.0, 1.0]) * (reach + STEP)
    a, b = a.within(box_of(b) + grown), b.within(box_of(a) + grown)
    if not len(a) or not len(b):
        return np.inf, nowhere, nowhere
    sa, sb = sample(a), sample(b)
    # Two samples are at most half a step from the true nearest points on their edges, so a small reach is tried first.
    for tried in dict.fromkeys((min(reach, 4.0), reach)):
        i, j, _ = near_pairs(sa.place, sb.place, tried + STEP)
        if len(i):
            m, n = edge_pairs(sa, sb, i, j, len(b))
            distance, on_a, on_b = between_segments(a.start[m], a.stop[m], b.start[n], b.stop[n])
            best = int(distance.argmin())
            if distance[best] <= tried:
                return float(distance[best]), on_a[best], on_b[best]
    return np.inf, nowhere, nowhere


def box_of(edges: Contour) -> Array:
    """left, low, right, high (4,) of a contour."""
    return np.concatenate(
        [
            np.minimum(edges.start.min(axis=0), edges.stop.min(axis=0)),
            np.maximum(edges.start.max(axis=0), edges.stop.max(axis=0)),
        ]
    )


def chain(edges: Contour | Pieces) -> list[Array]:
    """Edges joined at their common ends into open lines of places (k, 2)."""
    lines: list[list[tuple[int, Array]]] = []
    for (i, j), start, stop in zip(edges.ends.tolist(), edges.start, edges.stop, strict=True):
        for line in lines:
            if line[-1][0] == i:
                line.append((j, stop))
            elif line[-1][0] == j:
                line.append((i, start))
            elif line[0][0] == j:
                line.insert(0, (i, start))
            elif line[0][0] == i:
                line.insert(0, (j, stop))
            else:
                continue
            break
        else:
            lines.append([(i, start), (j, stop)])
    merged: list[list[tuple[int, Array]]] = []
    for line in lines:
        for other in merged:
            if other[-1][0] == line[0][0]:
                other.extend(line[1:])
            elif other[-1][0] == line[-1][0]:
                other.extend(line[-2::-1])
            elif other[0][0] == line[-1][0]:
                other[:0] = line[:-1]
            elif other[0][0] == line[0][0]:
                other[:0] = line[:0:-1]
            else:
                continue
            break
        else:
            merged.append(line)
    return [np.array([place for _, place in line]) for line in merged]
