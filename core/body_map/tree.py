# SPDX-License-Identifier: GPL-3.0-or-later
"""Which bones make the body, and how they hang together: one clean tree out of a rig's deform, control and helper
bones.
"""

from dataclasses import dataclass, field

import numpy as np

from . import names
from .skeleton import Array, Skeleton, length_of

SAME = 0.004  # share of the size within which two heads are one place
REACH = 0.15  # share of the size over which a root left over still joins
_PAIRS = 1 << 17  # pairs of bones held against each other at once: a MB of distances


@dataclass
class Tree:
    """The chosen bones as a tree; all lists are by position in ``bones`` (indices into the skeleton).

    heads (N, 3); ends (N, 3) the bone's own end, cut to the parent's length where it is absurd; size in meters;
    reach (N,) the length of the longest path down from a head; count (N,) bones below; centre (N, 3) of all that
    hangs there. side, partner, words as in names.pair_sides. how: 'skin', 'deform' or 'all'.
    """

    bones: list[int]
    parent: list[int]
    children: list[list[int]]
    heads: Array
    ends: Array
    size: float
    how: str
    side: list[str]
    partner: list[int]
    words: list[tuple[str, ...]]
    order: list[int] = field(default_factory=list)
    reach: Array = field(default_factory=lambda: np.zeros(0))
    count: Array = field(default_factory=lambda: np.zeros(0, int))
    centre: Array = field(default_factory=lambda: np.zeros((0, 3)))

    def points(self, i: int) -> dict[str, float]:
        return names.points(self.words[i], bool(self.side[i]))

    def above(self, i: int) -> list[int]:
        """The bone and all above it, nearest first."""
        found = []
        while i >= 0:
            found.append(i)
            i = self.parent[i]
        return found

    def depth(self, i: int) -> int:
        return len(self.above(i)) - 1


def extent(points: Array) -> float:
    """A figure's size however it is turned: from the point farthest from the middle to the one farthest from that
    (m).
    """
    if len(points) < 2:
        return 0.0
    far = points[np.argmax(((points - np.median(points, axis=0)) ** 2).sum(1))]
    return float(np.sqrt(((points - far) ** 2).sum(1).max()))


def choose(
    sk: Skeleton, words: list[tuple[str, ...]], raw: list[tuple[str, ...]], given: set[int]
) -> tuple[list[int], str]:
    """Bones that the body is looked for among, and what told them apart. Unusable places (NaN) are left out."""
    n = len(sk)
    fine = np.isfinite(sk.heads).all(1) & np.isfinite(sk.tails).all(1)
    weighted = (sk.weight > 0) & fine
    if weighted.sum() >= 6:
        keep = weighted.copy()
        for i in map(int, np.flatnonzero(weighted)):  # unweighted links, at most two between weighted bones
            between: list[int] = []
            p = int(sk.parents[i])
            while p >= 0 and not weighted[p] and len(between) < 3:
                between.append(p)
                p = int(sk.parents[p])
            if p >= 0 and weighted[p] and len(between) <= 2:
                keep[[b for b in between if fine[b]]] = True
        how = "skin"
    else:
        share = sk.deform[fine].mean() if fine.any() else 0.0
        how = "deform" if sk.deform[fine].sum() >= 6 and share < 0.97 else "all"
        keep = (sk.deform if how == "deform" else np.ones(n, bool)) & fine
        below, above = _kin(sk)
        goals = set(sk.goals)
        for i in range(n):
            if names.is_control(raw[i]) or (i in goals and below[i] <= 3 and above[i] <= 4):
                keep[i] = False
    for i in range(n):
        if names.is_leaf(words[i]) and not (keep & (sk.parents == i)).any():
            keep[i] = False
    keep[list(given)] = True
    keep &= fine
    # A bone from which most others hang directly is a root of the scene, not of the body.
    if keep.sum() >= 12:
        direct = np.bincount(sk.parents[keep & (sk.parents >= 0)], minlength=n)
        hub = int(np.argmax(direct))
        if keep[hub] and direct[hub] > 0.5 * keep.sum() and hub not in given:
            keep[hub] = False
    return [int(i) for i in np.flatnonzero(keep)], how


def _kin(sk: Skeleton) -> tuple[list[int], list[int]]:
    """Bones below, bones above, for each bone; cycles are cut."""
    below, above = [0] * len(sk), [0] * len(sk)
    for i in range(len(sk)):
        p, steps = int(sk.parents[i]), 0
        while p >= 0 and steps < len(sk):
            below[p] += 1
            p, steps = int(sk.parents[p]), steps + 1
        above[i] = steps
    return below, above


