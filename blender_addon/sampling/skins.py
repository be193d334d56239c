# SPDX-License-Identifier: GPL-3.0-or-later
"""Which mesh hangs on which character, and which group of its body parts carries each vertex."""

from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core.measures.kiss_pairs import GROUPS
from .armatures import Member

Array = np.ndarray

#: Vertices whose weights one step reads.
AT_ONCE = 6_000
#: Types of objects that have a surface in a render.
SOLID = ("MESH", "CURVE", "SURFACE", "META", "FONT")

#: Bones whose both ends lie this near to a mapped bone, as a share of the skeleton's size, are a copy of it or a piece
#: of it.
COPY = 0.02


@dataclass(frozen=True)
class Body:
    """One solid object, as it stands in the scene. carriers: what instances it, outermost first, with their offsets."""

    object: Any
    carriers: tuple[tuple[Any, Any], ...] = ()

    @property
    def key(self) -> tuple[int, ...]:
        return (self.object.session_uid, *(carrier.session_uid for carrier, _ in self.carriers))


def shown(scene: Any) -> dict[int, Any]:
    """session_uid -> object, of all objects of the scene that a render shows to the camera."""
    found: dict[int, Any] = {}

    def walk(layer: Any) -> None:
        if layer.exclude or layer.collection.hide_render:
            return
        for object in layer.collection.objects:
            if not object.hide_render and object.visible_camera:
                found[object.session_uid] = object
        for inner in layer.children:
            walk(inner)

    for layer in scene.view_layers:
        if layer.use:
            walk(layer.layer_collection)
    return found


def solids(objects: Iterable[Any], carriers: tuple[tuple[Any, Any], ...] = ()) -> Iterator[Body]:
    """The solid bodies among objects, and those that they instance by collections."""
    for object in objects:
        if object.type in SOLID:
            yield Body(object, carriers)
        if object.instance_type == "COLLECTION" and object.instance_collection is not None and len(carriers) < 8:
            collection = object.instance_collection
            inner = [o for o in collection.all_objects if not o.hide_render and o.visible_camera]
            yield from solids(inner, (*carriers, (object, collection.instance_offset.copy())))


def skins_of(member: Member, bodies: Iterable[Body]) -> list[tuple[Body, str]]:
    """The bodies that hang on a member's armatures, each with the bone that it rides on ('armature/bone'), '' for a
    skin."""
    rigs = {rig.object.session_uid for rig in member.rigs}
    carriers = tuple(carrier.session_uid for carrier, _ in member.rigs[0].carriers)
    found = []
    for body in bodies:
        if tuple(carrier.session_uid for carrier, _ in body.carriers) == carriers:
            bone = _hangs_on(body.object, rigs)
            if bone is not None:
                found.append((body, bone))
    return found


def _hangs_on(object: Any, rigs: set[int]) -> str | None:
    """'' where an armature deforms it or carries it as a whole, 'armature/bone' where it rides on a bone, None where
    neither."""
    for modifier in object.modifiers:
        if modifier.type == "ARMATURE" and modifier.object is not None and modifier.object.session_uid in rigs:
            return ""
    for constraint in object.constraints:
        target = getattr(constraint, "target", None)
        if (
            constraint.type in ("CHILD_OF", "COPY_TRANSFORMS")
            and not constraint.mute
            and target is not None
            and target.session_uid in rigs
            and constraint.subtarget
        ):
            return f"{target.name}/{constraint.subtarget}"
    parent = object.parent
    if parent is None:
        return None
    if parent.session_uid in rigs:
        return f"{parent.name}/{object.parent_bone}" if object.parent_type == "BONE" else ""
    return _hangs_on(parent, rigs)


