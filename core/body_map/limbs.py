# SPDX-License-Identifier: GPL-3.0-or-later
"""Limb pairs, which way is up, legs and arms (steps 6 and 7 of the recipe)."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from . import names
from .plane import Mirror, left_first
from .skeleton import Array, length_of
from .tree import Tree

LEG, ARM = ("thigh", "shin", "foot"), ("upper_arm", "forearm", "hand")
LONG, LONG_BY_NAME = 0.16, 0.10  # shares of the size


@dataclass
class Pair:
    """Two mirrored limbs. tops, paths: left then right; host: the midline bone they hang from, -1 for none; length in
    m; tip (3,): middle of the two limbs' ends; start (3,): middle of their tops; fan: most branches at one bone; leg,
    arm: points by name; pinned: parts by position on the path that the card gives."""

    paths: tuple[list[int], list[int]]
    host: int
    length: float
    start: Array
    tip: Array
    fan: int
    leg: float
    arm: float
    up_tip: float = 0.0
    pinned: dict[int, str] = field(default_factory=dict)


def path_down(tree: Tree, top: int) -> list[int]:
    """The limb's main line: the longest and most populous child, but no twist bone whose head lies inside a sibling's
    segment.
    """
    path = [top]
    while tree.children[path[-1]]:
        here = path[-1]
        kids = tree.children[here]
        steps = {c: tree.heads[c] - tree.heads[here] for c in kids}

        def inside(c: int, kids: Sequence[int] = kids, steps: dict[int, Array] = steps) -> bool:
            for s in kids:
                length = length_of(steps[s])
                if s == c or length < 0.02 * tree.size or tree.reach[s] < tree.reach[c]:
                    continue
                t = float(steps[c] @ steps[s]) / length**2
                off = length_of(steps[c] - t * steps[s])
                # A twist bone lies on the way to the next joint; a second child at the very end is a branch.
                if -0.02 < t < 0.96 and off < 0.03 * length:
                    return True
            return False

        worthy = [
            c
            for c in kids
            if not (len(kids) > 1 and (inside(c) or names.is_other(tree.words[c]) and _limbless(tree, c)))
        ] or kids
        path.append(
            max(
                worthy,
                key=lambda c: (
                    length_of(steps[c])
                    + tree.reach[c]
                    + 0.02 * tree.size * float(tree.count[c]) ** 0.5
                    + 0.05 * tree.size * max(tree.points(c).values(), default=0.0)
                    - 0.05 * tree.size * names.is_twist(tree.words[c])
                ),
            )
        )
    return path


def _limbless(tree: Tree, i: int) -> bool:
    """Whether nothing below is named as a limb's part (a finger may carry nothing, a wrongly named link may)."""
    return not any(tree.points(c) for c in tree.children[i])


def spots(tree: Tree, path: Sequence[int]) -> Array:
    """Joint places along a path and the last bone's end, (len + 1, 3) m."""
    return np.vstack([tree.heads[list(path)], tree.ends[path[-1]][None]])


def limb_pairs(tree: Tree, mirror: Mirror) -> list[Pair]:
    """Mirrored children of one midline bone that are long enough to be limbs."""
    found = []
    for pair in mirror.pairs():
        i, j = left_first(tree, mirror, *pair)
        a, b = tree.parent[i], tree.parent[j]
        if (
            a >= 0
            and b >= 0
            and a != b
            and (mirror.partner[a] == b or not (mirror.partner[a] == a or mirror.partner[b] == b))
        ):
            continue
        if any(
            mirror.partner[k] >= 0 and mirror.partner[k] != k for k in tree.above(a) + tree.above(b) if k not in (i, j)
        ):
            continue
        paths = path_down(tree, i), path_down(tree, j)
        reach = float(min(tree.reach[i], tree.reach[j]))
        leg, arm = (max(_by_name(tree, path, parts) for path in paths) for parts in (LEG, ARM))
        named = max(leg, arm) >= 2
        if min(len(path) for path in paths) < 2:
            continue
        if reach < (LONG_BY_NAME if named else LONG) * tree.size:
            continue
        if not named and any(names.is_other(tree.words[k]) for k in path_words(paths)):
            continue
        if any(_is_head(tree, k) for k in tree.above(a)):
            continue
        ends = [spots(tree, p)[-1] for p in paths]
        fan = max(
            (sum(tree.reach[c] > 0.01 * tree.size for c in tree.children[k]) for p in paths for k in p[1:]), default=0
        )
        host = a if a >= 0 else b
        found.append(
            Pair(paths, host, reach, (tree.heads[i] + tree.heads[j]) / 2, (ends[0] + ends[1]) / 2, fan, leg, arm)
        )
    return found


