# SPDX-License-Identifier: GPL-3.0-or-later
"""The sweep reads what Blender's own evaluation of the person's scene says, however the figure is moved."""

from collections.abc import Callable
from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.need import Need

from .figure import blender_says, boots, figure, key, walk

ALL = Need.JOINTS | Need.ROTATIONS | Need.GOALS | Need.KEYS | Need.GROUND | Need.PROPS


def _child_of(rig: Any) -> None:
    post = bpy.data.objects.new("Post", None)
    bpy.context.scene.collection.objects.link(post)
    for f, x in ((1, 0.0), (30, 2.0)):
        post.location.x = x
        post.keyframe_insert("location", frame=f)
    constraint = rig.pose.bones["hand.L"].constraints.new("CHILD_OF")
    constraint.target = post


def _legs_by_ik(rig: Any) -> None:
    for side in "LR":
        target = bpy.data.objects.new(f"Step.{side}", None)
        bpy.context.scene.collection.objects.link(target)
        for f in (1, 11, 21, 31):
            target.location = (0.1 if side == "L" else -0.1, -0.03 * f, 0.09 + 0.1 * (f % 20 == 11))
            target.keyframe_insert("location", frame=f)
        constraint = rig.pose.bones[f"shin.{side}"].constraints.new("IK")
        constraint.target, constraint.chain_count = target, 2


def _driver(rig: Any) -> None:
    driver = rig.pose.bones["head"].driver_add("rotation_euler", 0).driver
    variable = driver.variables.new()
    variable.type = "TRANSFORMS"
    variable.targets[0].id = rig
    variable.targets[0].bone_target = "pelvis"
    variable.targets[0].transform_type = "ROT_X"
    driver.expression = "var * 3"


def _scene_driver(rig: Any) -> None:
    bpy.context.scene["lamp"] = 0.7
    driver = rig.pose.bones["head"].driver_add("rotation_euler", 1).driver
    variable = driver.variables.new()
    variable.type = "SINGLE_PROP"
    variable.targets[0].id_type = "SCENE"
    variable.targets[0].id = bpy.context.scene
    variable.targets[0].data_path = '["lamp"]'
    driver.expression = "var"


def _scaled_parent(rig: Any) -> None:
    cart = bpy.data.objects.new("Cart", None)
    bpy.context.scene.collection.objects.link(cart)
    cart.scale, cart.rotation_euler = (1.2, 1.2, 1.2), (0.1, 0.2, 1.0)
    for f, x in ((1, 0.0), (30, 3.0)):
        cart.location.y = x
        cart.keyframe_insert("location", frame=f)
    rig.parent = cart


def _uneven(rig: Any) -> None:
    rig.scale, rig.rotation_euler = (1.0, 1.3, 0.9), (0.0, 0.0, 0.5)


def _mirrored(rig: Any) -> None:
    rig.scale = (-1.0, 1.0, 1.0)


def _remap(rig: Any) -> None:
    bpy.context.scene.render.frame_map_old, bpy.context.scene.render.frame_map_new = 100, 150


def _in_a_collection(rig: Any) -> None:
    scene = bpy.context.scene
    away = bpy.data.collections.new("Away")
    scene.collection.children.link(away)
    away.objects.link(rig)
    scene.collection.objects.unlink(rig)


@pytest.mark.parametrize(
    "setup",
    [
        lambda rig: None,
        _child_of,
        _legs_by_ik,
        _driver,
        _scene_driver,
        _scaled_parent,
        _uneven,
        _mirrored,
        _remap,
        _in_a_collection,
    ],
    ids=["keys", "child-of", "ik", "driver", "scene driver", "parent", "uneven", "mirrored", "remap", "collection"],
)
def test_places_are_blenders_own(scene: Any, rig: Any, setup: Callable[[Any], None]) -> None:
    setup(rig)
    shot = sweep_now(scene, Request(ALL))
    character = shot.characters[0]
    assert (shot.first, shot.last) == (1, 30)
    assert len(character.parts) == 21
    heads, tails = blender_says(scene, rig, character.bones, shot.frames)
    np.testing.assert_allclose(character.heads, heads, atol=3e-6)
    np.testing.assert_allclose(character.tails, tails, atol=3e-6)
    assert np.ptp(character.heads, axis=0).max() > 0.3
    # axes: right-handed, unit, y along the bone
    np.testing.assert_allclose(
        character.axes @ np.swapaxes(character.axes, -1, -2),
        np.broadcast_to(np.eye(3), character.axes.shape),
        atol=2e-5,
    )
    assert (np.linalg.det(character.axes) > 0).all()
    along = character.tails - character.heads
    np.testing.assert_allclose(along / np.linalg.norm(along, axis=-1, keepdims=True), character.axes[..., 1], atol=2e-5)


