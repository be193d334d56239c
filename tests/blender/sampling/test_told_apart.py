# SPDX-License-Identifier: GPL-3.0-or-later
"""Characters that share a place, a name, their data or their collection are told apart, and each reads its own
bones."""

from typing import Any

import bpy
import numpy as np
from mathutils import Matrix
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.need import Need

from .figure import blender_says, boots, figure, key, walk

ALL = Need.JOINTS | Need.ROTATIONS | Need.GOALS | Need.KEYS | Need.GROUND | Need.PROPS


def _face(scene: Any, rig: Any) -> Any:
    """Takes neck and head out of the figure into an armature of their own, on its chest."""
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="EDIT")
    for name in ("head", "neck"):
        rig.data.edit_bones.remove(rig.data.edit_bones[name])
    bpy.ops.object.mode_set(mode="OBJECT")
    face = bpy.data.objects.new("Face", bpy.data.armatures.new("Face"))
    scene.collection.objects.link(face)
    bpy.context.view_layer.objects.active = face
    bpy.ops.object.mode_set(mode="EDIT")
    neck, head = face.data.edit_bones.new("neck"), face.data.edit_bones.new("head")
    neck.head, neck.tail, head.head, head.tail = (0, 0, 1.45), (0, -0.01, 1.55), (0, -0.01, 1.55), (0, -0.01, 1.78)
    head.parent = neck
    bpy.ops.object.mode_set(mode="OBJECT")
    face.parent, face.parent_type, face.parent_bone = rig, "BONE", "chest"
    bpy.context.view_layer.update()
    face.matrix_world = Matrix.Identity(4)
    return face


def _library(path: Any, rig: Any) -> None:
    bpy.data.libraries.write(str(path), {rig}, fake_user=True)
    bpy.data.objects.remove(rig)


def _linked(scene: Any, path: Any, name: str) -> Any:
    with bpy.data.libraries.load(str(path), link=True) as (_, into):
        into.objects = [name]
    scene.collection.objects.link(into.objects[0])
    return into.objects[0]


def test_two_figures_in_one_place(scene: Any, rig: Any) -> None:
    walk(figure("Mate"), 20)
    shot = sweep_now(scene, Request(ALL))
    assert [c.name for c in shot.characters] == ["Keeper", "Mate"]
    assert all(len(c.parts) == 21 for c in shot.characters)
    for c in shot.characters:
        heads, _ = blender_says(scene, bpy.data.objects[c.name], c.bones, shot.frames)
        np.testing.assert_allclose(c.heads, heads, atol=3e-6)


def test_a_copy_that_shares_armature_and_action(scene: Any, rig: Any) -> None:
    mate = rig.copy()
    mate.name, mate.location.x = "Mate", 3.0
    scene.collection.objects.link(mate)
    one, two = sweep_now(scene, Request(ALL)).characters
    assert (one.name, two.name) == ("Keeper", "Mate")
    np.testing.assert_allclose(two.heads, one.heads + [3.0, 0.0, 0.0], atol=1e-5)


def test_figures_of_one_name_from_two_files(scene: Any, tmp_path: Any) -> None:
    for file, x in (("one", 0.0), ("two", 4.0)):
        rig = figure("rig")
        walk(rig, 30 if file == "one" else 15)
        rig.location.x = x
        _library(tmp_path / f"{file}.blend", rig)
    rigs = [_linked(scene, tmp_path / f"{file}.blend", "rig") for file in ("one", "two")]
    shot = sweep_now(scene, Request(ALL))
    assert [c.name for c in shot.characters] == ["rig", "rig (two.blend)"]
    for rig, c in zip(rigs, shot.characters, strict=True):
        heads, _ = blender_says(scene, rig, c.bones, shot.frames)
        np.testing.assert_allclose(c.heads, heads, atol=3e-6)
    (only,) = sweep_now(scene, Request(ALL, characters=("rig (two.blend)",))).characters
    np.testing.assert_allclose(only.heads[:30], shot.characters[1].heads[:30], atol=1e-6)


