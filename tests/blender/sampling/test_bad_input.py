# SPDX-License-Identifier: GPL-3.0-or-later
"""What cannot be measured is told in one clear sentence."""

from collections.abc import Callable
from typing import Any

import bpy
import numpy as np
import pytest
from mathutils import Matrix, Vector
from plumbline.blender_addon.sampling.sweep import CannotMeasure, Request, sweep_now
from plumbline.core.card import Card
from plumbline.core.catalogue import chosen
from plumbline.core.need import Need
from plumbline.core.runner import finish, needs_of

from .figure import figure, walk

ALL = Need.JOINTS | Need.ROTATIONS | Need.GOALS | Need.KEYS | Need.GROUND | Need.PROPS


def refused(scene: Any, **request: Any) -> str:
    with pytest.raises(CannotMeasure) as caught:
        sweep_now(scene, Request(ALL, **request))
    sentence = str(caught.value)
    assert sentence and "\n" not in sentence and not sentence.endswith(".")
    assert [s.name for s in bpy.data.scenes] == [scene.name]
    return sentence


def test_no_armature(scene: Any) -> None:
    assert "no armature" in refused(scene)


def test_no_body(scene: Any) -> None:
    data = bpy.data.armatures.new("Chain")
    chain = bpy.data.objects.new("Chain", data)
    scene.collection.objects.link(chain)
    bpy.context.view_layer.objects.active = chain
    bpy.ops.object.mode_set(mode="EDIT")
    bone = data.edit_bones.new("link")
    bone.tail = (0, 0, 1)
    bpy.ops.object.mode_set(mode="OBJECT")
    assert "Chain" in refused(scene)


@pytest.mark.parametrize(
    "first,last,says",
    [
        (20, 10, "reversed or empty: it goes from frame 20 to frame 10"),
        (10, 12, "fewer than 4 frames"),
        (500, 600, "outside the scene's range 1 to 30"),
        (40, None, "reversed or empty"),
    ],
)
def test_ranges(scene: Any, rig: Any, first: int, last: int | None, says: str) -> None:
    assert says in refused(scene, first=first, last=last)


def test_a_range_beyond_the_scenes_is_used_and_said(scene: Any, rig: Any) -> None:
    shot = sweep_now(scene, Request(Need.JOINTS, 20, 40))
    assert shot.last == 40 and any("beyond the scene's range" in r for r in shot.remarks)


def test_unknown_character(scene: Any, rig: Any) -> None:
    assert "no character named 'Captain' (it has: Keeper)" in refused(scene, characters=("Captain",))


def test_card_for_nobody(scene: Any, rig: Any) -> None:
    assert "'Captain'" in refused(scene, cards={"Captain": Card()})


def test_card_with_an_unknown_bone(scene: Any, rig: Any) -> None:
    assert "wing" in refused(scene, cards={"": Card(parts={"hand.L": "wing"})})


def test_card_kept_on_the_armature(scene: Any, rig: Any) -> None:
    rig["plumbline_card"] = '{"map": {"head": "neck"}, "height": 1.5}'
    character = sweep_now(scene, Request(ALL)).characters[0]
    assert character.card.height == 1.5 and character.bones[character.index["head"]] == "neck"
    rig["plumbline_card"] = "{"
    assert "the card kept on Keeper cannot be used" in refused(scene)


def test_edit_mode_and_rest_position(scene: Any, rig: Any) -> None:
    bpy.ops.object.mode_set(mode="EDIT")
    assert "Edit Mode" in refused(scene)
    bpy.ops.object.mode_set(mode="OBJECT")
    rig.data.pose_position = "REST"
    assert "rest position" in refused(scene)
    mate = figure("Mate")
    walk(mate)
    shot = sweep_now(scene, Request(ALL))
    assert [c.name for c in shot.characters] == ["Mate"] and any(
        "Keeper" in r and "rest position" in r for r in shot.remarks
    )


@pytest.mark.parametrize(
    "spoil",
    [
        lambda rig: setattr(rig, "scale", (0, 0, 0)),
        lambda rig: setattr(rig, "scale", (1, 1, 0)),
        lambda rig: setattr(rig, "location", (float("nan"), 0, 0)),
    ],
    ids=["zero", "flat", "nan"],
)
def test_places_that_are_none(scene: Any, rig: Any, spoil: Callable[[Any], None]) -> None:
    spoil(rig)
    assert "Keeper is not measured" in refused(scene)
    bpy.context.view_layer.update()
    assert "Keeper is not measured" in refused(scene)


def test_a_bone_without_a_place(scene: Any, rig: Any) -> None:
    rig.pose.bones["hand.L"].location.x = float("nan")
    shot = sweep_now(scene, Request(ALL))
    character = shot.characters[0]
    assert "hand.L" not in character.parts and "hand.R" in character.parts
    assert any("hand.L" in r and "left hand is left out" in r for r in shot.remarks)
    assert np.isfinite(character.heads).all()


