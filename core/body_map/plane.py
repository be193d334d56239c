# SPDX-License-Identifier: GPL-3.0-or-later
"""The plane that a figure is mirrored in, and which bone mirrors which (step 5 of the recipe)."""

from dataclasses import dataclass

import numpy as np

from .skeleton import Array, length_of
from .tree import Tree

NEAR = 0.02  # share of the size within which a mirrored center is the partner's
LEAST = 4  # bones that must have a partner, else there is no body


@dataclass
class Mirror:
    """lateral (3,): unit, from right to left where names tell; offset: of the plane along it, m; partner: per bone
    its mirror, itself on the plane, -1 where there is none; named: whether names gave the plane."""

    lateral: Array
    offset: float
    partner: list[int]
    named: bool

    def pairs(self) -> list[tuple[int, int]]:
        """Each pair once."""
        return [(i, j) for i, j in enumerate(self.partner) if j >= 0 and i < j]

    def midline(self) -> list[int]:
        return [i for i, j in enumerate(self.partner) if i == j]


def _partners(tree: Tree, which: Array, normal: Array, offset: float) -> tuple[Array, Array]:
    """For each of the bones ``which``: the bone among them onto which the plane maps it, and how far off (m)."""

    def mirrored(points: Array) -> Array:
        return points - 2 * ((points @ normal) - offset)[:, None] * normal

    heads, centre = tree.heads[which], tree.centre[which]

    def gaps(a: Array, b: Array) -> Array:
        square = (a * a).sum(1)[:, None] + (b * b).sum(1)[None] - 2 * a @ b.T
        return np.sqrt(np.maximum(square, 0))

    middle = centre.mean(0)
    gap = np.maximum(gaps(mirrored(heads) - middle, heads - middle), gaps(mirrored(centre) - middle, centre - middle))
    gap += (
        10
        * tree.size
        * (np.abs(tree.count[which][:, None] - tree.count[which][None]) > 0.3 * tree.count[which][:, None] + 1)
    )
    best = gap.argmin(1)
    return best, gap[np.arange(len(which)), best]


def _matched(tree: Tree, which: Array, normal: Array, offset: float) -> tuple[float, Array]:
    best, gap = _partners(tree, which, normal, offset)
    own = np.arange(len(which))
    good = (gap < NEAR * tree.size) & (best[best] == own)
    off = good & (best != own)
    # Weighed by how far apart the pair is: bones near the plane mirror themselves in many planes.
    apart = np.abs(tree.centre[which] @ normal - offset)
    weight = np.minimum(apart / (0.05 * tree.size), 1.0)
    return float((off * weight).sum() + 0.5 * (good & ~off).sum()), np.where(good, best, -1)


def _from_names(tree: Tree) -> tuple[Array, float] | None:
    pairs = [(i, j) for i, j in enumerate(tree.partner) if j >= 0 and tree.side[i] == "L"]
    if len(pairs) < 2:
        return None
    left = tree.centre[[i for i, _ in pairs]]
    right = tree.centre[[j for _, j in pairs]]
    across = left - right
    length = np.linalg.norm(across, axis=1)
    if (length > 0.01 * tree.size).sum() < 2:
        return None
    weight = np.ones(len(pairs))
    normal = across.mean(0)
    for _ in range(6):  # robust: a prop on one side or a badly named pair must not turn the plane
        _, _, axes = np.linalg.svd(across * weight[:, None], full_matrices=False)
        normal = axes[0]
        rest = np.linalg.norm(across - (across @ normal)[:, None] * normal, axis=1)
        before, weight = weight, 1 / (1 + (rest / (0.02 * tree.size)) ** 2)
        if np.abs(weight - before).max() < 1e-12:
            break  # as at once on a figure that is mirrored exactly
    sense = float(np.sign((np.sign(across @ normal) * length * weight).sum())) or 1.0
    normal = normal * sense
    # Words that differ by chance (fingers D and E) do not all point across the body.
    true = (across @ normal > 0.9 * length) & (length > 0.01 * tree.size)
    if (length * true).sum() < 0.6 * length.sum() or true.sum() < 2:
        return None
    return normal, float(np.median(((left + right) / 2)[true] @ normal))


