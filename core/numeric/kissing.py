# SPDX-License-Identifier: GPL-3.0-or-later
"""The places at which the outlines of two things kiss in one frame's picture.

A kiss is a small signed gap: the outlines come within ``NEAR_GAP`` and, within ``DISC`` about that place, no visible
outline point of either lies deeper in the other than that. Where outlines cross in passing one always runs deep into
the other, so ordinary overlap is no kiss. An outline counts only where it is the thing's own silhouette (no fold inside
it), where nothing nearer hides it and where no third thing carries the surface on (the cut between two parts of a
body).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..kiss import Kiss, Pieces
from .outline import STEP, Contour, Samples, between_segments, edge_pairs, near_pairs, sample
from .picture import Picture, meet

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
#: So much of an outline within APART of a kiss, U, plainly over what goes on beside it, tells what is before.
RUNS_OVER = 12.0
#: A third thing this share of the character's height behind an outline, or nearer, hides it or carries its surface on.
BEHIND = 0.03
#: Depths that differ by less than this share of the height touch in the world.
TOUCH = 0.02


@dataclass(frozen=True, slots=True)
class Found:
    """A kiss of things a and b in one picture; fields as in core.kiss.Kiss."""

    gap: float
    form: str
    place: Array
    normal: Array
    depth_a: float
    depth_b: float
    pieces_a: Pieces
    pieces_b: Pieces
    centers: tuple[Array, Array]
    crossed: bool = False

    def at(self, sample: int) -> Kiss:
        """The same as a kiss of the shot's frame of this index."""
        return Kiss(
            sample,
            self.gap,
            self.form,
            _pair(self.place),
            _pair(self.normal),
            self.depth_a,
            self.depth_b,
            self.pieces_a,
            self.pieces_b,
            (_pair(self.centers[0]), _pair(self.centers[1])),
            self.crossed,
        )


class _Side:
    """One thing's outline near the other.

    What is known about each sample, once asked: valid, that the thing's own silhouette can be seen there; inside, that
    it is valid and the other covers it. free: surely over NEAR_GAP from every contour edge of the other.
    """

    def __init__(self, picture: Picture, thing: int, window: Array, around: Array) -> None:
        self.edges = picture.contour(thing, around).within(window)
        self.samples: Samples = sample(self.edges)
        n = len(self.samples)
        place = self.samples.place
        outside = (place < 0.0) | (place > picture.view.size)
        self.known: Array = np.asarray(outside.any(axis=1))  # out of the picture: never valid
        self.valid, self.inside = np.zeros(n, bool), np.zeros(n, bool)
        self.free = np.ones(n, bool)

    def within(self, place: Array, radius: float) -> Array:
        offset = self.samples.place - place
        out: Array = np.flatnonzero(offset[:, 0] ** 2 + offset[:, 1] ** 2 <= radius * radius)
        return out