def test_every_mapped_bone_is_the_one_of_its_name(scene: Any, rig: Any) -> None:
    character = sweep_now(scene, Request(Need.JOINTS)).characters[0]
    assert character.bones == character.parts


def test_turns_from_rest_survive_a_mirrored_armature(scene: Any, rig: Any) -> None:
    plain = sweep_now(scene, Request(ALL)).characters[0]
    rig.scale = (-1.0, 1.0, 1.0)
    mirrored = sweep_now(scene, Request(ALL)).characters[0]
    assert any("mirrored" in w for w in mirrored.warnings)
    flip = np.diag([-1.0, 1.0, 1.0])
    i, j = plain.index["shin.L"], mirrored.bones.index("shin.L")
    was = plain.axes[:, i] @ plain.rest_axes[i].T
    now = mirrored.axes[:, j] @ mirrored.rest_axes[j].T
    np.testing.assert_allclose(now, flip @ was @ flip, atol=1e-5)


def test_unit_scale_makes_metres(scene: Any, rig: Any) -> None:
    boots(rig)
    meters = sweep_now(scene, Request(ALL))
    scene.unit_settings.scale_length = 0.01
    rig.scale = (100.0, 100.0, 100.0)
    centimeters = sweep_now(scene, Request(ALL))
    a, b = meters.characters[0], centimeters.characters[0]
    assert centimeters.unit_scale == pytest.approx(0.01)
    np.testing.assert_allclose(a.heads, b.heads, atol=2e-5)
    np.testing.assert_allclose(a.rest_tails, b.rest_tails, atol=2e-5)
    np.testing.assert_allclose(a.soles[0].points, b.soles[0].points, atol=2e-5)
    assert a.height == pytest.approx(b.height, rel=1e-4)
    assert a.height == pytest.approx(1.78, abs=0.02)


def test_rest_pose_stands_where_the_first_sample_does(scene: Any, rig: Any) -> None:
    for f, z in ((1, 2.0), (30, 3.0)):
        rig.rotation_euler = (0, 0, z)
        rig.keyframe_insert("rotation_euler", frame=f)
    scene.frame_set(25)
    shot = sweep_now(scene, Request(ALL))
    character = shot.characters[0]
    scene.frame_set(int(shot.frames[0]))
    rest = [rig.matrix_world @ rig.data.bones[b].head_local for b in character.bones]
    np.testing.assert_allclose(character.rest_heads, rest, atol=1e-5)
    toes = character.rest_end("foot.L") - character.rest_head("foot.L")
    assert character.forward @ toes > 0.1 and abs(character.up @ [0, 0, 1] - 1) < 1e-6


@pytest.mark.parametrize(("whole", "rate"), [(24, 23.976), (30, 29.97), (60, 59.94)])
def test_fractional_rate(scene: Any, rig: Any, whole: int, rate: float) -> None:
    scene.render.fps, scene.render.fps_base = whole, 1.001
    shot = sweep_now(scene, Request(ALL, 10, 20))
    assert shot.fps == pytest.approx(rate, abs=0.001)
    assert shot.times[-1] == pytest.approx((shot.frames[-1] - shot.frames[0]) * 1.001 / whole)
    assert (shot.frames == np.round(shot.frames)).all()  # every whole frame once, whatever the rate
    assert shot.frames[0] == max(1, 10 - round(rate / 2)) and shot.frames[-1] == min(31, 20 + round(rate / 2))
    heads, _ = blender_says(scene, rig, shot.characters[0].bones, shot.frames)
    np.testing.assert_allclose(shot.characters[0].heads, heads, atol=3e-6)