class Carriers:
    """Which group of body parts each bone of a member belongs to. groups: names of those that have a part, of core's
    GROUPS or of what is given."""

    def __init__(self, member: Member, groups: Mapping[str, Sequence[str]] = GROUPS) -> None:
        skeleton, parts = member.skeleton, member.map.parts
        self._all = groups
        self.groups = tuple(name for name, of in groups.items() if any(p in parts for p in of))
        self._group_of_bone = self._spread(member)
        self.by_name = {
            f"{a}/{n}": int(g) for a, n, g in zip(skeleton.armatures, skeleton.names, self._group_of_bone, strict=True)
        }
        self._first = {name.partition("/")[2]: g for name, g in reversed(self.by_name.items())}

    def of(self, armature: str, bone: str) -> int | None:
        """Index into ``groups``; None for a bone of none of the member's armatures."""
        return self.by_name.get(f"{armature}/{bone}", self._first.get(bone))

    def _spread(self, member: Member) -> Array:
        """A copy or piece of a mapped bone belongs to it, any other bone to what its parent belongs to, else to the
        nearest."""
        skeleton = member.skeleton
        mapped = [
            (bone, self.groups.index(name))
            for name, of in self._all.items()
            if name in self.groups
            for part, bone in member.map.parts.items()
            if part in of
        ]
        bones, groups = np.array([b for b, _ in mapped]), np.array([g for _, g in mapped])
        start, stop = skeleton.heads[bones], skeleton.tails[bones]
        size = float(np.ptp(np.concatenate([start, stop]), axis=0).max()) or 1.0
        apart = np.maximum(_distance(skeleton.heads, start, stop), _distance(skeleton.tails, start, stop))
        middle = _distance((skeleton.heads + skeleton.tails) / 2.0, start, stop)
        out = np.where(apart.min(axis=1) < COPY * size, groups[apart.argmin(axis=1)], -1)
        out[bones] = groups
        for bone in range(len(out)):
            chain: list[int] = []
            above = bone
            while above >= 0 and out[above] < 0 and len(chain) < len(out):
                chain.append(above)
                above = int(skeleton.parents[above])
            if chain:
                out[chain] = out[above] if above >= 0 and out[above] >= 0 else groups[middle[chain].argmin(axis=1)]
        return out


def _distance(points: Array, start: Array, stop: Array) -> Array:
    """(N, M) from points (N, 3) to segments (M, 3)."""
    along = stop - start
    offset = points[:, None] - start[None]
    t = np.clip((offset * along).sum(axis=2) / np.maximum((along * along).sum(axis=1), 1e-12), 0.0, 1.0)
    out: Array = np.linalg.norm(offset - along[None] * t[..., None], axis=2)
    return out


def group_of_vertices(
    object: Any, mesh: Any, carriers: Carriers, armatures: tuple[str, ...]
) -> Generator[None, None, Array]:
    """(n,) index into ``carriers.groups`` of the group whose bones hold the largest summed weight; -1 where none holds
    any. In steps of some vertices."""
    of_group = []
    for group in object.vertex_groups:
        known = (carriers.of(armature, group.name) for armature in armatures)
        of_group.append(next((g for g in known if g is not None), -1))
    count = len(mesh.vertices)
    total = np.zeros((count, len(carriers.groups) + 1))
    for begin in range(0, count if of_group else 0, AT_ONCE):
        some = mesh.vertices[begin : begin + AT_ONCE]
        # One flat list: a tuple for each weight takes twice as long.
        read = [v for i, vertex in enumerate(some, begin) for g in vertex.groups for v in (i, g.group, g.weight)]
        if not read:
            continue
        columns = np.array(read).reshape(-1, 3)
        number = columns[:, 1].astype(int)
        known_group = number < len(of_group)
        column = np.array(of_group)[number[known_group]]
        part = total[begin : begin + len(some)]
        cell = (columns[known_group, 0].astype(int) - begin) * part.shape[1] + column % part.shape[1]
        part += np.bincount(cell, columns[known_group, 2], part.size).reshape(part.shape)
        yield
    total = total[:, :-1]
    out: Array = np.where(total.max(axis=1) > 0.0, total.argmax(axis=1), -1)
    return out
