# SPDX-License-Identifier: GPL-3.0-or-later
"""What the list and the marks show: severity, lane, character, selection, frames; and which characters are checked."""

from typing import Any

import bpy
import pytest
from plumbline.blender_addon import compat, filters, settings
from plumbline.blender_addon.drawing.shown import shown

from .asking import check, checked
from .sampling.figure import bend_knee, bent_knee, figure, key

pytestmark = pytest.mark.usefixtures("face")


@pytest.fixture
def pair() -> tuple[Any, Any]:
    """Two characters, each with a bent left knee; the second stands three meters aside."""
    first = bent_knee()
    second = figure("Mate")
    second.location.x = 3.0
    bend_knee(second, 0.7)
    key(second, "shin.R", "rotation_euler", 1, (0.3, 0, 0))
    check()
    return first, second


def seen() -> set[tuple[str, str]]:
    passing = filters.now(bpy.context)
    out = {(n.character, n.part) for n in checked().notes if passing.passes(n)}
    assert out == {(n.character, n.part) for n in shown(bpy.context).notes}, "marks show what the list shows"
    return out


BOTH = {("Keeper", "shin.L"), ("Mate", "shin.L")}


def test_all_is_shown_at_first(pair: Any) -> None:
    assert seen() == BOTH


def test_severities_and_lanes_are_hidden_and_shown_again(pair: Any) -> None:
    for operator, words in (("show_severity", {"severity": "medium"}), ("show_lane", {"lane": "Limbs"})):
        getattr(bpy.ops.plumbline, operator)(**words)
        assert seen() == set()
        getattr(bpy.ops.plumbline, operator)(**words)
        assert seen() == BOTH


def test_one_character_is_shown(pair: Any) -> None:
    settings.state().show_character = "Mate"
    assert seen() == {("Mate", "shin.L")}
    settings.state().show_character = "Somebody of another shot"
    assert seen() == BOTH, "who is not in the shot hides nobody"


def test_with_several_characters_notes_say_whose_they_are(pair: Any) -> None:
    assert {row.who for row in settings.state().rows} == {"Keeper", "Mate"}
    bpy.ops.plumbline.add_markers()
    (marker,) = bpy.context.scene.timeline_markers  # both have their worst frame there
    assert marker.name.startswith(("Keeper: Joint limit, left shin", "Mate: Joint limit, left shin"))
    bpy.data.objects.remove(pair[1])
    check()
    assert {row.who for row in settings.state().rows} == {""}
    bpy.ops.plumbline.add_markers()
    assert bpy.context.scene.timeline_markers[0].name.startswith("Joint limit, left shin")


def test_frames_outside_the_preview_range_are_hidden(pair: Any) -> None:
    scene = bpy.context.scene
    scene.use_preview_range, scene.frame_preview_start, scene.frame_preview_end = True, 30, 40
    settings.state().in_range_only = True
    assert seen() == set()
    scene.frame_preview_start = 20
    assert seen() == BOTH


def test_selected_characters_and_in_pose_mode_selected_parts(pair: Any) -> None:
    first, second = pair
    settings.state().selected_only = True
    first.select_set(False)
    second.select_set(True)
    assert seen() == {("Mate", "shin.L")}
    second.select_set(False)
    bpy.context.view_layer.objects.active = first
    first.select_set(True)
    bpy.ops.object.mode_set(mode="POSE")
    for bone in first.pose.bones:
        compat.select_bone(bone, bone.name == "head")
    assert seen() == set()
    compat.select_bone(first.pose.bones["shin.L"], True)
    assert seen() == {("Keeper", "shin.L")}
    bpy.ops.object.mode_set(mode="OBJECT")


def test_only_selected_characters_are_checked(pair: Any) -> None:
    first, second = pair
    settings.state().check_selected = True
    first.select_set(False)
    second.select_set(True)
    assert [c.name for c in check().shot.characters] == ["Mate"]
    second.select_set(False)
    assert "select" in check().why


def test_markers_are_those_of_the_notes_that_are_shown(pair: Any) -> None:
    settings.state().show_character = "Mate"
    bpy.ops.plumbline.add_markers()
    assert len(bpy.context.scene.timeline_markers) == 1
    bpy.ops.plumbline.remove_markers()


def test_the_note_that_is_looked_at_stays_chosen_when_the_shot_is_checked_again(pair: Any) -> None:
    here = settings.state()
    number = next(i for i, n in enumerate(checked().notes) if n.character == "Mate")
    bpy.ops.plumbline.go_to_note(number=number)
    check()
    assert checked().notes[settings.active_number(bpy.context)].character == "Mate"
    bpy.data.objects.remove(pair[1])
    check()
    assert here.index == 0, "where it is gone, the first is chosen"
