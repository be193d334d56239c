# SPDX-License-Identifier: GPL-3.0-or-later
"""Poses and places worked out from keys, against Blender's own evaluation, frame by frame, on rigs made at random."""

from collections.abc import Sequence
from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.compat import curves_of
from plumbline.blender_addon.sampling.forward import Forward
from plumbline.blender_addon.sampling.keys import KeyBook
from plumbline.blender_addon.sampling.probe import probe
from plumbline.blender_addon.sampling.readers import PlaceReader, PoseReader

FRAMES = np.arange(-3.0, 46.0)
MODES = ("QUATERNION", "AXIS_ANGLE", "XYZ", "XZY", "YXZ", "YZX", "ZXY", "ZYX")
TURNS = {"QUATERNION": "rotation_quaternion", "AXIS_ANGLE": "rotation_axis_angle"}


def stepped(scene: Any, rig: Any, others: Sequence[Any] = ()) -> tuple[np.ndarray, list[np.ndarray]]:
    """What Blender says: matrices (3, 4, n, F) of all bones, and the world matrices of the rig and of others."""
    names = [bone.name for bone in rig.data.bones]
    readers = [PoseReader(rig, names, len(FRAMES)), *(PlaceReader(other, len(FRAMES)) for other in others)]
    with probe(scene, [rig, *others]) as inside:
        for i, frame in enumerate(FRAMES):
            graph = inside.to(frame)
            for reader in readers:
                reader.read(i, graph)
    return readers[0].rows(names), [reader.matrices() for reader in readers]


def forward(scene: Any) -> Forward:
    return Forward(KeyBook(scene, (FRAMES[0], FRAMES[-1])), FRAMES)


def agrees(scene: Any, rig: Any, others: Sequence[Any] = ()) -> None:
    theirs, places = stepped(scene, rig, others)
    answers = forward(scene)
    names, rows = answers.pose(rig, [bone.name for bone in rig.data.bones])
    order = [names.index(bone.name) for bone in rig.data.bones]
    ours = np.broadcast_to(rows[:, :, order], theirs.shape)
    size = np.maximum(1.0, np.abs(theirs).max())
    np.testing.assert_allclose(ours / size, theirs / size, atol=4e-6)
    for object, place in zip([rig, *others], places, strict=True):
        world = np.broadcast_to(answers.place(object), (len(FRAMES), 4, 4))
        np.testing.assert_allclose(world, np.broadcast_to(place, world.shape), atol=1e-5, rtol=1e-6)


def strange_rig(rng: Any, bones: int = 14) -> Any:
    """A tree of bones with any roll, some connected, some that take their location from the armature's directions."""
    data = bpy.data.armatures.new("Strange")
    rig = bpy.data.objects.new("Strange", data)
    bpy.context.scene.collection.objects.link(rig)
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    for i in range(bones):
        bone = data.edit_bones.new(f"bone {i}")
        above = data.edit_bones[int(rng.integers(0, i))] if i > 1 else None  # two roots
        bone.parent = above
        connected = above is not None and rng.random() < 0.4
        bone.head = above.tail if connected else rng.normal(0, 0.6, 3)
        bone.tail = np.array(bone.head) + rng.normal(0, 0.4, 3)
        bone.roll = rng.uniform(-np.pi, np.pi)
        bone.use_connect = connected
        bone.use_local_location = bool(rng.random() < 0.7)
    bpy.ops.object.mode_set(mode="OBJECT")
    for bone in rig.pose.bones:
        bone.rotation_mode = str(rng.choice(MODES))
    return rig


def scatter(rng: Any, owner: Any, path: str, middle: float, spread: float, keyed: float) -> None:
    """Sets a property to random values and, by the chance ``keyed``, keys some of its components at random frames."""
    width = len(getattr(owner, path))
    setattr(owner, path, rng.normal(middle, spread, width))
    for index in range(width):
        if rng.random() >= keyed:
            continue
        for frame in np.unique([*rng.choice(np.arange(-20, 70), rng.integers(0, 6)), rng.integers(0, 40)]):
            getattr(owner, path)[index] = rng.normal(middle, spread)
            owner.keyframe_insert(path, index=index, frame=float(frame) + float(rng.choice([0.0, 0.0, 0.37])))


def roughen(rng: Any, owner: Any) -> None:
    """Gives the keys of an object any interpolation, handle and extrapolation."""
    for curve, _ in curves_of(owner):
        curve.extrapolation = str(rng.choice(["CONSTANT", "CONSTANT", "LINEAR"]))
        for point in curve.keyframe_points:
            point.interpolation = str(rng.choice(["BEZIER", "BEZIER", "BEZIER", "LINEAR", "CONSTANT", "SINE", "BACK"]))
            point.handle_left_type = point.handle_right_type = str(
                rng.choice(["AUTO", "AUTO_CLAMPED", "VECTOR", "ALIGNED", "FREE"])
            )
        curve.update()