def _twins(sk: Skeleton, bones: list[int], size: float) -> dict[int, list[int]]:
    """Bone outside -> chosen bones that start at the same place, those that also point the same way first."""
    inside = set(bones)
    heads = sk.heads[bones]
    directions = sk.tails - sk.heads
    lengths = np.linalg.norm(directions, axis=1, keepdims=True)
    directions = directions / np.where(lengths > 0, lengths, 1)
    outside = np.array([i for i in np.flatnonzero(np.isfinite(sk.heads).all(1)).tolist() if i not in inside], int)
    found: dict[int, list[int]] = {}
    rows = max(1, _PAIRS // max(1, len(bones)))
    for at in range(0, len(outside), rows):
        some = outside[at : at + rows]
        apart = [heads[:, k] - sk.heads[some, k, None] for k in range(3)]
        near = apart[0] ** 2 + apart[1] ** 2 + apart[2] ** 2 <= (SAME * size) ** 2
        first, count = near.argmax(1), near.sum(1)
        same_way = (directions[np.array(bones)[first]] * directions[some]).sum(1) > 0.99
        for row in np.flatnonzero(count).tolist():
            i, b = int(some[row]), bones[int(first[row])]
            if count[row] == 1:
                found[i] = [b if same_way[row] else -1 - b]
                continue
            several = np.flatnonzero(near[row])
            along = directions[[bones[k] for k in several]] @ directions[i]
            found[i] = [bones[several[k]] for k in np.argsort(-along, kind="stable") if along[k] > 0.99] or [-1 - b]
    return found


def grow(
    sk: Skeleton, bones: list[int], how: str, side: list[str], partner: list[int], words: list[tuple[str, ...]]
) -> Tree:
    """The chosen bones as one tree (step 4 of the recipe)."""
    at = {b: k for k, b in enumerate(bones)}
    heads = sk.heads[bones] if bones else np.zeros((0, 3))
    size = extent(heads)
    n = len(bones)
    parent = [-1] * n
    twins = _twins(sk, bones, size) if n < len(sk) and size > 0 else {}

    def hangs_from(low: int, high: int) -> bool:
        steps = 0
        while low >= 0 and steps <= n:
            if low == high:
                return True
            low, steps = parent[low], steps + 1
        return False

    for k, b in enumerate(bones):
        p, steps = int(sk.parents[b]), 0
        while p >= 0 and steps < len(sk):
            if p in at:
                if not hangs_from(at[p], k):
                    parent[k] = at[p]
                break
            for twin in twins.get(p, ()):
                if twin < 0:  # same place, another direction: only a bone that starts elsewhere may hang there
                    twin = -1 - twin
                    if ((sk.heads[twin] - sk.heads[b]) ** 2).sum() <= (SAME * size) ** 2:
                        continue
                if twin != b and twin in at and not hangs_from(at[twin], k):
                    parent[k] = at[twin]
                    break
            if parent[k] >= 0:
                break
            p, steps = int(sk.parents[p]), steps + 1
    tree = Tree(
        bones,
        parent,
        [],
        heads,
        _ends(sk, bones, parent, size),
        size,
        how,
        [side[b] for b in bones],
        [at.get(partner[b], -1) for b in bones],
        [words[b] for b in bones],
    )
    _join(tree)
    _measure(tree)
    return tree


def _ends(sk: Skeleton, bones: list[int], parent: list[int], size: float) -> Array:
    ends = np.array(sk.tails[bones]) if bones else np.zeros((0, 3))
    for k, b in enumerate(bones):
        along = ends[k] - sk.heads[b]
        length = length_of(along)
        if length > 0.35 * size and parent[k] >= 0:
            step = length_of(sk.heads[b] - sk.heads[bones[parent[k]]])
            ends[k] = sk.heads[b] + along * (step / length)
    return ends


def _nearest(points: Array, starts: Array, stops: Array) -> tuple[Array, Array]:
    """For each point the distance to the nearest segment, and which segment. (P, 3), (S, 3), (S, 3) -> (P,), (P,)."""
    along = stops - starts
    length = (along * along).sum(1)
    offset = points[:, None] - starts
    t = np.clip((offset * along).sum(2) / np.where(length > 0, length, 1), 0, 1)
    gap = np.linalg.norm(offset - t[..., None] * along, axis=2)
    best = gap.argmin(1)
    return gap[np.arange(len(points)), best], best


def _join(tree: Tree) -> None:
    """Roots left over join the nearest bone of the main tree, nearest first."""
    n = len(tree.bones)
    if not n:
        return
    top = [_root(tree.parent, k) for k in range(n)]
    members: dict[int, list[int]] = {}
    for k, r in enumerate(top):
        members.setdefault(r, []).append(k)
    if len(members) > 1:
        main = max(members, key=lambda r: (len(members[r]), extent(tree.heads[members[r]])))
        waiting = {r: (np.inf, -1) for r in members if r != main}
        new = members[main]
        while waiting:
            starts, stops, owner = [], [], []
            for k in new:
                starts.append(tree.heads[k])
                stops.append(tree.ends[k])
                owner.append(k)
                if tree.parent[k] >= 0:
                    starts.append(tree.heads[tree.parent[k]])
                    stops.append(tree.heads[k])
                    owner.append(tree.parent[k])
            roots = list(waiting)
            gap, which = _nearest(tree.heads[roots], np.array(starts), np.array(stops))
            for r, g, w in zip(roots, gap, which, strict=True):
                if g < waiting[r][0] - 1e-6 * tree.size:
                    waiting[r] = (float(g), owner[int(w)])
            best = min(waiting, key=lambda r: (round(waiting[r][0] / max(tree.size, 1e-12), 5), r))
            distance, host = waiting.pop(best)
            if distance > REACH * tree.size:
                break
            tree.parent[best] = host
            new = members[best]


def _root(parent: list[int], k: int) -> int:
    while parent[k] >= 0:
        k = parent[k]
    return k


def _measure(tree: Tree) -> None:
    n = len(tree.bones)
    tree.children = [[] for _ in range(n)]
    for k, p in enumerate(tree.parent):
        if p >= 0:
            tree.children[p].append(k)
    order = [k for k in range(n) if tree.parent[k] < 0]
    for k in order:
        order.extend(tree.children[k])
    tree.order = order
    tree.count = np.ones(n, int)
    tree.reach = np.linalg.norm(tree.ends - tree.heads, axis=1) if n else np.zeros(0)
    total = (tree.heads + tree.ends) / 2
    for k in reversed(order):
        if tree.children[k]:
            tree.reach[k] = max(
                length_of(tree.heads[c] - tree.heads[k]) + tree.reach[c] for c in tree.children[k]
            )
        p = tree.parent[k]
        if p >= 0:
            tree.count[p] += tree.count[k]
            total[p] += total[k]
    tree.centre = total / tree.count[:, None] if n else total
