# SPDX-License-Identifier: GPL-3.0-or-later
"""Finds the parts of the body on a skeleton, from names and shape together, either of which may be missing.

The order of the steps and their numbers are measured: names.py and plane.py tell sides and mirror, tree.py the bones,
limbs.py legs, arms and joints, trunk.py the midline, facing.py front and back. docs/body_map.md has the table of rigs
it was tried on.
"""

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from .. import body
from . import names
from .copies import copies_of
from .facing import facing
from .joints import Joints, joints
from .limbs import ARM, LEG, Pair, choose_up, legs_and_arms, limb_pairs
from .plane import Mirror, find_plane
from .result import AGREED, BodyMap, BodyMapError
from .skeleton import Array, Skeleton, length_of
from .tree import Tree, choose, grow
from .trunk import find_trunk

__all__ = ["BodyMap", "BodyMapError", "find"]

_NOTHING: Mapping[str, str] = MappingProxyType({})


def find(skeleton: Skeleton, given: Mapping[str, str] = _NOTHING) -> BodyMap:
    """The body map of one character's skeleton.

    given: a card's part -> bone ('bone' or 'armature/bone'; '' = the character has none); it wins over what is found.
    Raises BodyMapError for an unknown part or bone.
    """
    fixed = _given(skeleton, given)
    raw = [names.fold(n) for n in skeleton.names]
    several = len(set(skeleton.armatures)) > 1
    side, partner, words = names.pair_sides(raw, skeleton.armatures if several else None)
    bones, how = choose(skeleton, words, raw, {b for b in fixed.values() if b is not None})
    tree = grow(skeleton, _spread(skeleton, bones), how, side, partner, words)
    scene_up = np.array(skeleton.up, float)
    mirror = find_plane(tree, scene_up)
    found = _Finder(tree, mirror, scene_up) if mirror is not None else None
    parts: dict[str, int] = {}
    reasons: dict[str, str] = {}
    warnings: list[str] = []
    up, forward = scene_up, _level(scene_up)
    human, legs = False, 0
    if found is not None:
        parts = {p: tree.bones[k] for p, k in found.parts.items()}
        reasons = {p: found.reason(p) for p in parts}
        warnings = found.warnings
        up, forward, human, legs = found.up, found.forward, found.human, found.legs
    for part, bone in fixed.items():
        for other in [p for p, b in parts.items() if b == bone and p not in fixed]:
            del parts[other], reasons[other]
        parts.pop(part, None)
        reasons.pop(part, None)
        if bone is not None:
            parts[part] = bone
            reasons[part] = "given by the card"
    parts = {p: parts[p] for p in body.PARTS if p in parts}
    if fixed and {"thigh.L", "thigh.R"} <= set(parts):
        human = human or (legs <= 2 and "pelvis" in parts)
        legs = max(legs, 2)
    reasons = {p: reasons[p] for p in parts}
    copies = {}
    for part, bone in parts.items():
        following = body.next_part(part)
        end = skeleton.heads[parts[following]] if following in parts else None
        copies[part] = copies_of(skeleton, bone, end, raw, _whole(skeleton, bone, parts.get(following or ""), words))
    return BodyMap(parts, reasons, up, forward, human, legs, tuple(warnings), copies)


def _given(sk: Skeleton, given: Mapping[str, str]) -> dict[str, int | None]:
    fixed: dict[str, int | None] = {}
    for part, name in given.items():
        if part not in body.PARTS:
            raise BodyMapError(f"the card's map names an unknown part '{part}'")
        if name == "":
            fixed[part] = None
            continue
        hits = sk.where(name)
        if not hits:
            raise BodyMapError(
                f"the card's map gives '{name}' for the {body.spoken(part)}, but the character has no bone of that name"
            )
        if len(hits) > 1:
            raise BodyMapError(
                f"the card's map gives '{name}' for the {body.spoken(part)}, but several armatures have that bone: "
                f"write '{sk.armatures[hits[0]]}/{name}'"
            )
        fixed[part] = hits[0]
    return fixed


def _spread(sk: Skeleton, bones: list[int]) -> list[int]:
    """The bones in an order that does not depend on the file's: by place, then by name."""
    if not bones:
        return bones
    places = sk.heads[bones]
    size = float(np.ptp(places, axis=0).max()) or 1.0
    near = np.round((places - places.mean(0)) / size, 6) + 0.0
    return [
        bones[k]
        for k in sorted(range(len(bones)), key=lambda k: (sk.names[bones[k]], sk.armatures[bones[k]], *near[k]))
    ]


def _level(up: Array) -> Array:
    """Some direction square to up: what a figure without a body is said to face (-y under z up, as Blender's front
    view has it).
    """
    first = np.array([0.0, -1.0, 0.0])
    flat = first - (first @ up) * up
    return flat / length_of(flat) if length_of(flat) > 0.1 else np.array([1.0, 0.0, 0.0])


