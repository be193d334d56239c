# SPDX-License-Identifier: GPL-3.0-or-later
"""A character's card edited in Blender: limits typed and posed, mirrored, given back, undone, on the armature."""

from dataclasses import replace
from math import radians
from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon import edited_frames, handlers, mending, preferences, session, settings
from plumbline.blender_addon.cards import shown_character
from plumbline.blender_addon.operators.card_limits import limit_of, limited
from plumbline.blender_addon.sampling.kept_cards import CARD_PROPERTY, SCENE_PROPERTY, text_of
from plumbline.blender_addon.sampling.probe import probe
from plumbline.blender_addon.sampling.weights import MASS
from plumbline.core.card import Card
from plumbline.core.tables.joint_ranges import BY_NAME

from .asking import check, knee_notes
from .sampling.figure import bend_knee, bent_knee, figure, key

pytestmark = pytest.mark.usefixtures("face")

OVER = BY_NAME["knee_hyperextension"]


@pytest.fixture
def rig() -> Any:
    rig = bent_knee()
    check()
    return rig


def card(rig: Any) -> Card:
    return Card.read(rig[CARD_PROPERTY])


def test_the_panel_shows_the_card_of_whom_one_works_on(rig: Any) -> None:
    """A generated rig stands beside the rig that it was made from: the first of the list is rarely meant."""
    mate = figure("Mate")
    mate.location.x = 3.0
    bend_knee(mate, 0.9)
    found = check()
    layer, scene = bpy.context.view_layer, bpy.context.scene
    for thing in (rig, mate):
        layer.objects.active = thing
        assert shown_character(bpy.context).name == thing.name
    layer.objects.active = None
    for number, note in enumerate(found.notes):
        settings.show_row(number, scene)
        assert shown_character(bpy.context).name == note.character
    settings.state().card_of = "Mate"
    layer.objects.active = rig
    assert shown_character(bpy.context).name == "Mate", "the chosen one stays"


def test_a_typed_limit_lies_on_the_armature_and_the_next_check_obeys_it(rig: Any) -> None:
    assert knee_notes()
    done = bpy.ops.plumbline.set_limit(character="Keeper", angle=OVER.name, part="shin.L", degrees=60.0)
    assert done == {"FINISHED"}
    assert card(rig).limits == {OVER.name: (None, 60.0)}, "both sides, written once"
    assert session.edited(bpy.context.scene)
    check()
    assert not knee_notes()


def test_the_pose_as_it_stands_becomes_the_limit_keyed_or_not(rig: Any) -> None:
    taken = []
    for turn in (-33, -53):
        rig.pose.bones["shin.L"].rotation_euler.x = radians(turn)
        bpy.context.view_layer.update()
        done = bpy.ops.plumbline.limit_from_pose(character="Keeper", angle=OVER.name, part="shin.L", mirrored=False)
        assert done == {"FINISHED"} and set(card(rig).limits) == {f"{OVER.name}.L"}
        taken.append(card(rig).limits[f"{OVER.name}.L"][1])
    assert taken[1] - taken[0] == pytest.approx(20, abs=0.2), "the figure's knee is a little bent at rest"


def test_a_cleared_limit_is_the_tables_again(rig: Any) -> None:
    bpy.ops.plumbline.set_limit(character="Keeper", angle=OVER.name, part="shin.L", degrees=60.0)
    assert bpy.ops.plumbline.clear_limit(character="Keeper", angle=OVER.name, part="shin.R") == {"FINISHED"}
    assert card(rig).limits == {}
    check()
    assert knee_notes()


def test_a_limit_is_undone(rig: Any) -> None:
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.plumbline.set_limit(character="Keeper", angle=OVER.name, part="shin.L", degrees=60.0)
    bpy.ops.ed.undo_push(message="Set Joint Limit")
    bpy.ops.ed.undo()
    assert CARD_PROPERTY not in bpy.context.scene.objects["Keeper"]


