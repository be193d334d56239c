# SPDX-License-Identifier: GPL-3.0-or-later
"""The joints along a limb: which bones of its path are thigh, shin and foot (step 8 of the recipe)."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from math import dist, log, sqrt

import numpy as np

from . import names
from .limbs import LEG, spots
from .plane import Mirror
from .tree import Tree

MOST = 9  # bones looked at along a limb

Place = tuple[float, float, float]


@dataclass(frozen=True)
class Joints:
    """Positions on the path of the limb's root, middle and end joint; end = len(path) means that the last bone's end
    is it. by_shape: whether shape alone, without names, takes the same three."""

    root: int
    middle: int
    end: int
    by_shape: bool


def _bend(places: Sequence[tuple[float, float, float]], i: int, j: int) -> float:
    """How far joints between i and j lie off the straight line, over its length."""
    if j - i < 2:
        return 0.0
    (ax, ay, az), (bx, by, bz) = places[i], places[j]
    cx, cy, cz = bx - ax, by - ay, bz - az
    square = cx * cx + cy * cy + cz * cz
    if square <= 0:
        return 1.0
    most = 0.0
    for px, py, pz in places[i + 1 : j]:
        x, y, z = px - ax, py - ay, pz - az
        t = (x * cx + y * cy + z * cz) / square
        x, y, z = x - t * cx, y - t * cy, z - t * cz
        most = max(most, x * x + y * y + z * z)
    return sqrt(most / square)


def _straight(a: Place, b: Place, c: Place) -> float:
    """Cosine of the turn from a to b to c; 0 where two of them are one place."""
    length = dist(a, b) * dist(b, c)
    along = sum((y - x) * (z - y) for x, y, z in zip(a, b, c, strict=True))
    return along / length if length > 0 else 0.0


def joints(
    tree: Tree, mirror: Mirror, paths: Sequence[list[int]], parts: tuple[str, ...], front_leg: bool = False
) -> Joints | None:
    """The three joints of a limb: all triples are tried, on names, lengths, bends and branches (step 8)."""
    best: dict[bool, tuple[float, tuple[int, int, int]]] = {}
    ready = [_Limb(tree, mirror, p[:MOST], parts, front_leg) for p in paths]
    n = min(limb.n for limb in ready)
    if n < 2:
        return None
    for a, b, c in combinations(range(n + 1), 3):
        shape = sum(limb.shape(a, b, c) for limb in ready)
        named = sum(limb.names(a, b, c) for limb in ready)
        for with_names, score in ((True, shape + named), (False, shape)):
            if with_names not in best or score > best[with_names][0] + 1e-6:
                best[with_names] = (score, (a, b, c))
    chosen = best[True][1]
    return Joints(*chosen, by_shape=best[False][1] == chosen)


class _Limb:
    """One limb's path, made ready for scoring triples."""

    def __init__(self, tree: Tree, mirror: Mirror, path: list[int], parts: tuple[str, ...], front_leg: bool) -> None:
        self.n = len(path)
        self.leg = parts is LEG
        self.places = spots(tree, path)
        # plain numbers: there are hundreds of triples, and numpy takes many times as long for one place
        self.spots = [(x, y, z) for x, y, z in self.places.tolist()]
        self.steps = [dist(a, b) for a, b in pairwise(self.spots)]
        self.total = max(sum(self.steps), 1e-12)
        self.aside: list[float] = (np.abs(self.places @ mirror.lateral - mirror.offset) / self.total).tolist()
        self.fan = [sum(tree.reach[c] > 0.01 * tree.size for c in tree.children[k]) for k in path]
        spread = {"upper_arm": "thigh", "forearm": "shin", "hand": "foot"} if front_leg else {}
        self.gain: list[tuple[float, ...]] = []
        self.said: list[bool] = []
        for k in path:
            p = tree.points(k)
            mine = {part: max(p.get(part, 0.0), p.get(spread.get(part, part), 0.0)) for part in parts}
            gains = []
            for part in parts:
                other = max((v for key, v in p.items() if key != part and spread.get(part) != key), default=0.0)
                gains.append(mine[part] - max(0.0, other - mine[part]))
            self.gain.append(tuple(gains))
            self.said.append(names.is_other(tree.words[k]))
        self.gain.append((0.0, 0.0, 0.0))
        self._known: dict[tuple[int, int], tuple[float, float, float]] = {}

    def _segment(self, i: int, j: int) -> tuple[float, float, float]:
        """Of the piece from joint i to joint j: its length, its bend, and what it loses for the joints within."""
        known = self._known.get((i, j))
        if known is None:
            # A segment split for twist is split evenly; one that runs on into the hand is not.
            inner = self.steps[i:j]
            split = 0.0 if j - i < 2 else (j - i - 1) * (0.2 + 0.6 * (1 - min(inner) / max(*inner, 1e-12)))
            known = dist(self.spots[i], self.spots[j]), _bend(self.spots, i, j), split
            self._known[i, j] = known
        return known

    def names(self, a: int, b: int, c: int) -> float:
        total = self.gain[a][0] + self.gain[b][1] + self.gain[c][2]
        # A finger is no joint of the limb.
        total -= 2.0 * sum(self.said[i] for i in (a, b, c) if i < self.n)
        return total

    def shape(self, a: int, b: int, c: int) -> float:
        (one, bend_one, split_one), (two, bend_two, split_two) = self._segment(a, b), self._segment(b, c)
        if one <= 1e-9 * self.total or two <= 1e-9 * self.total:
            return -20.0
        score = -1.6 * abs(log(one / two)) - 6 * (bend_one + bend_two)
        # Hand and fingers, foot and toes are some fifth of the line: more share than the rest proves nothing.
        score += 4 * min((one + two) / self.total, 0.9 if self.leg or c == self.n else 0.8)
        score -= split_one + split_two
        # Hip and shoulder joints lie beside the midline; a hip link or a collar bone starts on it.
        away = 0.05 if self.leg else 0.12
        score -= 2.0 * max(0.0, 1 - self.aside[a] / away)
        if c == self.n:
            return score - 1.0
        if self.leg:
            score += 1.5 * min(1.0, 1.3 * (1 - _straight(self.spots[b], self.spots[c], self.spots[c + 1])))
        elif self.fan[c] >= 3:
            score += 1.5
        return score