def test_margin_reaches_as_far_as_the_animation_goes(scene: Any, rig: Any) -> None:
    shot = sweep_now(scene, Request(Need.JOINTS))
    assert shot.frames[0] == 1 and shot.frames[-1] == 31  # the last key is on 31: beyond it all holds still
    inner = sweep_now(scene, Request(Need.JOINTS, 14, 18))
    assert (inner.frames[0], inner.frames[-1], inner.first, inner.last) == (2, 30, 14, 18)


def test_preview_range(scene: Any, rig: Any) -> None:
    scene.use_preview_range = True
    scene.frame_preview_start, scene.frame_preview_end = 8, 20
    shot = sweep_now(scene, Request(Need.JOINTS))
    assert (shot.first, shot.last) == (8, 20)
    assert (shot.frames[0], shot.frames[-1]) == (1, 31)  # sampled in a margin outside it
    assert any("preview range 8 to 20" in r for r in shot.remarks)


def test_several_characters(scene: Any, rig: Any) -> None:
    other = figure("Mate")
    other.location.x = 3.0
    walk(other, 20)
    shot = sweep_now(scene, Request(Need.JOINTS))
    assert [c.name for c in shot.characters] == ["Keeper", "Mate"]
    heads, _ = blender_says(scene, other, shot.characters[1].bones, shot.frames)
    np.testing.assert_allclose(shot.characters[1].heads, heads, atol=3e-6)
    assert [c.name for c in sweep_now(scene, Request(Need.JOINTS, characters=("Mate",))).characters] == ["Mate"]


def test_hidden_in_viewports_moves_all_the_same(scene: Any, rig: Any) -> None:
    names = sweep_now(scene, Request(Need.JOINTS)).characters[0].bones
    heads, _ = blender_says(scene, rig, names, range(1, 31))
    rig.hide_viewport = True
    scene.frame_set(3)
    character = sweep_now(scene, Request(ALL)).characters[0]
    np.testing.assert_allclose(character.heads[:30], heads, atol=3e-6)
    assert any("hidden" in w for w in character.warnings)


def test_instanced_collection(scene: Any, rig: Any) -> None:
    inside = bpy.data.collections.new("Cabin")
    inside.objects.link(rig)
    scene.collection.objects.unlink(rig)
    inside.instance_offset = (0.0, 1.0, 0.5)
    empty = bpy.data.objects.new("Place", None)
    scene.collection.objects.link(empty)
    empty.instance_type, empty.instance_collection = "COLLECTION", inside
    empty.rotation_euler, empty.scale = (0, 0, 1.0), (0.9, 0.9, 0.9)
    for f, x in ((1, 0.0), (30, 2.0)):
        empty.location.x = x
        empty.keyframe_insert("location", frame=f)
    shot = sweep_now(scene, Request(ALL))
    character = shot.characters[0]
    for i in (0, 10, 29):
        scene.frame_set(int(shot.frames[i]))
        graph = bpy.context.evaluated_depsgraph_get()
        bpy.context.view_layer.update()
        found = [
            (n.matrix_world.copy(), [p.head.copy() for p in (n.object.pose.bones[b] for b in character.bones)])
            for n in graph.object_instances
            if n.is_instance and n.object.type == "ARMATURE"
        ]
        assert len(found) == 1
        np.testing.assert_allclose(character.heads[i], [found[0][0] @ h for h in found[0][1]], atol=3e-6)


