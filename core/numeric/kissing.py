# SPDX-License-Identifier: GPL-3.0-or-later
"""One frame's picture of several things, and the places at which two of their outlines kiss.

A kiss is a small signed gap: the outlines come within ``NEAR_GAP`` and, within ``DISC`` about that place, no visible
outline point of either lies deeper in the other than that. Where outlines cross in passing one always runs deep into
the
other, so ordinary overlap is no kiss. An outline counts only where it is the thing's own silhouette (no fold inside
it), where nothing nearer hides it and where no third thing carries the surface on (the cut between two parts of a
body).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .camera import View
from .cover import Cover
from .outline import STEP, Contour, Samples, between_segments, chain, contour, edge_pairs, near_pairs, sample
from .topology import Topology

Array = np.ndarray

#: Largest signed gap of a kiss, U.
NEAR_GAP = 3.0
#: Radius in which overlap must stay shallow, U.
DISC = 32.0
#: Least distance of two places of one pair, U, and how many are looked at.
APART, MOST = 54.0, 6
#: Radius in which the gap itself is taken, U.
CLOSE = 13.0
#: A thing whose whole outline is smaller than this has no kisses, U.
SMALLEST = 40.0
#: Length of facing outline within REACH that makes a parallel kiss; of agreeing outline that makes an aligned one, U.
PARALLEL, ALIGNED, REACH = 16.0, 60.0, 27.0
#: A third thing this share of the character's height behind an outline, or nearer, hides it or carries its surface on.
BEHIND = 0.03
#: Depths that differ by less than this share of the height touch in the world.
TOUCH = 0.02


@dataclass(frozen=True, slots=True)
class Found:
    """A kiss of things a and b; fields as in core.kiss.Kiss."""

    gap: float
    form: str
    place: Array
    normal: Array
    depth_a: float
    depth_b: float
    lines_a: tuple[Array, ...]
    lines_b: tuple[Array, ...]


class Picture:
    """Things projected in one frame, each only when it is asked for.

    view; topologies: one a thing; read(thing) -> world places (n, 3) in metres of that topology's vertices.
    """

    def __init__(self, view: View, topologies: Sequence[Topology], read: Callable[[int], Array]) -> None:
        self.view = view
        self._topologies = topologies
        self._read = read
        self._flat: dict[int, tuple[Array, Array, Array]] = {}
        self._boxes: dict[int, Array] = {}
        self._contours: dict[int, Contour] = {}
        self._covers: dict[int, Cover] = {}

    def flat(self, thing: int) -> tuple[Array, Array, Array]:
        """x, y, w (n,) of the thing's vertices."""
        if thing not in self._flat:
            self._flat[thing] = self.view.project(self._read(thing))
        return self._flat[thing]

    def box(self, thing: int) -> Array:
        """left, low, right, high (4,) of the thing, NaN where none of it is before the camera."""
        if thing not in self._boxes:
            x, y, _ = self.flat(thing)
            low, left, high, right = (
                np.fmin.reduce(y, initial=np.inf),
                np.fmin.reduce(x, initial=np.inf),
                np.fmax.reduce(y, initial=-np.inf),
                np.fmax.reduce(x, initial=-np.inf),
            )
            box = np.array([left, low, right, high])
            self._boxes[thing] = box if np.isfinite(box).all() else np.full(4, np.nan)
        return self._boxes[thing]

    def contour(self, thing: int) -> Contour:
        if thing not in self._contours:
            self._contours[thing] = contour(self._topologies[thing], *self.flat(thing))
        return self._contours[thing]

    def nearest(self, thing: int, points: Array) -> Array:
        """Nearness (K,) of the thing where it covers the points (K, 2) U, -inf elsewhere."""
        if thing not in self._covers:
            box = self.box(thing)
            if not len(points) or not (
                box[0] <= points[:, 0].max()
                and box[2] >= points[:, 0].min()
                and box[1] <= points[:, 1].max()
                and box[3] >= points[:, 1].min()
            ):
                return np.full(len(points), -np.inf)
            self._covers[thing] = Cover(*self.flat(thing), self._topologies[thing].triangles)
        return self._covers[thing].nearest(points)