def test_one_side_moves_alone_and_leasts_stay() -> None:
    start = Card(limits={"hip_abduction": (-10.0, 50.0), "wrist_tilt": (None, 70.0)})
    hip = BY_NAME["hip_abduction"]
    left = limited(start, hip, "thigh.L", 75.0)
    assert left.limits == {
        "wrist_tilt": (None, 70.0),
        "hip_abduction.L": (-10.0, 75.0),
        "hip_abduction.R": (-10.0, 50.0),
    }
    assert (limit_of(left, hip, "thigh.L"), limit_of(left, hip, "thigh.R")) == (75.0, 50.0)
    assert limited(left, hip, "thigh.R", 75.0).limits["hip_abduction"] == (-10.0, 75.0)
    assert Card.read(left.write()) == left


@pytest.mark.parametrize("broken", ["{", '{"limits": {"knee": 4}}'])
def test_a_card_that_cannot_be_read_is_left_as_it_is(rig: Any, broken: str) -> None:
    rig[CARD_PROPERTY] = broken
    done = bpy.ops.plumbline.set_limit(character="Keeper", angle=OVER.name, part="shin.L", degrees=60.0)
    assert done == {"CANCELLED"} and rig[CARD_PROPERTY] == broken


def test_an_angle_that_the_part_has_not_is_refused(rig: Any) -> None:
    assert bpy.ops.plumbline.set_limit(character="Keeper", angle="wrist_tilt", part="shin.L") == {"CANCELLED"}
    assert bpy.ops.plumbline.limit_from_pose(character="Keeper", angle="none", part="shin.L") == {"CANCELLED"}
    assert CARD_PROPERTY not in rig


def test_a_chosen_bone_plays_the_part_and_is_found_by_itself_again(rig: Any) -> None:
    assert bpy.ops.plumbline.choose_bone(character="Keeper", part="toe.L", bone="foot.L") == {"FINISHED"}
    assert bpy.ops.plumbline.leave_out_part(character="Keeper", part="neck") == {"FINISHED"}
    assert card(rig).parts == {"toe.L": "foot.L", "neck": ""}
    assert "neck" not in check().shot.characters[0].parts
    assert bpy.ops.plumbline.find_bone(character="Keeper", part="neck") == {"FINISHED"}
    assert card(rig).parts == {"toe.L": "foot.L"} and "neck" in check().shot.characters[0].parts


def test_the_active_bone_is_taken_with_its_mirror(rig: Any) -> None:
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="POSE")
    rig.data.bones.active = rig.data.bones["foot.L"]
    assert bpy.ops.plumbline.take_active_bone(character="Keeper", part="toe.L") == {"FINISHED"}
    assert card(rig).parts == {"toe.L": "foot.L", "toe.R": "foot.R"}
    bpy.ops.object.mode_set(mode="OBJECT")


def test_stretch_is_kept_by_limb(rig: Any) -> None:
    bpy.ops.plumbline.set_stretch(character="Keeper", limb="leg.L", percent=12.5)
    assert card(rig).stretch == {"leg.L": 0.125, "leg.R": 0.125}
    bpy.ops.plumbline.set_stretch(character="Keeper", limb="leg.R", percent=0.0, mirrored=False)
    assert card(rig).stretch == {"leg.L": 0.125}


def test_a_style_is_kept_and_undone(rig: Any) -> None:
    bpy.ops.ed.undo_push(message="as it was")
    assert bpy.ops.plumbline.set_preset("EXEC_DEFAULT", character="Keeper", preset="bouncy") == {"FINISHED"}
    assert card(rig).preset == "bouncy"
    assert check().shot.characters[0].card.preset == "bouncy"
    bpy.ops.ed.undo_push(message="Set Style")
    bpy.ops.ed.undo()
    assert CARD_PROPERTY not in bpy.data.objects["Keeper"]
    assert bpy.ops.plumbline.set_preset(character="Keeper", preset="NONE") == {"FINISHED"}
    assert card(bpy.data.objects["Keeper"]).preset == ""


