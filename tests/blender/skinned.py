# SPDX-License-Identifier: GPL-3.0-or-later
"""Armatures under one skin of round pods, in Blender: figures with outlines, each part wholly on its bone."""

from collections.abc import Mapping
from typing import Any

import bpy
import numpy as np
from mathutils import Vector
from plumbline.core import body
from plumbline.core.testing.pods import Mesh

Array = np.ndarray


def solid(scene: Any, name: str, mesh: Mesh) -> Any:
    """A mesh object of these vertices and faces, in the scene."""
    places, faces = mesh
    data = bpy.data.meshes.new(name)
    data.from_pydata(places.tolist(), [], faces)
    made = bpy.data.objects.new(name, data)
    scene.collection.objects.link(made)
    return made


def armature(scene: Any, name: str, bones: Mapping[str, tuple[Array, Array]]) -> Any:
    """An armature whose bones have the parts' own names; each hangs on the nearest part above that there is.

    bones: part -> head (3,) and tail (3,); a bone shorter than a millimeter becomes one of 5 cm, upright.
    """
    data = bpy.data.armatures.new(name)
    rig = bpy.data.objects.new(name, data)
    scene.collection.objects.link(rig)
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    for part in sorted(bones, key=body.PARTS.index):
        bone = data.edit_bones.new(part)
        start, stop = (Vector(p) for p in bones[part])
        bone.head, bone.tail = start, stop if (stop - start).length > 1e-3 else start + Vector((0, 0, 0.05))
        over = above(part, bones)
        if over:
            bone.parent = data.edit_bones[over]
    bpy.ops.object.mode_set(mode="OBJECT")
    return rig


def above(part: str, parts: Any) -> str | None:
    """The nearest body part above that is among the parts."""
    over = body.parent(part)
    while over is not None and over not in parts:
        over = body.parent(over)
    return over


def skin(scene: Any, rig: Any, pods: Mapping[str, Mesh]) -> Any:
    """One mesh of all pods on the armature. pods: part -> its vertices at rest and faces."""
    places: list[Array] = []
    faces: list[tuple[int, ...]] = []
    owner: dict[str, list[int]] = {}
    for part, (own, quads) in pods.items():
        start = sum(len(p) for p in places)
        owner[part] = list(range(start, start + len(own)))
        faces += [tuple(start + v for v in quad) for quad in quads]
        places.append(own)
    made = solid(scene, f"{rig.name} skin", (np.concatenate(places), faces))
    for part, ids in owner.items():
        made.vertex_groups.new(name=part).add(ids, 1.0, "REPLACE")
    made.modifiers.new("Armature", "ARMATURE").object = rig
    made.parent = rig
    return made