class _Side:
    """One thing's outline near the other, with what is known about each sample: 1 counts, 0 does not, -1 not asked
    yet."""

    def __init__(self, picture: Picture, thing: int, thirds: Sequence[int], window: Array, height: float) -> None:
        self.picture, self.thing, self.thirds, self.behind = picture, thing, thirds, BEHIND * height
        self.edges = picture.contour(thing).within(window)
        self.samples: Samples = sample(self.edges)
        self._known = np.full(len(self.samples), -1, np.int8)

    def valid(self, rows: Array) -> Array:
        """Of these rows of the samples, those at which the thing's own silhouette can be seen."""
        rows = np.unique(rows)
        asked = rows[self._known[rows] < 0]
        if len(asked):
            self._known[asked] = self._judge(asked)
        out: Array = rows[self._known[rows] == 1]
        return out

    def _judge(self, rows: Array) -> Array:
        s, picture = self.samples, self.picture
        place = s.place[rows]
        good = ((place >= 0.0) & (place <= picture.view.size)).all(axis=1)
        out = place + s.normal[rows]
        good[good] = ~np.isfinite(picture.nearest(self.thing, out[good]))
        left = np.flatnonzero(good)
        limit = picture.view.depth(s.w[rows]) + self.behind
        for third in self.thirds:
            if not len(left):
                break
            w = picture.nearest(third, out[left])
            covered = np.isfinite(w)
            hides = np.zeros(len(left), bool)
            hides[covered] = picture.view.depth(w[covered]) < limit[left[covered]]
            good[left[hides]] = False
            left = left[~hides]
        return good

    def within(self, place: Array, radius: float) -> Array:
        offset = self.samples.place - place
        out: Array = np.flatnonzero((offset * offset).sum(axis=1) <= radius * radius)
        return out


def kisses(picture: Picture, a: int, b: int, thirds: Sequence[int], height: float) -> list[Found]:
    """The kisses of things a and b in this picture, nearest first.

    thirds: every thing that can hide the place or carry a surface on, without a, b and the parts of either. height:
    metres,
    of the character that the depths are measured by.
    """
    box_a, box_b = picture.box(a), picture.box(b)
    if not _meet(box_a, box_b, 10.0) or not _meet(box_a, np.array([0.0, 0.0, *picture.view.size]), 10.0):
        return []
    size = min(max(box_a[2:] - box_a[:2]), max(box_b[2:] - box_b[:2]))
    if size < SMALLEST:
        return []
    grown = np.array([-1.0, -1.0, 1.0, 1.0]) * (2.0 * DISC)
    window = np.concatenate([np.maximum(box_a[:2], box_b[:2]), np.minimum(box_a[2:], box_b[2:])]) + grown
    one, two = _Side(picture, a, thirds, window, height), _Side(picture, b, thirds, window, height)
    i, j, distance = near_pairs(one.samples.place, two.samples.place, NEAR_GAP + 1.0 + STEP)
    if not len(i):
        return []
    kept = np.isin(i, one.valid(i))
    kept[kept] = np.isin(j[kept], two.valid(j[kept]))
    i, j, distance = i[kept], j[kept], distance[kept]
    found = []
    waiting = np.ones(len(i), bool)
    for _ in range(MOST):
        if not waiting.any():
            break
        first = np.flatnonzero(waiting)[distance[waiting].argmin()]
        place = (one.samples.place[i[first]] + two.samples.place[j[first]]) / 2.0
        offset = one.samples.place[i] - place
        squared = (offset * offset).sum(axis=1)
        waiting &= squared > APART * APART
        kiss = _judge_place(one, two, i, j, distance, squared, place, size)
        if kiss is not None:
            found.append(kiss)
    return sorted(found, key=lambda kiss: abs(kiss.gap))