def test_a_weight_makes_a_prop_is_taken_back_and_undone(rig: Any) -> None:
    bpy.ops.mesh.primitive_cube_add(size=0.3, location=(3.0, 0.0, 1.0))
    lantern = bpy.context.object
    lantern.name = "Lantern"
    bpy.ops.ed.undo_push(message="a lantern")
    assert bpy.ops.plumbline.set_weight("EXEC_DEFAULT", kilograms=2.5) == {"FINISHED"}
    assert session.of(bpy.context.scene).edit is not None, "what was measured without it is stale"
    for vertex in lantern.data.vertices:
        vertex.co.z += 1.0
    found, = check().shot.props
    assert (found.name, found.mass) == ("Lantern", 2.5)
    np.testing.assert_allclose(found.weight_at, found.origin + [0, 0, 1], atol=1e-6)
    bpy.ops.ed.undo_push(message="Set Weight")
    bpy.ops.ed.undo()
    assert MASS not in bpy.data.objects["Lantern"]
    bpy.ops.plumbline.set_weight(thing="Lantern", kilograms=1.0)
    bpy.ops.plumbline.set_weight(thing="Lantern", kilograms=0.0)
    assert MASS not in bpy.data.objects["Lantern"]
    assert bpy.ops.plumbline.set_weight(thing="Nobody", kilograms=1.0) == {"CANCELLED"}


def test_a_card_goes_through_a_file(rig: Any, tmp_path: Any) -> None:
    bpy.ops.plumbline.set_limit(character="Keeper", angle=OVER.name, part="shin.L", degrees=60.0)
    file = tmp_path / "keeper.json"
    assert bpy.ops.plumbline.save_card("EXEC_DEFAULT", character="Keeper", filepath=str(file)) == {"FINISHED"}
    saved, found = Card.read(file.read_text("utf-8")), session.of(bpy.context.scene).shot.characters[0]
    assert replace(saved, parts={}) == card(rig)
    assert saved.parts == dict(zip(found.parts, found.bones, strict=True)), "what the panel shows is what is saved"
    bpy.ops.plumbline.clear_limit(character="Keeper", angle=OVER.name, part="shin.L")
    assert bpy.ops.plumbline.load_card("EXEC_DEFAULT", character="Keeper", filepath=str(file)) == {"FINISHED"}
    assert card(rig).limits == {OVER.name: (None, 60.0)}


@pytest.mark.parametrize("content", [None, b"{", b'{"limits": 3}', b"\xff\xfe\x00"])
def test_a_file_that_is_no_card_changes_nothing(rig: Any, tmp_path: Any, content: bytes | None) -> None:
    file = tmp_path / "keeper.json"
    if content is not None:
        file.write_bytes(content)
    assert bpy.ops.plumbline.load_card("EXEC_DEFAULT", character="Keeper", filepath=str(file)) == {"CANCELLED"}
    assert CARD_PROPERTY not in rig


def test_a_card_that_cannot_be_written_says_so(rig: Any, tmp_path: Any) -> None:
    file = str(tmp_path / "no such folder" / "keeper.json")
    assert bpy.ops.plumbline.save_card("EXEC_DEFAULT", character="Keeper", filepath=file) == {"CANCELLED"}


def test_the_studios_card_holds_where_the_armature_carries_none(
    rig: Any, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "Keeper.json").write_text(Card(limits={OVER.name: (None, 60.0)}).write(), "utf-8")
    monkeypatch.setattr(preferences.of(bpy.context), "card_folder", str(tmp_path))
    check()
    assert not knee_notes()
    rig[CARD_PROPERTY] = Card(name="Keeper").write()
    check()
    assert knee_notes(), "what the armature carries stands above the studio's"
    del rig[CARD_PROPERTY]
    (tmp_path / "Keeper.json").write_text("{", "utf-8")
    bpy.ops.plumbline.check_shot()
    assert "Keeper.json" in session.of(bpy.context.scene).why


