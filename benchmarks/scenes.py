# SPDX-License-Identifier: GPL-3.0-or-later
"""The scenes on which speed is measured, built from closed forms: no random number, so two builds play the same motion.

light    one keeper keyed in FK, 25 bones, a skin of 1,200 vertices, 240 frames, a key every 4 frames
rigify   a generated Rigify human with IK controls keyed every 6 frames, a skin of 50,000 vertices under subdivision,
         19 buoys and a lantern of 20,000 vertices each under modifiers, 300 frames
crowd    20 keepers as in light with skins of 2,000 vertices, 1,000 frames, a key every 8 frames
throng   crowd's first 100 frames: in its picture the figures pass each other all the time, and so do their outlines
long     one keeper, 10,000 frames, a linear key on every frame, as a bake leaves them

The motion is like a walk; it is there to cost what a walk costs, not to be looked at.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi
from typing import Any

import bpy
import numpy as np
from plumbline.blender_addon.compat import curves_of
from plumbline.core.testing.puppet import adult

Array = np.ndarray

FPS = 24
#: Bones with one degree of freedom; they turn by Euler angles, all others by quaternions.
HINGES = ("forearm", "shin", "toe", "fingers", "jaw")
#: Meters between the middle of the head and the lantern that kisses its outline.
BESIDE = 0.187
#: Radians by which the camera looks aside.
YAW = 0.25
#: Meters a second at which the keepers walk, all toward -Y.
PACE = 1.2


@dataclass(frozen=True)
class Size:
    """How much of a scene is built: its frames, figures, vertices of a skin, other meshes and vertices of each."""

    frames: int
    figures: int = 1
    skin: int = 1_200
    meshes: int = 0
    mesh: int = 20_000


FULL = {
    "light": Size(240),
    "rigify": Size(300, skin=50_000, meshes=20),
    "crowd": Size(1_000, figures=20, skin=2_000),
    "throng": Size(100, figures=20, skin=2_000),
    "long": Size(10_000),
}


def build(name: str, size: Size | None = None, kissing: float = 0.0) -> Any:
    """Builds one scene in an empty file and returns it. kissing: the share of the frames, from the first on, during
    which rigify's lantern hangs at the edge of the head in the picture; for the rest it is far above it."""
    size = size or FULL[name]
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    scene.render.fps, scene.render.fps_base = FPS, 1.0
    scene.frame_start, scene.frame_end = 1, size.frames
    if name == "rigify":
        _rigify(scene, size, kissing)
    else:
        _keepers(scene, name, size)
    _stage(scene, size.frames)
    scene.frame_set(1)
    return scene