@pytest.mark.parametrize("how", ["link", "override"])
def test_linked_and_overridden(scene: Any, rig: Any, how: str, tmp_path: Any) -> None:
    path = str(tmp_path / "keeper.blend")
    boots(rig)
    names = sweep_now(scene, Request(Need.JOINTS)).characters[0].bones
    heads, _ = blender_says(scene, rig, names, range(1, 31))
    bpy.data.libraries.write(path, {rig}, fake_user=True)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    scene.frame_start, scene.frame_end = 1, 30
    with bpy.data.libraries.load(path, link=True) as (source, target):
        target.objects = ["Keeper"]
    linked = target.objects[0]
    scene.collection.objects.link(linked)
    if how == "override":
        linked = linked.override_create(remap_local_usages=True)
        linked.pose.bones["pelvis"].location.x = 0.5  # not keyed: the override's own
        heads = heads + 0
        names_, rig_ = names, bpy.data.objects["Keeper"]
        heads, _ = blender_says(scene, linked, names_, range(1, 31))
        assert rig_ is not None
    character = sweep_now(scene, Request(ALL)).characters[0]
    assert character.bones == names
    np.testing.assert_allclose(character.heads[:30], heads, atol=3e-6)


def test_own_keys_between_frames_are_read_at_the_frames(scene: Any, rig: Any) -> None:
    key(rig, "head", "rotation_euler", 10.5, (0.9, 0, 0))
    key(rig, "head", "rotation_euler", 4.25, (0.0, 0, 0))
    shot = sweep_now(scene, Request(ALL))
    character = shot.characters[0]
    heads, tails = blender_says(scene, rig, character.bones, shot.frames)
    np.testing.assert_allclose(character.tails, tails, atol=3e-6)
    assert 10.5 in character.keys.scene_frame and 4.25 in character.keys.scene_frame


def test_time_remapping_preview_range_and_keys_between_frames_together(scene: Any, rig: Any) -> None:
    walk(rig, 60)
    key(rig, "head", "rotation_euler", 15.5, (0.4, 0, 0))
    scene.render.frame_map_old, scene.render.frame_map_new = 100, 80
    scene.use_preview_range = True
    scene.frame_preview_start, scene.frame_preview_end = 10, 22
    shot = sweep_now(scene, Request(ALL))
    assert (shot.first, shot.last, shot.frames[0], shot.frames[-1]) == (10, 22, 1, 34)
    heads, tails = blender_says(scene, rig, shot.characters[0].bones, shot.frames)
    np.testing.assert_allclose(shot.characters[0].heads, heads, atol=3e-6)
    np.testing.assert_allclose(shot.characters[0].tails, tails, atol=3e-6)
    assert np.isclose(shot.characters[0].keys.scene_frame, 15.5 * 0.8).any()


def test_a_body_in_two_armatures(scene: Any, rig: Any) -> None:
    """Neck and head live in an armature of their own that the body's chest carries."""
    bpy.ops.object.mode_set(mode="EDIT")
    for name in ("head", "neck"):
        rig.data.edit_bones.remove(rig.data.edit_bones[name])
    bpy.ops.object.mode_set(mode="OBJECT")
    data = bpy.data.armatures.new("Face")
    face = bpy.data.objects.new("Face", data)
    scene.collection.objects.link(face)
    bpy.context.view_layer.objects.active = face
    bpy.ops.object.mode_set(mode="EDIT")
    neck, head = data.edit_bones.new("neck"), data.edit_bones.new("head")
    neck.head, neck.tail, head.head, head.tail = (0, 0, 1.45), (0, -0.01, 1.55), (0, -0.01, 1.55), (0, -0.01, 1.78)
    head.parent = neck
    bpy.ops.object.mode_set(mode="OBJECT")
    carrier = face.constraints.new("CHILD_OF")
    carrier.target, carrier.subtarget = rig, "chest"
    scene.frame_set(1)
    carrier.inverse_matrix = (rig.matrix_world @ rig.pose.bones["chest"].matrix).inverted()
    bpy.context.view_layer.update()
    shot = sweep_now(scene, Request(ALL))
    (character,) = shot.characters
    assert character.name == "Keeper"
    assert character.bones[character.index["head"]] == "Face/head"
    assert character.bones[character.index["shin.L"]] == "Keeper/shin.L"
    heads, _ = blender_says(scene, face, ("neck", "head"), shot.frames)
    for k, part in enumerate(("neck", "head")):
        np.testing.assert_allclose(character.head(part), heads[:, k], atol=3e-6)
    heads, _ = blender_says(scene, rig, ("shin.L",), shot.frames)
    np.testing.assert_allclose(character.head("shin.L"), heads[:, 0], atol=3e-6)
