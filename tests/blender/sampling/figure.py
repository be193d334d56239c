# SPDX-License-Identifier: GPL-3.0-or-later
"""A plain human rig to sample, and what Blender itself says about it: the oracle of these tests."""

from typing import Any

import bpy
import numpy as np

CENTRE = [
    ("root", None, (0, 0, 0), (0, -0.3, 0)),
    ("pelvis", "root", (0, 0, 0.95), (0, 0, 1.07)),
    ("spine", "pelvis", (0, 0, 1.07), (0, 0, 1.22)),
    ("chest", "spine", (0, 0, 1.22), (0, 0, 1.45)),
    ("neck", "chest", (0, 0, 1.45), (0, -0.01, 1.55)),
    ("head", "neck", (0, -0.01, 1.55), (0, -0.01, 1.78)),
]
LEFT = [
    ("clavicle", "chest", (0.02, 0, 1.42), (0.17, 0, 1.43)),
    ("upper_arm", "clavicle", (0.17, 0, 1.43), (0.19, 0.02, 1.13)),
    ("forearm", "upper_arm", (0.19, 0.02, 1.13), (0.20, -0.02, 0.87)),
    ("hand", "forearm", (0.20, -0.02, 0.87), (0.20, -0.04, 0.78)),
    ("thigh", "pelvis", (0.10, 0, 0.93), (0.10, -0.02, 0.50)),
    ("shin", "thigh", (0.10, -0.02, 0.50), (0.10, 0.02, 0.09)),
    ("foot", "shin", (0.10, 0.02, 0.09), (0.10, -0.12, 0.02)),
    ("toe", "foot", (0.10, -0.12, 0.02), (0.10, -0.19, 0.01)),
]


def rows() -> list[tuple[Any, ...]]:
    out: list[tuple[Any, ...]] = list(CENTRE)
    for side, s in (("L", 1), ("R", -1)):
        for name, parent, head, tail in LEFT:
            above = parent if parent in ("chest", "pelvis") else f"{parent}.{side}"
            out.append((f"{name}.{side}", above, (head[0] * s, *head[1:]), (tail[0] * s, *tail[1:])))
    return out


def figure(name: str = "Keeper", scene: Any = None) -> Any:
    """An armature object of 22 bones, 1.8 m tall, facing -Y."""
    scene = scene or bpy.context.scene
    data = bpy.data.armatures.new(name)
    rig = bpy.data.objects.new(name, data)
    scene.collection.objects.link(rig)
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    for bone, parent, head, tail in rows():
        b = data.edit_bones.new(bone)
        b.head, b.tail = head, tail
        b.parent = data.edit_bones.get(parent) if parent else None
    bpy.ops.object.mode_set(mode="OBJECT")
    for bone in rig.pose.bones:
        bone.rotation_mode = "XYZ"
    return rig


def key(rig: Any, bone: str, path: str, frame: float, value: tuple[float, float, float]) -> None:
    target = rig.pose.bones[bone] if bone else rig
    setattr(target, path, value)
    target.keyframe_insert(path, frame=frame)


def walk(rig: Any, last: int = 30) -> None:
    """Some motion everywhere, with keys on odd frames so that nothing repeats."""
    for f in range(1, last + 6, 5):
        t = f / 24
        key(rig, "root", "location", f, (0, 0.8 * t, 0))
        key(rig, "pelvis", "rotation_euler", f, (0.1 * np.sin(5 * t), 0.2 * np.sin(3 * t), 0))
        for side, s in (("L", 1), ("R", -1)):
            key(rig, f"thigh.{side}", "rotation_euler", f, (0.5 * s * np.sin(6 * t), 0.05, 0.1 * np.cos(4 * t)))
            key(rig, f"shin.{side}", "rotation_euler", f, (0.4 + 0.3 * s * np.cos(6 * t), 0, 0))
            key(rig, f"upper_arm.{side}", "rotation_euler", f, (-0.4 * s * np.sin(6 * t), 0.3, 0))


def bent_knee(backward: float = 0.7) -> Any:
    """A figure that stands still for 40 frames, its left knee bent the wrong way by about 40 degrees round frame 20."""
    scene = bpy.context.scene
    scene.frame_start, scene.frame_end = 1, 40
    rig = figure()
    bend_knee(rig, backward)
    for frame in (1, 40):
        key(rig, "shin.R", "rotation_euler", frame, (0.3, 0, 0))
    boots(rig)
    return rig


def bend_knee(rig: Any, backward: float) -> None:
    """The left knee turned so many radians the wrong way at frame 20, and back."""
    for frame, turn in ((1, 0.3), (14, 0.3), (20, -backward), (26, 0.3), (40, 0.3)):
        key(rig, "shin.L", "rotation_euler", frame, (turn, 0, 0))


def boots(rig: Any) -> Any:
    """A block a foot, weighted to foot and toe: heel 6 cm behind the ankle, sole on the floor."""
    points, groups = [], {}
    for side, s in (("L", 1), ("R", -1)):
        for y in np.linspace(0.08, -0.19, 12):
            for x in (0.06, 0.14):
                for z in (0.0, 0.06):
                    groups.setdefault(f"{'toe' if y < -0.12 else 'foot'}.{side}", []).append(len(points))
                    points.append((x * s, y, z))
    mesh = bpy.data.meshes.new("Boots")
    mesh.from_pydata(points, [], [(i, i + 1, i + 3, i + 2) for i in range(0, len(points) - 4, 4)])
    object = bpy.data.objects.new("Boots", mesh)
    bpy.context.scene.collection.objects.link(object)
    object.parent = rig
    for name, members in groups.items():
        object.vertex_groups.new(name=name).add(members, 1.0, "REPLACE")
    object.modifiers.new("Armature", "ARMATURE").object = rig
    return object


def box(name: str, lo: tuple[float, float, float], hi: tuple[float, float, float]) -> Any:
    """A mesh object with the corners lo and hi, in the scene."""
    points = [(x, y, z) for x in (lo[0], hi[0]) for y in (lo[1], hi[1]) for z in (lo[2], hi[2])]
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(points, [], [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)])
    object = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(object)
    return object


def blender_says(
    scene: Any, rig: Any, bones: tuple[str, ...], frames: Any, world: Any = None
) -> tuple[np.ndarray, np.ndarray]:
    """Heads and tails (F, P, 3), by setting the scene's frame and reading each bone: scene units."""
    heads, tails = [], []
    for frame in frames:
        scene.frame_set(int(np.floor(frame)), subframe=float(frame - np.floor(frame)))
        ev = rig.evaluated_get(bpy.context.evaluated_depsgraph_get())
        matrix = world(ev) if world else ev.matrix_world
        heads.append([matrix @ ev.pose.bones[b].head for b in bones])
        tails.append([matrix @ ev.pose.bones[b].tail for b in bones])
    return np.array(heads), np.array(tails)