class _Pair:
    """Both outlines near each other, and what covers them."""

    def __init__(self, picture: Picture, a: int, b: int, thirds: Sequence[int], height: float) -> None:
        self.picture, self.things, self.thirds, self.behind = picture, (a, b), tuple(thirds), BEHIND * height
        box_a, box_b = picture.box(a), picture.box(b)
        grown = np.array([-1.0, -1.0, 1.0, 1.0]) * (2.0 * DISC)
        window = np.concatenate([np.maximum(box_a[:2], box_b[:2]), np.minimum(box_a[2:], box_b[2:])]) + grown
        self.crossed = False  # whether some place looked at runs deeper than a kiss
        self.centers = (box_a[:2] + box_a[2:]) / 2.0, (box_b[:2] + box_b[2:]) / 2.0
        self.around = box_a + grown  # the same for all pairs of a, so that what is found in it is found once
        self.sides = _Side(picture, a, window, self.around), _Side(picture, b, window, self.around)

    def ask(self, rows: tuple[Array, Array]) -> None:
        """Finds out what is not known yet about these samples of both sides."""
        asked, silhouette = [], []
        for own, (side, r) in enumerate(zip(self.sides, rows, strict=True)):
            asks = np.zeros(len(side.known), bool)
            asks[r] = True
            r = np.flatnonzero(asks & ~side.known)
            side.known[r] = True
            # Most contour edges are folds inside the thing: only what is none is asked for anything else.
            outer = side.samples.place[r] + side.samples.normal[r]
            clear = ~self.covered(own, outer)
            asked.append(r[clear])
            silhouette.append(outer[clear])
        view = self.picture.view
        deep = [float(view.depth(side.samples.w[r].min())) for side, r in zip(self.sides, asked, strict=True) if len(r)]
        nearest = self.picture.nearest(
            np.concatenate(silhouette), self.thirds, self.around, max(deep, default=0.0) + self.behind
        )
        for own, (side, r) in enumerate(zip(self.sides, asked, strict=True)):
            w = nearest[: len(r)] if own == 0 else nearest[len(nearest) - len(r) :]
            hidden = np.isfinite(w)
            hidden[hidden] = view.depth(w[hidden]) < view.depth(side.samples.w[r[hidden]]) + self.behind
            side.valid[r[~hidden]] = True
            side.inside[r[~hidden]] = self.covered(1 - own, side.samples.place[r[~hidden]])

    def covered(self, by: int, points: Array) -> Array:
        """(K,) whether the thing of one side, 0 or 1, covers the points (K, 2)."""
        return self.picture.covers(self.things[by], points, self.around)


def kisses(
    picture: Picture, a: int, b: int, thirds: Sequence[int], height: float, body: Sequence[int] = ()
) -> list[Found]:
    """The kisses of things a and b in this picture, nearest first.

    thirds: every thing that can hide the place or carry a surface on, without a, b and the parts of either. height:
    meters, of the character that the depths are measured by. body: what is of one body with b: where a runs plainly
    over some of it by a kiss, the kiss is crossed too.
    """
    box_a, box_b = picture.box(a), picture.box(b)
    if not meet(box_a, box_b, 10.0) or not meet(box_a, np.array([0.0, 0.0, *picture.view.size]), 10.0):
        return []
    size = min(max(box_a[2:] - box_a[:2]), max(box_b[2:] - box_b[:2]))
    if size < SMALLEST:
        return []
    pair = _Pair(picture, a, b, thirds, height)
    one, two = pair.sides
    i, j, distance = near_pairs(one.samples.place, two.samples.place, NEAR_GAP + 1.0 + STEP)
    if not len(i) or (distance.min() > NEAR_GAP and _least(one, two, i, j) > NEAR_GAP):
        return []
    beside = distance <= NEAR_GAP + STEP / 2.0
    one.free[i[beside]], two.free[j[beside]] = False, False
    pair.ask((i, j))
    kept = one.valid[i] & two.valid[j]
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
        kiss = _judge_place(pair, i, j, distance, squared, place, size)
        if kiss is not None:
            found.append(kiss)
    told = [replace(kiss, crossed=pair.crossed or _runs_over(pair, kiss.place, body)) for kiss in found]
    return sorted(told, key=lambda kiss: abs(kiss.gap))


def _runs_over(pair: _Pair, place: Array, others: Sequence[int]) -> bool:
    """Whether a's outline runs plainly over others, or they over it, near a place: RUNS_OVER U of it lie deeper in them
    than a kiss does, whichever way depth is taken."""
    if not others:
        return False
    one = pair.sides[0]
    rows = one.within(place, APART)
    points, normal = one.samples.place[rows], one.samples.normal[rows]
    outline = np.flatnonzero(~pair.covered(0, points + normal))
    rows, points, normal = rows[outline], points[outline], (NEAR_GAP + 1.0) * normal[outline]
    tried = np.concatenate([points, points + normal, points - normal])
    for other in others:
        deep = pair.picture.covers(other, tried, pair.around).reshape(3, -1).all(axis=0)
        if one.samples.length[rows[deep]].sum() >= RUNS_OVER:
            return True
    return False


def _least(one: _Side, two: _Side, i: Array, j: Array) -> float:
    """The least gap of the edges behind pairs of samples, U: no place of theirs has a smaller one, or less overlap."""
    m, n = edge_pairs(one.samples, two.samples, i, j, len(two.edges))
    apart, _, _ = between_segments(one.edges.start[m], one.edges.stop[m], two.edges.start[n], two.edges.stop[n])
    return float(apart.min())