def _keepers(scene: Any, name: str, size: Size) -> None:
    step = {"light": 4, "crowd": 8, "throng": 8, "long": 1}[name]
    frames = np.arange(1, size.frames + step + (0 if step == 1 else step), step, dtype=float)
    for k in range(size.figures):
        rig = keeper(scene, f"Keeper{k:02d}", size.skin, (1.6 * (k % 5), 2.1 * (k // 5)))
        _walk(rig, frames, 0.7 * k, "LINEAR" if name == "long" else "BEZIER")


# ---- keys ----------------------------------------------------------------------------------------------------------


def animate(owner: Any, path: str, frames: Array, values: Array, interpolation: str = "BEZIER") -> None:
    """Keys (F, n) on a property of a bone or object, with clamped handles. The first key makes the channels, in every
    kind of action; the rest is written in one go."""
    owner.keyframe_insert(path, frame=float(frames[0]))
    full = owner.path_from_id(path) if owner != owner.id_data else path
    item = bpy.types.Keyframe.bl_rna.properties
    number = item["interpolation"].enum_items[interpolation].value
    clamped = item["handle_left_type"].enum_items["AUTO_CLAMPED"].value
    for curve, _ in curves_of(owner.id_data):
        if curve.data_path != full:
            continue
        points, count = curve.keyframe_points, len(frames)
        points.add(count - len(points))
        column = np.broadcast_to(values[:, curve.array_index], (count,))
        points.foreach_set("co", np.column_stack([frames, column]).astype(np.float32).ravel())
        points.foreach_set("interpolation", np.full(count, number, np.int32))
        for side in ("handle_left_type", "handle_right_type"):
            points.foreach_set(side, np.full(count, clamped, np.int32))
        curve.update()


def turns(angle: Array, axis: Sequence[float]) -> Array:
    """Quaternions (F, 4), w first, of turns by ``angle`` radians about an axis."""
    unit = np.asarray(axis, float) / np.linalg.norm(axis)
    return np.concatenate([np.cos(angle / 2)[:, None], np.sin(angle / 2)[:, None] * unit], axis=1)


# ---- the FK keeper ---------------------------------------------------------------------------------------------------


def keeper(scene: Any, name: str, skin: int, place: tuple[float, float]) -> Any:
    """An adult of 25 bones with a skin of about ``skin`` vertices, standing at ``place``."""
    figure = adult()
    ends = {p: (h, t) for p, h, t in zip(figure.parts, figure.heads, figure.tails, strict=True)}
    above = {p: figure.parts[i] if i >= 0 else "root" for p, i in ((p, figure.parent_of(p)) for p in figure.parts)}
    ends["root"] = (np.zeros(3), np.array([0, -0.3, 0]))
    for side in "LR":
        hand = ends[f"hand.{side}"][1]
        ends[f"fingers.{side}"] = (hand, hand + (0, -0.01, -0.09))
        above[f"fingers.{side}"] = f"hand.{side}"
    ends["jaw"], above["jaw"] = (np.array([0, -0.03, 1.60]), np.array([0, -0.11, 1.57])), "head"
    armature = bpy.data.armatures.new(name)
    rig = bpy.data.objects.new(name, armature)
    scene.collection.objects.link(rig)
    rig.location = (*place, 0.0)
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    for part in ("root", *(p for p in ends if p != "root")):
        bone = armature.edit_bones.new(part)
        bone.head, bone.tail = ends[part]
        bone.parent = armature.edit_bones.get(above.get(part, ""))
    bpy.ops.object.mode_set(mode="OBJECT")
    for bone in rig.pose.bones:
        bone.rotation_mode = "XYZ" if bone.name.split(".")[0] in HINGES else "QUATERNION"
    clothe(scene, rig, {p: e for p, e in ends.items() if p != "root"}, skin)
    return rig


def _walk(rig: Any, frames: Array, phase: float, interpolation: str) -> None:
    """A cycle a second on every bone: swinging limbs, bending hinges, a small slow drift everywhere."""
    seconds = frames / FPS
    amount = {"thigh": 0.42, "upper_arm": -0.30, "foot": 0.20, "root": 0.0}
    bend = {"shin": 0.55, "forearm": 0.35, "toe": 0.25}
    for k, bone in enumerate(rig.pose.bones):
        base, _, side = bone.name.partition(".")
        cycle = 2 * pi * seconds + phase + (pi if side == "R" else 0.0)
        drift = 0.02 * np.sin(0.8 * seconds + k)
        if bone.rotation_mode == "XYZ":
            angles = np.stack([bend.get(base, 0.05) * np.sin(cycle / 2) ** 2, drift, 0.5 * drift], axis=1)
            animate(bone, "rotation_euler", frames, angles, interpolation)
        else:
            angle = amount.get(base, 0.06) * np.sin(cycle) + drift
            animate(bone, "rotation_quaternion", frames, turns(angle, (1.0, 0.1, 0.12)), interpolation)
        if base == "root":
            rows = np.stack([0 * seconds, PACE * seconds, 0 * seconds], axis=1)
            animate(bone, "location", frames, rows, interpolation)
        if base == "pelvis":
            rows = np.stack([0.02 * np.sin(cycle), 0.02 * np.cos(2 * cycle), 0 * seconds], axis=1)
            animate(bone, "location", frames, rows, interpolation)


# ---- meshes ----------------------------------------------------------------------------------------------------------


def tube(head: Array, tail: Array, radius: float, rings: int, around: int) -> tuple[Array, Array]:
    """Vertices and quads of an open tube."""
    along = tail - head
    aside = np.cross(along, np.eye(3)[np.argmin(np.abs(along))])
    aside = aside / np.linalg.norm(aside)
    third = np.cross(along, aside)
    third = third / np.linalg.norm(third)
    angle = np.linspace(0, 2 * pi, around, endpoint=False)[None, :, None]
    t = np.linspace(0, 1, rings)[:, None, None]
    points = head + t * along + radius * (np.cos(angle) * aside + np.sin(angle) * third)
    ring, at = np.divmod(np.arange((rings - 1) * around), around)
    after = (at + 1) % around
    quads = np.stack([ring * around + at, ring * around + after, (ring + 1) * around + after, (ring + 1) * around + at])
    return points.reshape(-1, 3), quads.T


def mesh_object(scene: Any, name: str, points: Array, quads: Array) -> Any:
    mesh = bpy.data.meshes.new(name)
    mesh.vertices.add(len(points))
    mesh.vertices.foreach_set("co", points.astype(np.float32).ravel())
    mesh.loops.add(quads.size)
    mesh.loops.foreach_set("vertex_index", quads.astype(np.int32).ravel())
    mesh.polygons.add(len(quads))
    mesh.polygons.foreach_set("loop_start", np.arange(0, quads.size, 4, dtype=np.int32))
    mesh.update(calc_edges=True)
    thing = bpy.data.objects.new(name, mesh)
    scene.collection.objects.link(thing)
    return thing


def clothe(scene: Any, rig: Any, bones: dict[str, tuple[Array, Array]], vertices: int) -> Any:
    """A tube along each bone, about ``vertices`` in all, each vertex weighted to the three nearest bones."""
    heads, tails = (np.array([e[k] for e in bones.values()], float) for k in (0, 1))
    length = np.linalg.norm(tails - heads, axis=1)
    around = 8 if vertices < 5_000 else 24
    spare = max(0, vertices // around - 2 * len(length))
    rings = 2 + (spare * np.sqrt(length) / np.sqrt(length).sum()).astype(int)
    radius = np.clip(0.25 * length, 0.006, 0.09)
    pieces = [tube(*row, around) for row in zip(heads, tails, radius, rings.tolist(), strict=True)]
    starts = np.cumsum([0, *(len(p) for p, _ in pieces[:-1])])
    points = np.concatenate([p for p, _ in pieces])
    quads = np.concatenate([q + s for (_, q), s in zip(pieces, starts, strict=True)])
    skin = mesh_object(scene, f"{rig.name} Skin", points, quads)
    skin.parent = rig
    groups = [skin.vertex_groups.new(name=name) for name in bones]
    nearest, weights = _weights(points, heads, tails)
    for vertex, (own, shares) in enumerate(zip(nearest.tolist(), weights.tolist(), strict=True)):
        for group, share in zip(own, shares, strict=True):
            groups[group].add((vertex,), share, "REPLACE")
    skin.modifiers.new("Armature", "ARMATURE").object = rig
    return skin


def _weights(points: Array, heads: Array, tails: Array) -> tuple[Array, Array]:
    """Indices and weights (n, 3) of the nearest bones, by inverse squared distance."""
    along = tails - heads
    near, share = [], []
    for some in np.array_split(points, max(1, len(points) // 2_000)):
        offset = some[:, None] - heads
        t = np.clip((offset * along).sum(-1) / np.maximum((along**2).sum(-1), 1e-12), 0, 1)
        gap = np.linalg.norm(offset - t[..., None] * along, axis=-1)
        best = np.argsort(gap, axis=1, kind="stable")[:, :3]
        weight = (np.take_along_axis(gap, best, axis=1) + 1e-3) ** -2
        near.append(best)
        share.append(weight / weight.sum(axis=1, keepdims=True))
    return np.concatenate(near), np.concatenate(share)


# ---- the Rigify human ------------------------------------------------------------------------------------------------


def _rigify(scene: Any, size: Size, kissing: float) -> None:
    import addon_utils

    addon_utils.enable("rigify", default_set=True)
    bpy.ops.object.armature_human_metarig_add()
    plan = bpy.context.object
    bpy.ops.pose.rigify_generate()
    rig = next(o for o in scene.objects if o.type == "ARMATURE" and o != plan)
    bpy.data.objects.remove(plan)
    rig.name = "Keeper"
    bones = {b.name: (np.array(b.head_local), np.array(b.tail_local)) for b in rig.data.bones if b.use_deform}
    clothe(scene, rig, bones, size.skin).modifiers.new("Subdivision", "SUBSURF").levels = 1
    frames = np.arange(1, size.frames + 13, 6, dtype=float)
    _walk_on_controls(rig, frames)
    for k in range(size.meshes - 1):
        _buoy(scene, k, size)
    _worked(_pole(scene, "Lantern", size.mesh, 0.06, 0.22), 1, np.arange(1, size.frames + 24, 12, dtype=float))
    hang_lantern(scene, kissing)


def _walk_on_controls(rig: Any, frames: Array) -> None:
    seconds = frames / FPS
    cycle = 2 * pi * seconds
    none = np.zeros_like(seconds)

    def go(bone: str, x: Array, y: Array, z: Array) -> None:
        rest = np.array(rig.data.bones[bone].matrix_local, float)[:3, :3]
        animate(rig.pose.bones[bone], "location", frames, np.stack([x, y, z], axis=1) @ rest)

    def turn(bone: str, angle: Array, axis: tuple[int, int, int]) -> None:
        rig.pose.bones[bone].rotation_mode = "QUATERNION"
        animate(rig.pose.bones[bone], "rotation_quaternion", frames, turns(angle, axis))

    go("torso", 0.02 * np.sin(cycle), -seconds, 0.02 * np.cos(2 * cycle) - 0.08)
    turn("hips", 0.05 * np.sin(cycle), (0, 1, 0))
    turn("chest", -0.07 * np.sin(cycle), (0, 1, 0))
    turn("head", 0.04 * np.sin(cycle + 0.4), (1, 0, 0))
    for side, offset in (("L", 0.0), ("R", 0.5)):
        whole, part = np.divmod(seconds + offset, 1.0)
        lift = np.clip(2 * part - 1, 0, 1)
        go(f"foot_ik.{side}", none, -(whole + lift**2 * (3 - 2 * lift) - offset), 0.12 * np.sin(pi * lift))
        turn(f"foot_ik.{side}", -0.2 * np.sin(2 * pi * lift), (1, 0, 0))
        go(f"hand_ik.{side}", none, -seconds - 0.15 * np.cos(cycle + 2 * pi * offset), none - 0.25)
        turn(f"hand_ik.{side}", 0.2 * np.sin(cycle + offset), (1, 0, 0))


def _worked(thing: Any, k: int, frames: Array) -> None:
    """Modifiers that cost what a prop's modifiers cost."""
    bend = thing.modifiers.new("Bend", "SIMPLE_DEFORM")
    bend.deform_method, bend.deform_axis = ("BEND", "TWIST", "TAPER", "STRETCH")[k % 4], "Z"
    path = "factor" if k % 4 > 1 else "angle"
    for frame in frames.tolist():
        setattr(bend, path, 0.3 * np.sin(frame / 18 + k))
        bend.keyframe_insert(path, frame=frame)
    thing.modifiers.new("Cast", "CAST").factor = 0.1
    thing.modifiers.new("Smooth", "SMOOTH").iterations = 3


def _pole(scene: Any, name: str, vertices: int, radius: float, height: float) -> Any:
    points, quads = tube(np.zeros(3), np.array([0, 0, height]), radius, max(2, vertices // 200), 200)
    return mesh_object(scene, name, points, quads)


def _buoy(scene: Any, k: int, size: Size) -> None:
    """A buoy that rocks beside the way. It is marked as no prop, so that only the lantern's outline is judged."""
    thing = _pole(scene, f"Buoy{k:02d}", size.mesh, 0.3, 1.5)
    thing["plumbline_prop"] = thing["plumbline_ground"] = False
    frames = np.arange(1, size.frames + 24, 12, dtype=float)
    place = np.array([-7.0 - 1.2 * (k % 10), 2.0 - 3.0 * (k // 10), 0.0])
    swing = np.stack([np.sin(frames / 15 + k + i) for i in range(3)], axis=1)
    animate(thing, "location", frames, place + 0.3 * swing)
    animate(thing, "rotation_euler", frames, 0.25 * np.sin(frames[:, None] / 20 + k + 2 * np.arange(3)))
    _worked(thing, k, frames)


def hang_lantern(scene: Any, kissing: float) -> None:
    """Keys the lantern of rigify's scene: it goes beside the head, at the edge of the head's outline in the picture,
    for this share of the frames, from the first on; for the rest it is far above."""
    thing = scene.objects["Lantern"]
    thing["plumbline_prop"] = True
    frames = np.arange(1, scene.frame_end + 13, dtype=float)
    away = np.where(frames <= kissing * scene.frame_end, 0.0, 6.0)
    # to and fro along the view: what keeps its distance to the head counts as fastened to it
    depth = 0.1 * np.sin(frames / 9)
    place = np.stack([BESIDE - np.sin(YAW) * depth, np.cos(YAW) * depth - frames / FPS, 1.6 + away], axis=1)
    animate(thing, "location", frames, place)


# ---- ground and camera -----------------------------------------------------------------------------------------------


def _stage(scene: Any, last: int) -> None:
    """A quay of 1,600 faces, and a camera that goes with the walk."""
    n = 41
    x, y = np.meshgrid(np.linspace(-20, 20, n), np.linspace(12, -12 - PACE * last / FPS, n))
    row, column = np.divmod(np.arange((n - 1) ** 2), n - 1)
    corner = row * n + column
    quads = np.stack([corner, corner + n, corner + n + 1, corner + 1], axis=1)
    mesh_object(scene, "Quay", np.stack([x, y, 0 * x], axis=-1).reshape(-1, 3), quads)
    camera = bpy.data.objects.new("Camera", bpy.data.cameras.new("Camera"))
    scene.collection.objects.link(camera)
    camera.rotation_euler = (1.5, 0.0, YAW)
    frames = np.arange(1, last + 24, 12, dtype=float)
    place = np.stack([1.5 + 0 * frames, -6.0 - frames / FPS, 1.35 + 0 * frames], axis=1)
    animate(camera, "location", frames, place, "LINEAR")
    scene.camera = camera