def _whole(sk: Skeleton, bone: int, following: int | None, words: list[tuple[str, ...]]) -> bool:
    """Whether the bone is no split part: it reaches the next joint, or most of the way to a link of another name (a
    wrist).
    """
    if following is None:
        return True
    span = length_of(sk.heads[following] - sk.heads[bone])
    between: list[int] = []
    p = int(sk.parents[following])
    while p >= 0 and p != bone and len(between) < len(sk):
        between.append(p)
        p = int(sk.parents[p])
    if p == bone:
        if not between:
            return True
        first = between[-1]
        stem = [t for t in words[bone] if not t.isdigit()]
        reached = length_of(sk.heads[first] - sk.heads[bone])
        return reached >= 0.98 * span or (
            reached >= 0.6 * span and [t for t in words[first] if not t.isdigit()] != stem
        )
    own = sk.tails[bone] - sk.heads[bone]
    onward = sk.heads[following] - sk.heads[bone]
    return bool(own @ onward >= 0.6 * span**2 and length_of(own) <= 1.4 * span)


class _Finder:
    """One run over a tree with a mirror; results are its attributes."""

    def __init__(self, tree: Tree, mirror: Mirror, scene_up: Array) -> None:
        self.tree, self.mirror = tree, mirror
        self.parts: dict[str, int] = {}
        self.by_shape: set[str] = set()
        self.warnings: list[str] = []
        pairs = limb_pairs(tree, mirror)
        self.up = choose_up(tree, mirror, pairs, scene_up)
        legs, arms = legs_and_arms(tree, mirror, pairs, self.up)
        self.legs = 2 * len(legs)
        front = legs[1] if len(legs) > 1 and arms is None else None
        self._limb(legs[0] if legs else None, LEG, "toe", "")
        self._limb(front or arms, ARM, "", "clavicle", front is not None)
        self._trunk(legs[0] if legs else None, front or arms, len(legs) == 1)
        self._facing(legs, front)
        if len(legs) > 2:
            self.warnings.append(f"{self.legs} legs were counted; only the first two pairs have names for their parts")
        self.human = len(legs) == 1 and "pelvis" in self.parts and not (arms is None and "head" not in self.parts)

    def _limb(
        self, pair: Pair | None, parts: tuple[str, ...], after: str, before: str, front_leg: bool = False
    ) -> None:
        if pair is None:
            return
        tree = self.tree
        left, right = pair.paths
        both = joints(tree, self.mirror, (left, right), parts, front_leg) if len(left) == len(right) else None
        for letter, path in zip("LR", pair.paths, strict=True):
            j = both or joints(tree, self.mirror, (path,), parts, front_leg)
            if j is None:
                continue
            for part, at in zip(parts, (j.root, j.middle, j.end), strict=True):
                if at < len(path):
                    self._set(f"{part}.{letter}", path[at], j.by_shape)
            if after and j.end + 1 < len(path):
                self._set(f"{after}.{letter}", self._toe(path, j), j.by_shape)
            if before and j.root > 0:
                self._set(f"{before}.{letter}", self._clavicle(path[: j.root]), j.by_shape)

    def _toe(self, path: list[int], j: Joints) -> int:
        rest = path[j.end + 1 :]
        return max(rest[:2], key=lambda k: (self.tree.points(k).get("toe", 0) >= 2, -rest.index(k)))

    def _clavicle(self, links: list[int]) -> int:
        return max(links, key=lambda k: (self.tree.points(k).get("clavicle", 0), links.index(k)))

    def _set(self, part: str, bone: int, by_shape: bool) -> None:
        self.parts[part] = bone
        if by_shape:
            self.by_shape.add(part)

    def _trunk(self, legs: Pair | None, arms: Pair | None, upright: bool) -> None:
        tree = self.tree
        taken = set(self.parts.values())
        thighs = [self.parts[f"thigh.{s}"] for s in "LR" if f"thigh.{s}" in self.parts]
        hips = tree.heads[thighs].mean(0) if thighs else tree.heads[tree.order[0]]
        trunk, shape = find_trunk(
            tree, self.mirror, self.up, hips, legs.host if legs else -1, arms.host if arms else -1, taken, upright
        )
        self.parts.update(trunk)
        self.by_shape |= shape

    def _facing(self, legs: list[Pair], front: Pair | None) -> None:
        tree, feet, knees = self.tree, [], []
        for letter in "LR":
            hip, knee, ankle, toe = (self.parts.get(f"{p}.{letter}") for p in ("thigh", "shin", "foot", "toe"))
            if ankle is not None:
                feet.append((tree.heads[toe] if toe is not None else tree.ends[ankle]) - tree.heads[ankle])
                if hip is not None and knee is not None:
                    a, b, c = tree.heads[[hip, knee, ankle]]
                    along = c - a
                    knees.append(b - a - along * float((b - a) @ along) / max(float(along @ along), 1e-12))
        extra = None if front is None or not legs else front.start - legs[0].start
        lateral = self.mirror.lateral
        if front is not None:
            knees = []
        self.forward, turned, against = facing(lateral, self.up, feet, knees, extra, self.mirror.named)
        if turned:
            self.parts = {body.mirror(p): k for p, k in self.parts.items()}
            self.by_shape = {body.mirror(p) for p in self.by_shape}
        if against:
            self.warnings.append(
                "the names say left and right the other way round than the feet point; the names were kept, "
                "and the front is where the feet point"
            )

    def reason(self, part: str) -> str:
        """Why this bone, for a rigger."""
        k = self.parts[part]
        said = self.tree.points(k).get(body.base(part), 0.0)
        if said >= 1.0 and part in self.by_shape:
            return AGREED
        if said >= 1.0:
            return "named so; shape alone would take another bone"
        return (
            "by shape; its name says nothing" if not self.tree.points(k) else "by shape; its name may mean another part"
        )