def path_words(paths: tuple[list[int], list[int]]) -> list[int]:
    return [k for p in paths for k in p[:2]]


def _is_head(tree: Tree, i: int) -> bool:
    return tree.points(i).get("head", 0) >= 2.5 and not tree.side[i]


def _by_name(tree: Tree, path: Sequence[int], parts: tuple[str, ...]) -> float:
    """Points that a path's names give to the parts, clavicle and toe included."""
    extra = ("toe",) if parts is LEG else ("clavicle",)
    total = 0.0
    for part in parts + extra:
        total += max((tree.points(k).get(part, 0.0) for k in path), default=0.0)
    return total


def choose_up(tree: Tree, mirror: Mirror, pairs: Sequence[Pair], scene_up: Array) -> Array:
    """The figure's up (unit, square to the lateral): one of four directions, turned to the body where the body leans
    from all.
    """
    a = mirror.lateral
    first = scene_up - (scene_up @ a) * a
    if length_of(first) < 0.3:  # lying on its side
        flat = tree.heads - tree.heads.mean(0)
        flat = flat - (flat @ a)[:, None] * a
        first = np.linalg.svd(flat, full_matrices=False)[2][0]
    first = first / length_of(first)
    second = np.cross(a, first)
    mid = mirror.midline()
    feet = [
        k
        for k in range(len(tree.bones))
        if max(tree.points(k).get("foot", 0), tree.points(k).get("toe", 0)) >= 2 and tree.side[k]
    ]
    head = [k for k in range(len(tree.bones)) if _is_head(tree, k)]
    long = [p for p in pairs if p.length > 0.5 * max(q.length for q in pairs)]
    depths = [tree.depth(p.host) if p.host >= 0 else 0 for p in long]
    lowest = [p for p, d in zip(long, depths, strict=True) if d == min(depths)]

    risen = tree.heads[head].mean(0) - tree.heads[feet].mean(0) if feet and head else None
    middle = tree.heads[mid].mean(0) - np.mean([p.tip for p in pairs], axis=0) if mid and pairs else None

    def score(u: Array) -> float:
        total = 1.4 * float(u @ scene_up)
        if risen is not None:
            total += 3 * float(np.sign(risen @ u)) * _cosine(risen, u) ** 2
        if lowest:
            total += 1.6 * max(_cosine(p.start - p.tip, u) for p in lowest)
        if middle is not None:
            total += min(max(float(middle @ u / (0.25 * tree.size)), -1.0), 1.0)
        return total

    best = max((first, second, -first, -second), key=score)
    if lowest and mid:
        low = max(lowest, key=lambda p: (_cosine(p.start - p.tip, best), p.length))
        tops = tree.heads[mid] - low.start
        trunk = tops[np.argmax((tops * tops).sum(1))]
        legs = low.start - low.tip
        trunk, legs = (v - (v @ a) * a for v in (trunk, legs))
        # Both trunk and legs lean the same way from all four: the whole figure was turned.
        if min(length_of(trunk), length_of(legs)) > 0.1 * tree.size:
            trunk, legs = trunk / length_of(trunk), legs / length_of(legs)
            whole = (trunk + legs) / max(length_of(trunk + legs), 1e-9)
            if trunk @ legs > 0.96 and max(trunk @ best, legs @ best) < 0.96:
                best = whole
    return best / length_of(best)