def _candidates(tree: Tree, up: Array) -> list[tuple[Array, list[float]]]:
    """Normals to try, each with offsets."""
    found: list[tuple[Array, list[float]]] = []
    siblings = []
    groups = [[k for k, p in enumerate(tree.parent) if p < 0], *tree.children]
    for group in groups:
        for a, i in enumerate(group):
            for j in group[a + 1 :]:
                large, small = max(tree.count[i], tree.count[j]), min(tree.count[i], tree.count[j])
                alike = abs(tree.reach[i] - tree.reach[j]) < 0.05 * max(tree.reach[i], tree.reach[j])
                across = length_of(tree.centre[i] - tree.centre[j])
                if large - small <= 0.2 * large and alike and across > 0.02 * tree.size:
                    siblings.append((min(tree.reach[i], tree.reach[j]), large, i, j, across))
    siblings.sort(key=lambda s: (-round(s[0] / tree.size, 6), -s[1], s[2], s[3]))
    for _, _, i, j, across in siblings[:30]:
        normal = (tree.centre[i] - tree.centre[j]) / across
        found.append((normal, [float((tree.centre[i] + tree.centre[j]) @ normal / 2)]))
    for normal in np.eye(3):
        places = tree.heads @ normal
        roots = [float(places[k]) for k in tree.order[:3]]
        found.append((normal, [float(np.median(places)), float((places.min() + places.max()) / 2), *roots]))
    return found


def _fit(tree: Tree, which: Array, partner: Array, normal: Array, offset: float) -> tuple[Array, float]:
    """The plane through the middles of the pairs found, square to their mean difference."""
    i = np.flatnonzero(partner >= 0)
    a, b = tree.centre[which[i]], tree.centre[which[partner[i]]]
    across = a - b
    across *= np.sign(across @ normal)[:, None]
    total = across.sum(0)
    length = length_of(total)
    if length > 0:
        normal = total / length
    return normal, float(np.median((a + b) @ normal / 2))


def find_plane(tree: Tree, up: Array) -> Mirror | None:
    """The mirror plane, or None where too few bones mirror each other: then there is no body."""
    n = len(tree.bones)
    if n < 5 or tree.size <= 0:
        return None
    plane = _from_names(tree)
    large = np.argsort(-tree.reach, kind="stable")[:240]
    sided = sum(j >= 0 for j in tree.partner)
    named = plane is not None
    if plane is None or sided < 0.3 * n:
        best = (-1.0, np.array([1.0, 0, 0]), 0.0)
        for normal, offsets in _candidates(tree, up):
            for offset in offsets:
                score, partner = _matched(tree, large, normal, offset)
                score *= 1.0 - 0.3 * abs(float(normal @ up))  # a figure is seldom mirrored top to bottom
                if score > best[0] + 1e-9:
                    best = (
                        (score, *_fit(tree, large, partner, normal, offset))
                        if (partner >= 0).any()
                        else (score, normal, offset)
                    )
        # Few names with sides may be chance: the shape must not do much better.
        if plane is None or best[0] > 1.5 * _matched(tree, large, *plane)[0]:
            plane, named = (best[1], best[2]), False
            tree.side, tree.partner = [""] * n, [-1] * n
    normal, offset = plane
    every = np.arange(n)
    nearest, gap = _partners(tree, every, normal, offset)
    distance = np.abs(tree.heads @ normal - offset)
    result = [-1] * n
    for i in range(n):
        if tree.partner[i] >= 0 and named:
            result[i] = tree.partner[i]
        elif gap[i] < (NEAR if nearest[i] != i else 2 * NEAR) * tree.size and nearest[nearest[i]] == i:
            result[i] = int(nearest[i])
    for i in range(n):  # unmatched bones on the plane are midline; a fin or tail bent aside still hangs there
        if result[i] >= 0 and result[result[i]] != i:
            result[i] = -1
        if result[i] < 0 and distance[i] < 0.03 * tree.size and not tree.side[i]:
            result[i] = i
    mirror = Mirror(normal, offset, result, named)
    if 2 * len(mirror.pairs()) < LEAST:
        return None
    return mirror


def left_first(tree: Tree, mirror: Mirror, i: int, j: int) -> tuple[int, int]:
    """The pair with its left bone (by name, else toward the lateral) first."""
    if tree.side[i] and tree.partner[i] == j:
        return (i, j) if tree.side[i] == "L" else (j, i)
    return (i, j) if tree.centre[i] @ mirror.lateral >= tree.centre[j] @ mirror.lateral else (j, i)
