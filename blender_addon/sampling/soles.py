# SPDX-License-Identifier: GPL-3.0-or-later
"""What the skin tells at rest: the underside of the feet, and how tall the figure stands."""

from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from ...core import body
from ...core.measures.sole import sole_of_vertices
from ...core.numeric.rotation import dot
from ...core.shot import Sole
from .armatures import Member
from .rigs import Rig
from .skeleton import armatures_of
from .skins import AT_ONCE
from .stands import Stands

Array = np.ndarray

#: A vertex belongs to the foot where more than this share of its weights is the foot's and the toe's.
SHARE = 0.5
FEWEST = 8


@dataclass(frozen=True)
class Skin:
    """A mesh on an armature: vertices (N, 3) at rest, world meters; ``bone`` where it hangs on one bone, else ''."""

    object: Any
    rig: Rig
    vertices: Array
    bone: str = ""


def skins_of(member: Member, worlds: Mapping[str, Array], unit: float, stands: Stands) -> list[Skin]:
    """The meshes that hang on the member's armatures, at rest under each armature's first sampled place (4, 4), by
    its name.
    """
    skins = []
    by_armature = {rig.object: rig for rig in member.rigs}
    objects: Any = bpy.data.objects  # any kind of data hangs on an object; only meshes are looked at
    for object in objects:
        if object.type != "MESH" or object.data is None or not len(object.data.vertices):
            continue
        rig = next((by_armature[a] for a in armatures_of(object) if a in by_armature), None)
        bone = ""
        if rig is None and object.parent in by_armature and object.parent_type == "BONE":
            rig, bone = by_armature[object.parent], object.parent_bone
        if rig is None:
            continue
        armature = rig.object
        place = np.array(stands.of(armature).inverted_safe() @ stands.of(object), float)
        if bone and bone not in armature.pose.bones:
            continue
        if bone and not stands.evaluated(armature):  # no pose to take the piece back from: its parenting tells
            own = armature.data.bones[bone]
            hung = own.matrix_local @ Matrix.Translation((0.0, own.length, 0.0))
            place = np.array(hung @ object.matrix_parent_inverse @ object.matrix_basis, float)
        elif bone:
            pose = np.array(armature.pose.bones[bone].matrix.inverted_safe(), float)
            place = np.array(armature.data.bones[bone].matrix_local, float) @ pose @ place
        place = worlds[rig.name] @ place
        local = np.empty(3 * len(object.data.vertices), np.float32)
        object.data.vertices.foreach_get("co", local)
        points = local.reshape(-1, 3).astype(float) @ place[:3, :3].T + place[:3, 3]
        if np.isfinite(points).all():
            skins.append(Skin(object, rig, points * unit, bone))
    return skins


def standing_of(member: Member, skins: Sequence[Skin]) -> float | None:
    """The extent of all skins along the figure's up, meters; None without a skin."""
    up = np.asarray(member.map.up, float)
    heights = [dot(skin.vertices, up) for skin in skins]
    return float(max(h.max() for h in heights) - min(h.min() for h in heights)) if heights else None


def soles_of(member: Member, skins: Sequence[Skin]) -> Generator[float, None, tuple[Sole, ...]]:
    """The soles that the skins show, one a foot at most; in steps of some vertices."""
    out = []
    for side in body.SIDES:
        foot = member.map.parts.get(f"foot.{side}")
        if foot is None or not skins:
            continue
        sole = yield from _sole(member, skins, side, foot)
        if sole is not None:
            out.append(sole)
    return tuple(out)


def _sole(member: Member, skins: Sequence[Skin], side: str, foot: int) -> Generator[float, None, Sole | None]:
    skeleton, parts = member.skeleton, member.map.parts
    toe = parts.get(f"toe.{side}")
    own = _carried(member, [foot] if toe is None else [foot, toe], parts.get(f"shin.{side}"))
    ankle, ball = skeleton.heads[foot], None if toe is None else skeleton.heads[toe]
    up = np.asarray(member.map.up, float)
    # Weights are slow to read: only vertices near the foot are asked for theirs.
    tall = float(np.ptp(skeleton.heads[list(parts.values())] @ up))
    reach = max(3.0 * float(np.linalg.norm((skeleton.tails[foot] if ball is None else ball) - ankle)), 0.15 * tall)
    found = []
    for skin in skins:
        bones = {skeleton.names[b] for b in own if skeleton.armatures[b] == skin.rig.name}
        if skin.bone:
            if skin.bone in bones:
                found.append(skin.vertices)
            continue
        groups = {g.index for g in skin.object.vertex_groups if g.name in bones}
        near = np.flatnonzero((np.abs(skin.vertices - ankle) < reach).all(1)) if groups else np.zeros(0, int)
        if near.size:
            for begin in range(0, len(near), AT_ONCE):
                found.append(skin.vertices[_weighted(skin.object, near[begin : begin + AT_ONCE], groups)])
                yield 0.0
    points = np.concatenate(found) if found else np.zeros((0, 3))
    if len(points) < FEWEST:
        return None
    return sole_of_vertices(side, points, ankle, ball, np.asarray(member.map.forward, float), up)


def _carried(member: Member, bones: Sequence[int], shin: int | None) -> set[int]:
    """These bones, the bones that start where they do, and all below them."""
    skeleton = member.skeleton
    size = 1e-3 * max(float(np.ptp(skeleton.heads, axis=0).max()), 1e-6)
    own = {
        int(i) for b in bones for i in np.flatnonzero(np.linalg.norm(skeleton.heads - skeleton.heads[b], axis=1) < size)
    }
    if shin is not None:
        own.discard(shin)
    children: dict[int, list[int]] = {}
    for i, parent in enumerate(skeleton.parents):
        children.setdefault(int(parent), []).append(i)
    mapped = set(member.map.parts.values()) - set(bones)
    waiting = list(own)
    while waiting:
        for child in children.get(waiting.pop(), ()):
            if child not in own and child not in mapped:
                own.add(child)
                waiting.append(child)
    return own


def _weighted(object: Any, rows: Array, groups: set[int]) -> Array:
    """Those of the vertices whose weights lie mostly in ``groups``."""
    vertices = object.data.vertices
    out = []
    for i in rows.tolist():
        mine = total = 0.0
        for entry in vertices[i].groups:
            weight = entry.weight
            total += weight
            if entry.group in groups:
                mine += weight
        if mine > SHARE * total:
            out.append(i)
    return np.array(out, int)