def _cosine(a: Array, b: Array) -> float:
    length = length_of(a) * length_of(b)
    return float(a @ b) / length if length > 0 else 0.0


def legs_and_arms(tree: Tree, mirror: Mirror, pairs: Sequence[Pair], up: Array) -> tuple[list[Pair], Pair | None]:
    """(leg pairs, the hindmost first; the pair of arms or None). With two pairs of legs the one nearer the head comes
    second.
    """
    if not pairs:
        return [], None
    heights = tree.heads @ up
    floor = min(float(p.tip @ up) for p in pairs)
    ceiling = float(heights.max())
    tall = max(ceiling - floor, 1e-9)
    depths = [tree.depth(p.host) if p.host >= 0 else 0 for p in pairs]
    deepest = max(max(depths), 1)
    last = _midline_end(tree, mirror, up)

    def leg(p: Pair, depth: int) -> float:
        down = _cosine(p.tip - p.start, -up)
        return (
            0.8 * min(p.leg, 6.0)
            - 0.8 * min(p.arm, 6.0)
            + 1.5 * (ceiling - float(p.tip @ up)) / tall
            + down
            + 0.9 * (1 - depth / deepest)
            - 0.8 * (p.fan >= 4)
            - 1.2 * (p.host == last and len(pairs) > 1)
        )

    score = {id(p): leg(p, d) for p, d in zip(pairs, depths, strict=True)}
    ranked = sorted(pairs, key=lambda p: (-score[id(p)], p.paths[0][0]))
    first = ranked[0]
    if first.arm > first.leg + 2 or _cosine(first.tip - first.start, -up) < -0.3 and first.leg < 2:
        legs: list[Pair] = []
    else:
        legs = [first]
    rest = [p for p in ranked if p not in legs]
    for p in rest:
        grounded = (float(p.tip @ up) - floor) < 0.12 * tall and _cosine(p.tip - p.start, -up) > 0.5
        apart = p.host != first.host or length_of(p.start - first.start) > 0.15 * tree.size
        between = p.start - first.start
        level = abs(float(between @ up)) < 0.5 * length_of(between)  # a cat's front legs may well be called arms
        handed = (p.arm > p.leg + 1.5 or p.fan >= 4 and p.leg < 2) and not level
        if legs and grounded and apart and not handed and p.length > 0.4 * first.length:
            legs.append(p)
    rest = [p for p in rest if p not in legs]
    arms = None
    if rest and len(legs) < 3:
        lowest = min((float(p.start @ up) for p in rest), default=0.0)

        def arm(p: Pair) -> float:
            hair = p.host == last and float(p.start @ up) > lowest + 0.05 * tree.size
            return (
                min(p.arm, 9.0)
                - 0.8 * min(p.leg, 6.0)
                + 1.0 * (p.fan >= 3)
                + 2 * p.length / tree.size
                - 2.0 * hair
                + 0.2 * min(len(p.paths[0]), 4)
            )

        arms = max(rest, key=lambda p: (arm(p), -p.paths[0][0]))
        if arms.leg > arms.arm + 2 and legs:
            arms = None
    if len(legs) == 2 and arms is None:
        head = last if last >= 0 else None
        ends = [k for k in range(len(tree.bones)) if _is_head(tree, k)] or ([head] if head is not None else [])
        if ends:
            place = tree.heads[ends[0]]
            legs.sort(key=lambda p: (p.arm > p.leg + 2, -length_of(p.start - place)))
    return legs, arms


def _midline_end(tree: Tree, mirror: Mirror, up: Array) -> int:
    """The last midline bone of the trunk: the head, or the highest leaf."""
    mid = mirror.midline()
    heads = [k for k in mid if _is_head(tree, k)]
    if heads:
        return heads[0]
    own = {k for k in mid if not names.is_other(tree.words[k])}
    ends = [k for k in own if not any(c in own for c in tree.children[k]) and tree.parent[k] >= 0]
    return max(ends, key=lambda k: (float(tree.heads[k] @ up), -k), default=-1)