def _judge_place(
    pair: _Pair, i: Array, j: Array, distance: Array, squared: Array, place: Array, size: float
) -> Found | None:
    one, two = pair.sides
    close_by = [side.within(place, DISC) for side in pair.sides]
    # What is free of every contour edge of the other lies deep in it or outside: this ends most crossings.
    free = [rows[side.free[rows]] for side, rows in zip(pair.sides, close_by, strict=True)]
    pair.ask((free[0], free[1]))
    if any(side.inside[rows].any() for side, rows in zip(pair.sides, free, strict=True)):
        pair.crossed = True
        return None
    pair.ask((close_by[0], close_by[1]))
    depth = max(_deepest(pair, own, place, close_by[own]) for own in (0, 1))
    if depth > NEAR_GAP:
        pair.crossed = True
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
    view = pair.picture.view
    return Found(
        gap=gap,
        form=_form(one.samples, two.samples, i, j, distance, squared, faces, size),
        place=middle,
        normal=normal / np.hypot(*normal),
        depth_a=float(view.depth(one.samples.w[i[first]])),
        depth_b=float(view.depth(two.samples.w[j[first]])),
        pieces_a=_pieces(one, middle),
        pieces_b=_pieces(two, middle),
        centers=pair.centers,
    )


def _far(points: Array, edges: Contour, walls: Array) -> Array:
    """Distance (K,) in U of points (K, 2) to the nearest of these edges."""
    start, along = edges.start[walls], edges.stop[walls] - edges.start[walls]
    squared = np.maximum((along * along).sum(axis=1), 1e-30)
    x, y = points[:, 0, None] - start[:, 0], points[:, 1, None] - start[:, 1]
    t = np.clip((x * along[:, 0] + y * along[:, 1]) / squared, 0.0, 1.0)
    x -= along[:, 0] * t
    y -= along[:, 1] * t
    out: Array = np.sqrt((x * x + y * y).min(axis=1))
    return out


def _deepest(pair: _Pair, own: int, place: Array, rows: Array) -> float:
    """How deep the deepest visible silhouette point of one side near the place lies in the other, U; 0 where none does.

    rows: the side's samples near the place.
    """
    this, other = pair.sides[own], pair.sides[1 - own]
    rows = rows[this.valid[rows]]
    points = this.samples.place[rows[this.inside[rows]]]
    # The deepest point of a straight-edged outline is an end of an edge, which lies between two samples.
    edges = np.unique(this.samples.edge[rows])
    ends = np.concatenate([this.edges.start[edges], this.edges.stop[edges]])
    ends = ends[np.hypot(*(ends - place).T) <= DISC]
    points = np.concatenate([points, ends[pair.covered(1 - own, ends)]])
    if not len(points):
        return 0.0
    around = other.within(place, DISC + 16.0)
    pair.ask((rows[:0], around) if own == 0 else (around, rows[:0]))
    walls = np.unique(other.samples.edge[around[other.valid[around]]])
    if not len(walls):
        return np.inf
    return float(_far(points, other.edges, walls).max())


def _clipped(edges: Contour, rows: Array, place: Array, radius: float) -> tuple[Array, Array]:
    """Starts and stops of edges, cut to the neighborhood of a place: a long edge may come nearer elsewhere."""
    start, along = edges.start[rows], edges.stop[rows] - edges.start[rows]
    length = np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)
    middle = ((place - start) * along).sum(axis=1) / length
    reach = radius + STEP
    low, high = (np.clip((middle + d) / length, 0.0, 1.0)[:, None] for d in (-reach, reach))
    return start + along * low, start + along * high


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


def _pieces(side: _Side, place: Array) -> Pieces:
    rows = side.within(place, REACH)
    rows = rows[side.valid[rows]]
    edges = np.unique(side.samples.edge[rows])
    start, stop = _clipped(side.edges, edges, place, REACH)
    return Pieces(start, stop, side.edges.ends[edges])


def _pair(place: Array) -> tuple[float, float]:
    return float(place[0]), float(place[1])
