# SPDX-License-Identifier: GPL-3.0-or-later
"""Armature objects -> rest skeleton, on real Blender."""

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.sampling.skeleton import skeleton_of
from plumbline.core.body_map.find import find
from plumbline.core.testing import cost
from plumbline.core.testing.humans import DEFAULTS, HABITS, human


def armature(name: str, bones: dict[str, tuple[str, tuple[float, ...], tuple[float, ...]]]) -> bpy.types.Object:
    object = bpy.data.objects.new(name, bpy.data.armatures.new(name))
    bpy.context.scene.collection.objects.link(object)
    bpy.context.view_layer.objects.active = object
    bpy.ops.object.mode_set(mode="EDIT")
    for bone, (parent, head, tail) in bones.items():
        new = object.data.edit_bones.new(bone)
        new.head, new.tail = head, tail
        new.parent = object.data.edit_bones.get(parent)
    bpy.ops.object.mode_set(mode="OBJECT")
    return object


def made(habit: int | None, default: str = "Bone") -> tuple[bpy.types.Object, dict[str, frozenset[str]]]:
    one = human(3, None if habit is None else HABITS[habit], default, straight=True)
    sk = one.skeleton
    order = sorted(range(len(sk)), key=lambda i: depth(sk.parents, i))
    above = {i: sk.names[sk.parents[i]] if sk.parents[i] >= 0 else "" for i in order}
    bones = {sk.names[i]: (above[i], tuple(sk.heads[i]), tuple(sk.tails[i])) for i in order}
    return armature("Keeper", bones), one.truth


def depth(parents: np.ndarray, i: int) -> int:
    return 0 if parents[i] < 0 else 1 + depth(parents, int(parents[i]))


def test_places_axes_and_parents_against_blenders_own() -> None:
    object, _ = made(0)
    object.location, object.rotation_euler, object.scale = (1, 2, 3), (0.3, -0.4, 1.2), (2, 2, 2)
    bpy.context.view_layer.update()
    sk = skeleton_of([object], 0.01)
    for i, bone in enumerate(object.data.bones):
        world = object.matrix_world @ bone.matrix_local
        assert sk.names[i] == bone.name
        np.testing.assert_allclose(sk.heads[i], np.array(world.translation) * 0.01, atol=1e-6)
        np.testing.assert_allclose(sk.tails[i], np.array(object.matrix_world @ bone.tail_local) * 0.01, atol=1e-6)
        np.testing.assert_allclose(sk.axes[i], np.array(world.to_3x3().normalized()), atol=1e-5)
        assert (bone.parent.name if bone.parent else None) == (sk.names[sk.parents[i]] if sk.parents[i] >= 0 else None)


@pytest.mark.parametrize("default", DEFAULTS)
def test_localized_default_names_map_by_shape(default: str) -> None:
    object, truth = made(None, default)
    sk = skeleton_of([object])
    found = find(sk)
    assert all(sk.names[found.parts[p]] in right for p, right in truth.items())


def skinned(object: bpy.types.Object, vertices: int, groups: dict[str, float]) -> bpy.types.Object:
    mesh = bpy.data.meshes.new("skin")
    mesh.from_pydata([(0.001 * i, 0, 0) for i in range(vertices)], [], [])
    skin = bpy.data.objects.new("skin", mesh)
    bpy.context.scene.collection.objects.link(skin)
    for name, weight in groups.items():
        skin.vertex_groups.new(name=name).add(range(vertices), weight, "REPLACE")
    skin.modifiers.new("bend", "ARMATURE").object = object
    return skin


TWO = {"a": ("", (0, 0, 0), (0, 0, 1)), "b": ("a", (0, 0, 1), (0, 0, 2)), "c": ("b", (0, 0, 2), (0, 0, 3))}


def test_weights_are_summed_and_empty_groups_stay_zero() -> None:
    object = armature("Arm", TWO)
    skin = skinned(object, 10, {"a": 0.5, "b": 0.25, "stranger": 1.0})
    skin.vertex_groups.new(name="c")
    np.testing.assert_allclose(skeleton_of([object]).weight, [5, 2.5, 0])


def test_a_heavy_skin_is_read_quickly_and_about_right() -> None:
    object = armature("Arm", TWO)
    skin = skinned(object, 50_000, {"a": 0.5})
    skin.vertex_groups.new(name="b").add(range(0, 50_000, 10), 1.0, "REPLACE")
    sk = skeleton_of([object])
    assert cost.seconds(lambda: skeleton_of([object])) < 0.15
    np.testing.assert_allclose(sk.weight, [25_000, 5_000, 0], rtol=0.1)


def test_a_skin_without_vertices_and_a_rigid_piece() -> None:
    object = armature("Arm", TWO)
    skinned(object, 0, {})
    piece = bpy.data.objects.new("cup", bpy.data.meshes.new("cup"))
    piece.data.from_pydata([(0, 0, 0)] * 7, [], [])
    bpy.context.scene.collection.objects.link(piece)
    piece.parent, piece.parent_type, piece.parent_bone = object, "BONE", "c"
    np.testing.assert_allclose(skeleton_of([object]).weight, [0, 0, 7])


def test_goals_and_poles_are_known_across_armatures() -> None:
    one = armature("Arm", TWO)
    two = armature("Goals", {"aim": ("", (0, 1, 3), (0, 1, 4)), "pole": ("", (0, 2, 1), (0, 2, 2))})
    ik = one.pose.bones["b"].constraints.new("IK")
    ik.target, ik.subtarget, ik.pole_target, ik.pole_subtarget = two, "aim", two, "pole"
    sk = skeleton_of([one, two])
    assert [sk.names[g] for g in sk.goals] == ["aim", "pole"] and sk.armatures[sk.goals[0]] == "Goals"


@pytest.mark.parametrize("how", ["parent", "constraint"])
def test_an_armature_on_anothers_bone_hangs_from_it(how: str) -> None:
    one, hat = armature("Arm", TWO), armature("Hat", {"brim": ("", (0, 0, 0), (0, 0, 1))})
    if how == "parent":
        hat.parent, hat.parent_type, hat.parent_bone = one, "BONE", "c"
    else:
        constraint = hat.constraints.new("CHILD_OF")
        constraint.target, constraint.subtarget = one, "c"
    sk = skeleton_of([hat, one])
    assert sk.label(int(sk.parents[0])) == "Arm/c"


def test_no_armature_is_an_empty_skeleton() -> None:
    assert len(skeleton_of([])) == 0