@pytest.fixture
def overridden(tmp_path: Any) -> Any:
    """The keeper from a library, overridden; his notes are found."""
    rig = bent_knee()
    own = bpy.data.collections.new("Keeper")
    for thing in (rig, *rig.children_recursive):
        own.objects.link(thing)
    bpy.context.scene.collection.children.link(own)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "library.blend"))
    bpy.ops.wm.read_homefile(use_empty=True)
    with bpy.data.libraries.load(str(tmp_path / "library.blend"), link=True) as (_, here):
        here.collections = ["Keeper"]
    scene, linked = bpy.context.scene, here.collections[0]
    scene.frame_start, scene.frame_end = 1, 40
    scene.collection.children.link(linked)
    linked.override_hierarchy_create(scene, bpy.context.view_layer, do_fully_editable=True)
    scene.collection.children.unlink(linked)
    check()
    assert knee_notes()
    return the_rig()


def the_rig() -> Any:
    return next(o for o in bpy.context.scene.objects if o.type == "ARMATURE")


def limited_knee(name: str = "Keeper") -> None:
    done = bpy.ops.plumbline.set_limit(character=name, angle=OVER.name, part="shin.L", degrees=60.0)
    assert done == {"FINISHED"}


def kept() -> Any:
    return text_of(bpy.context.scene, the_rig())


def reopened(path: Any) -> None:
    bpy.ops.wm.save_as_mainfile(filepath=str(path))
    bpy.ops.wm.open_mainfile(filepath=str(path))


def test_the_card_of_an_override_is_there_when_the_shot_is_opened_again(overridden: Any, tmp_path: Any) -> None:
    """Blender drops custom properties that an override has and its library has not."""
    limited_knee()
    assert SCENE_PROPERTY in bpy.context.scene
    for _ in range(2):
        check()
        assert not knee_notes()
        reopened(tmp_path / "shot.blend")
    assert Card.read(kept()).limits == {OVER.name: (None, 60.0)}
    for broken in ("{", 3, {"0": "{"}, {"0": {"of": None}}):
        bpy.context.scene[SCENE_PROPERTY] = broken
        assert kept() is None, "what is no group of cards is as none"
    check()
    assert knee_notes()


def test_the_card_of_an_override_follows_when_it_is_renamed(overridden: Any, tmp_path: Any) -> None:
    limited_knee()
    overridden.name = "Wärter"
    assert OVER.name in kept()
    reopened(tmp_path / "shot.blend")
    assert the_rig().name == "Wärter" and OVER.name in kept()
    check()
    assert not knee_notes()
    the_rig().name = "Keeper again"
    limited_knee("Wärter")
    assert len(bpy.context.scene[SCENE_PROPERTY]) == 1, "one card for one armature, whatever it was called"


def test_the_card_of_an_override_is_undone(overridden: Any) -> None:
    bpy.ops.ed.undo_push(message="before")
    limited_knee()
    bpy.ops.ed.undo_push(message="Set Joint Limit")
    the_rig().name = "Wärter"
    bpy.ops.ed.undo_push(message="Rename")
    bpy.ops.ed.undo()
    assert the_rig().name == "Keeper" and OVER.name in kept()
    bpy.ops.ed.undo()
    assert kept() is None
    bpy.ops.ed.redo()
    bpy.ops.ed.redo()
    assert the_rig().name == "Wärter" and OVER.name in kept()


def test_the_card_of_an_override_goes_where_the_scene_goes(overridden: Any, tmp_path: Any) -> None:
    limited_knee()
    bpy.context.scene.name = "Shot"
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shot.blend"))
    bpy.ops.wm.read_homefile(use_empty=True)
    with bpy.data.libraries.load(str(tmp_path / "shot.blend"), link=False) as (_, here):
        here.scenes = ["Shot"]
    scene = here.scenes[0]
    rig = next(o for o in scene.objects if o.type == "ARMATURE")
    assert OVER.name in text_of(scene, rig)


