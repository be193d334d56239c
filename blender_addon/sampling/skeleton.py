# SPDX-License-Identifier: GPL-3.0-or-later
"""Armature objects -> the rest skeleton that the body map looks at."""

from collections.abc import Iterable, Sequence
from math import gcd
from typing import Any

import bpy
import numpy as np

from ...core.body_map.skeleton import Skeleton

#: Vertices read per mesh: first this many, evenly strewn; then, while a group was not met yet, up to the second number.
#: The body map asks only whether a bone has weight at all; reading weights is slow.
STREWN, AT_MOST = 300, 12_000


def skeleton_of(
    objects: Sequence[Any],
    unit_scale: float = 1.0,
    *,
    worlds: Sequence[Any] | None = None,
    meshes: Iterable[Any] | None = None,
    labels: Sequence[str] | None = None,
) -> Skeleton:
    """The rest pose of all bones of the armature ``objects`` (bpy.types.Object), merged, in world meters.

    unit_scale: meters per scene unit. worlds: the armatures' world matrices (4x4), by default as the objects stand now.
    meshes: mesh objects that may hang on these armatures, by default all of the file. labels: what each armature is
    called in the skeleton, by default its object's name, which two linked files may both have given.
    """
    names: list[str] = []
    armatures: list[str] = []
    parents: list[int] = []
    blocks: list[tuple[np.ndarray, ...]] = []
    index: list[dict[str, int]] = []
    for k, object in enumerate(objects):
        bones = object.data.bones
        start = len(names)
        own = {name: start + i for i, name in enumerate(bones.keys())}
        index.append(own)
        names.extend(own)
        armatures.extend([object.name if labels is None else labels[k]] * len(own))
        parents.extend(own[b.parent.name] if b.parent else -1 for b in bones)
        blocks.append(_rest(bones, object.matrix_world if worlds is None else worlds[k], unit_scale))
    by_object = dict(zip(objects, index, strict=True))
    for object in objects:
        above = _carrier(object, by_object)
        if above >= 0:
            for i in by_object[object].values():
                parents[i] = above if parents[i] < 0 else parents[i]
    weight = np.zeros(len(names))
    for mesh, own in _skins(bpy.data.objects if meshes is None else meshes, by_object):
        _add_weights(mesh, own, weight)
    joined = (
        [np.concatenate(column) for column in zip(*blocks, strict=True)]
        if blocks
        else [np.zeros((0, 3)), np.zeros((0, 3)), np.zeros((0, 3, 3)), np.zeros(0, bool)]
    )
    return Skeleton(
        tuple(names),
        tuple(armatures),
        np.array(parents, int),
        joined[0],
        joined[1],
        joined[2],
        joined[3],
        weight,
        tuple(sorted(_goals(objects, by_object))),
    )


def _rest(bones: Any, world: Any, unit_scale: float) -> tuple[np.ndarray, ...]:
    """heads, tails (n, 3), axes (n, 3, 3), deform (n,) of one armature, in world meters."""
    n = len(bones)
    local = np.empty(n * 16, np.float32)
    tails = np.empty(n * 3, np.float32)
    deform = np.empty(n, bool)
    bones.foreach_get("matrix_local", local)
    bones.foreach_get("tail_local", tails)
    bones.foreach_get("use_deform", deform)
    place = np.array(world, float)
    matrices = place @ local.reshape(n, 4, 4).transpose(0, 2, 1).astype(float)
    lengths = np.linalg.norm(matrices[:, :3, :3], axis=1, keepdims=True)
    axes = matrices[:, :3, :3] / np.where(lengths > 0, lengths, 1)
    ends = tails.reshape(n, 3).astype(float) @ place[:3, :3].T + place[:3, 3]
    return matrices[:, :3, 3] * unit_scale, ends * unit_scale, axes, deform


def _carrier(object: Any, by_object: dict[Any, dict[str, int]]) -> int:
    """The bone of another armature that carries this armature object, by parent or constraint; -1 where none does."""
    if object.parent is not None and object.parent_type == "BONE" and object.parent in by_object:
        return by_object[object.parent].get(object.parent_bone, -1)
    for constraint in object.constraints:
        target = getattr(constraint, "target", None)
        if constraint.mute or constraint.type not in {"CHILD_OF", "COPY_TRANSFORMS", "COPY_LOCATION"}:
            continue
        if target is not None and target != object and target in by_object:
            return by_object[target].get(constraint.subtarget, -1)
    return -1


def armatures_of(mesh: Any) -> list[Any]:
    """The armature objects that bend this mesh object, by modifier or by armature parenting."""
    found = [m.object for m in mesh.modifiers if m.type == "ARMATURE" and m.object is not None]
    if mesh.parent is not None and mesh.parent_type == "ARMATURE" and mesh.parent.type == "ARMATURE":
        found.append(mesh.parent)
    return list(dict.fromkeys(found))


def _skins(objects: Iterable[Any], by_object: dict[Any, dict[str, int]]) -> Iterable[tuple[Any, dict[str, int]]]:
    for mesh in objects:
        if mesh.type != "MESH":
            continue
        if mesh.parent is not None and mesh.parent_type == "BONE" and mesh.parent in by_object:
            yield mesh, {"": by_object[mesh.parent].get(mesh.parent_bone, -1)}
        for armature in armatures_of(mesh):
            if armature in by_object:
                yield mesh, by_object[armature]


def _add_weights(mesh: Any, bones: dict[str, int], weight: np.ndarray) -> None:
    """Adds the mesh's summed weights to the bones; strewn vertices stand for all where there are many."""
    vertices = mesh.data.vertices
    n = len(vertices)
    if "" in bones:  # a rigid piece hung on one bone
        if bones[""] >= 0:
            weight[bones[""]] += n
        return
    bone_of = {g.index: bones[g.name] for g in mesh.vertex_groups if g.name in bones}
    if not n or not bone_of:
        return
    # A stride prime to n strews any first part of the walk evenly over the mesh.
    stride = next(s for s in range(max(1, int(n * 0.618)), n + 2) if gcd(s, n) == 1)
    sums = dict.fromkeys(bone_of, 0.0)
    unseen = len(sums)
    read = at = 0
    while read < n and (read < STREWN or (unseen and read < AT_MOST)):
        for entry in vertices[at].groups:
            group = entry.group
            if group in sums:
                value = entry.weight
                if value > 0:
                    if sums[group] == 0:
                        unseen -= 1
                    sums[group] += value
        at = (at + stride) % n
        read += 1
    for group, total in sums.items():
        weight[bone_of[group]] += total * n / read


def _goals(objects: Sequence[Any], by_object: dict[Any, dict[str, int]]) -> set[int]:
    found: set[int] = set()
    for object in objects:
        if object.pose is None:
            continue
        for bone in object.pose.bones:
            for c in bone.constraints:
                if c.type == "IK":
                    for target, sub in ((c.target, c.subtarget), (c.pole_target, c.pole_subtarget)):
                        if target is not None and target in by_object and sub in by_object[target]:
                            found.add(by_object[target][sub])
    return found
