# SPDX-License-Identifier: GPL-3.0-or-later
"""The trunk: pelvis, spine, chest, neck and head along the midline (step 9 of the recipe)."""

from collections.abc import Sequence

import numpy as np

from . import names
from .plane import Mirror
from .skeleton import Array, length_of
from .tree import Tree


def find_trunk(
    tree: Tree, mirror: Mirror, up: Array, hips: Array, hip_host: int, arm_host: int, taken: set[int], upright: bool
) -> tuple[dict[str, int], set[str]]:
    """Parts of the trunk, and those of them that shape alone would take too.

    hips (3,): middle of the thighs' heads. hip_host, arm_host: bones that legs and arms hang from, -1 for none.
    taken: bones that are already limbs. upright: the trunk stands (two legs) rather than lies.
    """
    mid = [k for k in mirror.midline() if k not in taken and not names.is_other(tree.words[k])]
    if not mid:
        return {}, set()
    own = set(mid)
    line = _line(tree, own, up, hip_host, arm_host)
    parts: dict[str, int] = {}
    shape: dict[str, int] = {}

    def near(k: int) -> float:
        return length_of(tree.heads[k] - hips)

    low = [k for k in line if near(k) < 0.25 * tree.size] or line[:1]
    plain = [k for k in low if "spine" not in tree.points(k) and "chest" not in tree.points(k)]
    by_name = [k for k in plain if tree.points(k).get("pelvis", 0) >= 1.5]
    shape["pelvis"] = (
        hip_host if hip_host in own else min(low, key=lambda k: (round(near(k) / tree.size, 3), -tree.count[k]))
    )
    if by_name:
        parts["pelvis"] = min(by_name, key=lambda k: (-tree.points(k)["pelvis"], near(k)))
    else:
        choice = [k for k in plain if near(k) < 0.12 * tree.size]
        parts["pelvis"] = shape["pelvis"] if shape["pelvis"] in plain or not choice else min(choice, key=near)
    pelvis = parts["pelvis"]
    trunk = line[line.index(pelvis) + 1 :] if pelvis in line else [k for k in line if k != pelvis]
    above = trunk
    if arm_host in trunk:
        chest = arm_host
        while "neck" in tree.points(chest) or tree.points(chest).get("head", 0) > 2:  # collar bones hung from the neck
            at = trunk.index(chest)
            if at == 0:
                break
            chest = trunk[at - 1]
        shape["chest"] = arm_host
        parts["chest"] = chest
        at = trunk.index(chest)
        between, above = trunk[:at], trunk[at + 1 :]
        if between:
            shape["spine"] = between[(len(between) - 1) // 2]
            parts["spine"] = max(
                between, key=lambda k: (tree.points(k).get("spine", 0) >= 1, k == shape["spine"], -between.index(k))
            )
    else:
        above, between = _unarmed(tree, trunk)
        named = [k for k in between if tree.points(k).get("chest", 0) >= 2]
        if named:
            parts["chest"] = named[-1]
            between = [k for k in between if k not in named]
        spines = [k for k in between if tree.points(k).get("spine", 0) >= 1]
        if spines:
            parts["spine"] = spines[len(spines) // 2 if named else 0]
        elif between and not named:
            parts["spine"] = between[0]
    if upright:  # what hangs from the hips backward or down is a tail or a coat, unless it is named
        floor = float(hips @ up) + 0.12 * tree.size
        above = [k for k in above if float(tree.heads[k] @ up) > floor or tree.points(k)]
        above = _risen(tree, above, up)
    _neck_and_head(tree, mirror, above, parts, shape)
    return parts, {p for p, k in parts.items() if shape.get(p) == k}


def _line(tree: Tree, own: set[int], up: Array, hip_host: int, arm_host: int) -> list[int]:
    """The midline from the root to the head: through the arms' bone, and on by the named or most reaching midline
    child.
    """
    # The top is the head by name, else the farthest end above the arms (a tail and a pelvis' other children are below
    # them).
    heads = [k for k in own if tree.points(k).get("head", 0) >= 2]

    def goodness(k: int) -> tuple[float, ...]:
        through = tree.above(k)
        return (
            float(arm_host in through) if arm_host in own else 0.0,
            float(k in heads),
            float(hip_host in through) if hip_host in own else 0.0,
            float(tree.heads[k] @ up) + 0.3 * len(through) * 0.01 * tree.size,
        )

    ends = [k for k in own if k in heads or not any(c in own for c in tree.children[k])]
    if heads:
        ends = [k for k in ends if k in heads]
    top = max(ends, key=lambda k: (goodness(k), -tree.depth(k), -k))
    line = [k for k in reversed(tree.above(top)) if k in own]
    kids = [c for c in tree.children[top] if c in own and top not in heads]
    while kids:
        top = max(kids, key=lambda k: tree.reach[k])
        line.append(top)
        kids = [c for c in tree.children[top] if c in own]
    if (
        arm_host in own and arm_host not in line
    ):  # arms hang from a side branch: take the branch when it is above the pelvis
        branch = [k for k in reversed(tree.above(arm_host)) if k in own]
        common = [k for k in branch if k in line]
        if common and line.index(common[-1]) < len(line) - 1:
            rest = line[line.index(common[-1]) + 1 :]
            line = branch + [k for k in rest if float((tree.heads[k] - tree.heads[arm_host]) @ up) > 0]
    return line


def _unarmed(tree: Tree, trunk: Sequence[int]) -> tuple[list[int], list[int]]:
    """(neck and head, between) of a trunk without arms: by name, else the last bone is the head."""
    for at, k in enumerate(trunk):
        p = tree.points(k)
        if p.get("neck", 0) >= 2 or p.get("head", 0) >= 2:
            return list(trunk[at:]), list(trunk[:at])
    return list(trunk[-1:]), list(trunk[:-1])


def _neck_and_head(
    tree: Tree, mirror: Mirror, above: Sequence[int], parts: dict[str, int], shape: dict[str, int]
) -> None:
    above = [k for k in above if not names.is_leaf(tree.words[k])]
    if not above:
        return
    crowded = [k for k in above if len([c for c in tree.children[k] if mirror.partner[c] != c]) >= 2]
    last = above[-1]
    if crowded:
        shape["head"] = crowded[-1]
    elif len(above) >= 3 and not tree.children[last] and _ends_it(tree, above):
        shape["head"] = above[-2]
    else:
        shape["head"] = last
    said = [k for k in above if tree.points(k).get("head", 0) >= 2]
    necks = [k for k in above if tree.points(k).get("neck", 0) >= 2]
    if said:
        parts["head"] = max(said, key=lambda k: (tree.points(k)["head"], -above.index(k)))
    elif shape["head"] not in necks:
        parts["head"] = shape["head"]
    else:
        after = above[above.index(shape["head"]) + 1 :]
        if after:
            parts["head"] = after[0]
    if "head" not in parts and any(names.is_other(tree.words[c]) for c in tree.children[above[-1]]):
        parts["head"] = above[-1]  # whatever it is called: hat, hair or face hang from it
    upto = above[: above.index(parts["head"])] if "head" in parts else above
    if upto:
        shape["neck"] = upto[0]
        parts["neck"] = next((k for k in upto if k in necks), upto[0])


def _risen(tree: Tree, above: list[int], up: Array) -> list[int]:
    """The line without what hangs from its top: hair falls."""
    kept: list[int] = []
    for at, k in enumerate(above):
        onward = (tree.heads[above[at + 1]] if at + 1 < len(above) else tree.ends[k]) - tree.heads[k]
        falls = float(onward @ up) < -0.3 * length_of(onward)
        if kept and falls and not tree.points(k):
            break
        kept.append(k)
    return kept


def _ends_it(tree: Tree, above: Sequence[int]) -> bool:
    """Whether the last bone only ends the one before it: a leaf at a head's length above it, no shorter than the
    neck.
    """
    places = tree.heads[list(above)]
    steps = np.linalg.norm(np.diff(places, axis=0), axis=1)
    return bool(steps[-1] > 1.2 * np.mean(steps[:-1]))