def test_the_card_of_an_override_that_is_gone_is_let_go(overridden: Any) -> None:
    limited_knee()
    bpy.data.objects.remove(overridden)
    scene = bpy.context.scene
    mate = figure("Mate")
    check()
    assert [group["of"] for group in scene[SCENE_PROPERTY].values()] == [None]
    assert text_of(scene, mate) is None


def test_a_check_does_not_evaluate_what_only_the_cards_point_at(overridden: Any) -> None:
    limited_knee()
    with probe(bpy.context.scene) as inside:
        evaluated = [id.original for id in inside.to(1.0).ids]
        assert SCENE_PROPERTY not in inside.scene and the_rig() not in evaluated


# ---- what a card makes stale -----------------------------------------------------------------------------------------


@pytest.fixture
def two(rig: Any) -> Any:
    """The keeper and a mate beside him, each with a knee that bends the wrong way."""
    mate = figure("Mate")
    mate.location.x = 3.0
    bend_knee(mate, 0.9)
    assert {note.character for note in check().notes} == {"Keeper", "Mate"}
    return mate


def stale() -> set[str]:
    """Whose notes are stale."""
    scene = bpy.context.scene
    return {note.character for note in session.of(scene).notes if session.stale(scene, note)}


def test_only_the_notes_of_whose_card_it_is_are_stale(two: Any) -> None:
    scene = bpy.context.scene
    limited_knee("Mate")
    assert stale() == {"Mate"} and session.edited(scene)
    edited_frames.find([scene])  # as after any other edit
    assert stale() == {"Mate"}
    limited_knee("Keeper")
    assert stale() == {"Keeper", "Mate"}
    check()
    assert not stale() and not session.edited(scene)


def test_a_card_that_is_as_it_was_makes_nothing_stale(two: Any) -> None:
    limited_knee("Mate")
    check()
    bpy.ops.plumbline.set_limit(character="Mate", angle=OVER.name, part="shin.L", degrees=70.0)
    assert session.of(bpy.context.scene).recarded == ("Mate",)
    limited_knee("Mate")
    assert not session.edited(bpy.context.scene)


def test_a_card_that_is_undone_makes_nothing_stale(two: Any) -> None:
    bpy.ops.ed.undo_push(message="before")
    session.remember(bpy.context.scene)
    limited_knee("Mate")
    bpy.ops.ed.undo_push(message="Set Joint Limit")
    assert stale() == {"Mate"}
    bpy.ops.ed.undo()
    handlers.tidy()
    assert not stale() and not session.edited(bpy.context.scene)
    bpy.ops.ed.redo()
    handlers.tidy()
    assert stale() == {"Mate"}


def test_keys_and_a_card_that_are_edited_are_both_seen(two: Any) -> None:
    scene = bpy.context.scene
    limited_knee("Mate")
    key(scene.objects["Keeper"], "shin.L", "rotation_euler", 20, (-0.5, 0.0, 0.0))
    session.mark_edited(scene.session_uid, "Keeper")
    edited_frames.find([scene])
    assert session.of(scene).edit.spans and stale() >= {"Keeper", "Mate"}


def test_a_remedy_for_one_is_not_refused_for_the_card_of_another(two: Any) -> None:
    scene, notes = bpy.context.scene, session.of(bpy.context.scene).notes
    limited_knee("Mate")
    for number, note in enumerate(notes):
        settings.show_row(number, scene)
        why = mending.refusal(bpy.context, type(note.remedy), "")
        assert bool(why) == (note.character == "Mate"), why


def test_the_card_of_an_override_makes_its_notes_stale(overridden: Any) -> None:
    limited_knee()
    edited_frames.find([bpy.context.scene])
    assert stale() == {"Keeper"}