def test_a_hat_of_the_same_name_from_another_file(scene: Any, tmp_path: Any) -> None:
    """The hat's armature joins the body; a bone of one is never looked for on the other."""
    body = figure("rig")
    walk(body)
    _library(tmp_path / "body.blend", body)
    hat = bpy.data.objects.new("rig", bpy.data.armatures.new("rig"))
    scene.collection.objects.link(hat)
    bpy.context.view_layer.objects.active = hat
    bpy.ops.object.mode_set(mode="EDIT")
    for name, z in (("brim", 1.6), ("feather", 1.7)):
        bone = hat.data.edit_bones.new(name)
        bone.head, bone.tail = (0, 0, z), (0, 0, z + 0.1)
    bpy.ops.object.mode_set(mode="OBJECT")
    _library(tmp_path / "hat.blend", hat)
    _linked(scene, tmp_path / "hat.blend", "rig")
    rig = _linked(scene, tmp_path / "body.blend", "rig")
    shot = sweep_now(scene, Request(ALL))
    (c,) = shot.characters
    assert c.bones[c.index["shin.L"]].endswith("/shin.L") and len(c.parts) == 21
    heads, _ = blender_says(scene, rig, tuple(b.rpartition("/")[2] for b in c.bones), shot.frames)
    np.testing.assert_allclose(c.heads, heads, atol=3e-6)


def test_a_figure_in_an_instance_of_an_instance(scene: Any, rig: Any) -> None:
    inner, outer = bpy.data.collections.new("Cabin"), bpy.data.collections.new("Boat")
    inner.objects.link(rig)
    scene.collection.objects.unlink(rig)
    inner.instance_offset = (0.0, 0.5, 0.0)
    cabin = bpy.data.objects.new("Cabin", None)
    outer.objects.link(cabin)
    cabin.instance_type, cabin.instance_collection = "COLLECTION", inner
    cabin.rotation_euler, cabin.location = (0, 0, 1.0), (1, 0, 0)
    for x in (0.0, 5.0):
        boat = bpy.data.objects.new("Boat", None)
        scene.collection.objects.link(boat)
        boat.instance_type, boat.instance_collection, boat.scale = "COLLECTION", outer, (0.9, 0.9, 0.9)
        for f, y in ((1, 0.0), (30, 1.0)):
            boat.location = (x, y, 0.0)
            boat.keyframe_insert("location", frame=f)
    shot = sweep_now(scene, Request(ALL))
    assert len(shot.characters) == 2 and shot.props == ()  # the boats are what carries a figure, not props
    for i in (0, 20):
        scene.frame_set(int(shot.frames[i]))
        graph = bpy.context.evaluated_depsgraph_get()
        bpy.context.view_layer.update()
        heads = [
            n.matrix_world @ n.object.pose.bones["head"].head
            for n in graph.object_instances
            if n.is_instance and n.object.type == "ARMATURE"
        ]
        np.testing.assert_allclose(
            sorted(tuple(c.head("head")[i]) for c in shot.characters), sorted(map(tuple, heads)), atol=3e-6
        )


def test_a_body_in_two_armatures_instanced_twice(scene: Any, rig: Any) -> None:
    boots(rig)
    _face(scene, rig)
    key(rig, "chest", "rotation_euler", 1, (0, 0, 0))
    key(rig, "chest", "rotation_euler", 25, (0.5, 0.3, 0))
    crew = bpy.data.collections.new("Crew")
    for object in list(scene.collection.objects):
        crew.objects.link(object)
        scene.collection.objects.unlink(object)
    for name, x in (("Port", 0.0), ("Starboard", 3.0)):
        place = bpy.data.objects.new(name, None)
        scene.collection.objects.link(place)
        place.instance_type, place.instance_collection, place.location.x = "COLLECTION", crew, x
    one, two = sweep_now(scene, Request(ALL)).characters
    assert (one.name, two.name) == ("Keeper", "Keeper (Starboard)")
    for c in (one, two):
        assert len(c.parts) == 21 and {s.source for s in c.soles} == {"mesh"}
        assert c.bones[c.index["head"]] == "Face/head" and c.bones[c.index["shin.L"]] == "Keeper/shin.L"
    np.testing.assert_allclose(two.heads, one.heads + [3.0, 0.0, 0.0], atol=1e-5)
    # the neck stays on the chest that carries it
    apart = np.linalg.norm(one.head("neck") - one.end("chest"), axis=1)
    assert np.ptp(one.head("neck"), axis=0).max() > 0.05 and apart.max() < 1e-4