def _judge_place(
    one: _Side, two: _Side, i: Array, j: Array, distance: Array, squared: Array, place: Array, size: float
) -> Found | None:
    depth = 0.0
    for this, other in ((one, two), (two, one)):
        depth = max(depth, _deepest(this, other, place))
        if depth > NEAR_GAP:
            return None
    near = squared <= CLOSE**2
    m, n = edge_pairs(one.samples, two.samples, i[near], j[near], len(two.edges))
    apart, on_a, on_b = between_segments(*_clipped(one.edges, m, place, CLOSE), *_clipped(two.edges, n, place, CLOSE))
    best = int(apart.argmin())
    gap = -depth if depth > 0.0 else float(apart[best])
    if gap > NEAR_GAP:
        return None
    middle = (on_a[best] + on_b[best]) / 2.0
    first = int(np.flatnonzero(near)[distance[near].argmin()])
    close = squared <= REACH**2
    faces = (one.samples.normal[i] * two.samples.normal[j]).sum(axis=1)
    normal = two.samples.normal[j[close & (distance <= NEAR_GAP + 1.0)]].sum(axis=0) - one.samples.normal[
        i[close & (distance <= NEAR_GAP + 1.0)]
    ].sum(axis=0)
    if depth <= 0.0 and apart[best] > 0.5:
        normal = on_a[best] - on_b[best]
    elif np.hypot(*normal) < 1e-6:
        normal = two.samples.normal[j[first]]
    view = one.picture.view
    return Found(
        gap=gap,
        form=_form(one.samples, two.samples, i, j, distance, squared, faces, size),
        place=middle,
        normal=normal / np.hypot(*normal),
        depth_a=float(view.depth(one.samples.w[i[first]])),
        depth_b=float(view.depth(two.samples.w[j[first]])),
        lines_a=_pieces(one, middle),
        lines_b=_pieces(two, middle),
    )


def _deepest(this: _Side, other: _Side, place: Array) -> float:
    """How deep the deepest visible silhouette point of one thing near the place lies in the other, U; 0 where none
    does."""
    rows = this.valid(_inside(this, other, this.within(place, DISC)))
    points = this.samples.place[rows]
    # The deepest point of a straight-edged outline is an end of an edge, which lies between two samples.
    edges = np.unique(this.samples.edge[this.valid(this.within(place, DISC))])
    ends = np.concatenate([this.edges.start[edges], this.edges.stop[edges]])
    ends = ends[np.hypot(*(ends - place).T) <= DISC]
    points = np.concatenate([points, ends[np.isfinite(other.picture.nearest(other.thing, ends))]])
    if not len(points):
        return 0.0
    walls = np.unique(other.samples.edge[other.valid(other.within(place, DISC + 16.0))])
    if not len(walls):
        return np.inf
    start, along = other.edges.start[walls], other.edges.stop[walls] - other.edges.start[walls]
    offset = points[:, None, :] - start[None]
    t = np.clip((offset * along).sum(axis=2) / np.maximum((along * along).sum(axis=1), 1e-30), 0.0, 1.0)
    rest = offset - along[None] * t[..., None]
    return float(np.sqrt((rest * rest).sum(axis=2).min(axis=1)).max())


def _clipped(edges: Contour, rows: Array, place: Array, radius: float) -> tuple[Array, Array]:
    """Starts and stops of edges, cut to the neighborhood of a place: a long edge may come nearer elsewhere."""
    start, along = edges.start[rows], edges.stop[rows] - edges.start[rows]
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)
    middle = ((place - start) * along).sum(axis=1) / length
    reach = radius + STEP
    low, high = (np.clip((middle + d) / length, 0.0, 1.0)[:, None] for d in (-reach, reach))
    return start + along * low, start + along * high


def _inside(this: _Side, other: _Side, rows: Array) -> Array:
    out: Array = rows[np.isfinite(other.picture.nearest(other.thing, this.samples.place[rows]))]
    return out


def _form(
    a: Samples, b: Samples, i: Array, j: Array, distance: Array, squared: Array, faces: Array, size: float
) -> str:
    touching = distance <= NEAR_GAP + 1.0
    facing = touching & (faces < -0.94) & (squared <= REACH**2)
    least = min(PARALLEL, size / 4.0)
    if a.length[np.unique(i[facing])].sum() >= least and b.length[np.unique(j[facing])].sum() >= least:
        return "parallel"
    along = touching & (faces > 0.98) & (squared <= ALIGNED**2)
    if a.length[np.unique(i[along])].sum() >= ALIGNED and b.length[np.unique(j[along])].sum() >= ALIGNED:
        return "aligned"
    return "corner"


def _pieces(side: _Side, place: Array) -> tuple[Array, ...]:
    rows = side.valid(side.within(place, REACH))
    edges = np.unique(side.samples.edge[rows])
    start, stop = _clipped(side.edges, edges, place, REACH)
    return tuple(chain(replace(side.edges.take(edges), start=start, stop=stop)))


def _meet(a: Array, b: Array, margin: float) -> bool:
    return bool(a[0] - margin <= b[2] and b[0] - margin <= a[2] and a[1] - margin <= b[3] and b[1] - margin <= a[3])