def test_bones_scaled_to_nothing_have_no_angle(scene: Any, rig: Any) -> None:
    """People hide a limb by scaling its bone to zero: its joints are left out, and nothing is said of their bend."""
    rig.pose.bones["shin.L"].scale = (0, 0, 0)
    checks = chosen(None)
    shot = sweep_now(scene, Request(needs_of(checks)))
    assert not {"shin.L", "foot.L", "toe.L"} & set(shot.characters[0].parts) and "shin.R" in shot.characters[0].parts
    assert any("shin.L is scaled to zero on some frames, so the left shin is left out" in r for r in shot.remarks)
    result = finish(shot, checks)
    assert not result.failed and not [n for n in result.notes if n.part.endswith(".L")]
    for bone in rig.pose.bones:
        bone.scale = (0, 0, 0)
    assert "its bones are scaled to zero" in refused(scene)


def test_a_scale_that_comes_to_zero(scene: Any, rig: Any) -> None:
    for f, s in ((1, 1.0), (20, 0.0)):
        rig.scale = (s, s, s)
        rig.keyframe_insert("scale", frame=f)
    assert "Keeper is not measured: it is scaled to zero" in refused(scene)


def test_zero_length_bones(scene: Any, rig: Any) -> None:
    bpy.ops.object.mode_set(mode="EDIT")
    hand = rig.data.edit_bones["hand.L"]
    hand.tail = hand.head + Vector((0, 0, 1.5e-6))  # any shorter and Blender takes it away
    bpy.ops.object.mode_set(mode="OBJECT")
    checks = chosen(None)
    shot = sweep_now(scene, Request(needs_of(checks)))
    assert "zero-length bones have no direction: hand.L" in shot.characters[0].warnings
    assert np.isfinite(shot.characters[0].heads).all() and not finish(shot, checks).failed
    rig.data.transform(Matrix.Scale(0.0, 4))
    assert "Keeper" in refused(scene)


def test_a_figure_lost_in_rounding(scene: Any, rig: Any) -> None:
    rig.data.transform(Matrix.Scale(1e-6, 4))
    assert "Keeper is not measured: its bones have no length" in refused(scene)


def test_a_character_without_legs(scene: Any, rig: Any) -> None:
    bpy.ops.object.mode_set(mode="EDIT")
    for bone in list(rig.data.edit_bones):
        if bone.name.partition(".")[0] in ("thigh", "shin", "foot", "toe"):
            rig.data.edit_bones.remove(bone)
    bpy.ops.object.mode_set(mode="OBJECT")
    checks = chosen(None)
    shot = sweep_now(scene, Request(needs_of(checks)))
    assert {"head", "hand.L", "hand.R", "pelvis"} <= set(shot.characters[0].parts)
    result = finish(shot, checks)
    assert not result.failed
    why = {s.check: s.why for s in result.skipped if s.character == "Keeper"}
    assert why["slip"] == "the body map has no right thigh, right shin, right foot, so the right foot is not judged"
    assert {"joint-limit", "overextension"} <= set(why)


def test_no_camera(scene: Any, rig: Any) -> None:
    checks = chosen(None)
    result = finish(sweep_now(scene, Request(needs_of(checks))), checks)
    assert not result.failed
    (why,) = [s.why for s in result.skipped if s.check == "tangent"]
    assert "no camera" in why


def test_negative_scale_is_said(scene: Any, rig: Any) -> None:
    rig.scale.y = -1.0
    assert any("mirrored" in w for w in sweep_now(scene, Request(ALL)).characters[0].warnings)


def test_rigid_body_is_said(scene: Any, rig: Any) -> None:
    mesh = bpy.data.meshes.new("Crate")
    mesh.from_pydata([(0, 0, 0), (1, 0, 0), (0, 1, 0), (0, 0, 1)], [], [(0, 1, 2), (0, 1, 3), (0, 2, 3), (1, 2, 3)])
    crate = bpy.data.objects.new("Crate", mesh)
    scene.collection.objects.link(crate)
    bpy.context.view_layer.objects.active = crate
    bpy.ops.rigidbody.object_add()
    shot = sweep_now(scene, Request(ALL))
    assert not shot.props and any("Crate" in r and "rigid-body" in r for r in shot.remarks)


def test_a_missing_library_is_said(scene: Any, rig: Any, tmp_path: Any) -> None:
    other = figure("Mate")
    path = tmp_path / "mate.blend"
    bpy.data.libraries.write(str(path), {other})
    bpy.data.objects.remove(other)
    with bpy.data.libraries.load(str(path), link=True) as (source, target):
        target.objects = ["Mate"]
    scene.collection.objects.link(target.objects[0])
    path.unlink()
    shot = sweep_now(scene, Request(ALL))
    assert any("mate.blend is missing" in r for r in shot.remarks)


def test_hostile_names(scene: Any, rig: Any) -> None:
    rig.name = "a\"]/\\\n'{0}"
    rig.data.bones["head"].name = 'he"ad\\]'
    mate = figure("Mate")
    walk(mate)  # who never moves and has no skin is a template
    mate.name = "Mate/head"
    shot = sweep_now(scene, Request(ALL))
    assert len(shot.characters) == 2
    keys = shot.characters[0].keys
    assert {c.bone for c in keys.channels} >= {"root", "shin.L"}