@pytest.mark.parametrize("seed", range(24))
def test_any_rig_under_any_keys(seed: int) -> None:
    rng = np.random.default_rng(seed)
    scene = bpy.context.scene
    rig = strange_rig(rng)
    for bone in rig.pose.bones:
        scatter(rng, bone, TURNS.get(bone.rotation_mode, "rotation_euler"), 0.0, 1.0, 0.7)
        scatter(rng, bone, "location", 0.0, 0.3, 0.5)
        if rng.random() < 0.4:
            scatter(rng, bone, "scale", 1.0, 0.2, 0.5)
    carrier, outer = (bpy.data.objects.new(name, None) for name in ("carrier", "outer"))
    for object in (carrier, outer):
        scene.collection.objects.link(object)
    rig.parent, carrier.parent = carrier, outer
    bpy.context.view_layer.update()
    rig.matrix_parent_inverse = carrier.matrix_world.inverted()
    for object in (rig, carrier, outer):
        object.rotation_mode = str(rng.choice(MODES))
        scatter(rng, object, "location", 0.0, 2.0, 0.5)
        scatter(rng, object, TURNS.get(object.rotation_mode, "rotation_euler"), 0.0, 1.0, 0.5)
        scatter(rng, object, "scale", 1.0, 0.2, 0.5)
    for object in (rig, carrier, outer):
        roughen(rng, object)
    agrees(scene, rig, [carrier, outer])


def test_turns_of_no_length() -> None:
    rig = strange_rig(np.random.default_rng(1), 4)
    for bone, mode in zip(rig.pose.bones, ("QUATERNION", "AXIS_ANGLE", "QUATERNION", "XYZ"), strict=True):
        bone.rotation_mode = mode
    for frame in (1, 30):
        rig.pose.bones[0].rotation_quaternion = (0, 0, 0, 0)
        rig.pose.bones[1].rotation_axis_angle = (frame / 9, 0, 0, 0)
        rig.pose.bones[2].rotation_quaternion = (3.0, frame / 5, 0, -2.0)
        for bone, path in zip(rig.pose.bones, ("quaternion", "axis_angle", "quaternion"), strict=False):
            bone.keyframe_insert(f"rotation_{path}", frame=frame)
    agrees(bpy.context.scene, rig)


def test_far_from_the_origin_and_tiny() -> None:
    rng = np.random.default_rng(3)
    rig = strange_rig(rng)
    for bone in rig.pose.bones:
        bone.rotation_mode = "QUATERNION"
        scatter(rng, bone, "rotation_quaternion", 0.0, 1.0, 1.0)
    rig.scale = (0.01, 0.01, 0.01)
    for frame in (1, 40):
        rig.location = (400.0 + frame, -300.0, 0.0)
        rig.keyframe_insert("location", frame=frame)
    theirs, (place,) = stepped(bpy.context.scene, rig)
    answers = forward(bpy.context.scene)
    # single precision: a share of the distance
    np.testing.assert_allclose(answers.place(rig)[:, :3, 3], place[:, :3, 3], rtol=4e-7, atol=0)
    names, rows = answers.pose(rig, [bone.name for bone in rig.data.bones])
    order = [names.index(bone.name) for bone in rig.data.bones]
    np.testing.assert_allclose(rows[:, :, order], theirs, atol=4e-6)


def test_time_is_remapped() -> None:
    rng = np.random.default_rng(5)
    rig = strange_rig(rng)
    for bone in rig.pose.bones:
        scatter(rng, bone, "location", 0.0, 0.3, 1.0)
    bpy.context.scene.render.frame_map_old, bpy.context.scene.render.frame_map_new = 100, 250
    agrees(bpy.context.scene, rig)


def test_a_rig_that_stands_still_is_one_frame_long() -> None:
    rig = strange_rig(np.random.default_rng(6))
    answers = forward(bpy.context.scene)
    assert answers.place(rig).shape == (1, 4, 4)
    assert answers.pose(rig, ["bone 3"])[1].shape[-1] == 1
    agrees(bpy.context.scene, rig)


def test_only_the_bones_above_are_worked_out() -> None:
    rig = strange_rig(np.random.default_rng(7))
    names, rows = forward(bpy.context.scene).pose(rig, ["bone 5"])
    above, bone = [], rig.data.bones["bone 5"]
    while bone is not None:
        above.append(bone.name)
        bone = bone.parent
    assert list(names) == above[::-1] and rows.shape[2] == len(above)
