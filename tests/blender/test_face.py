# SPDX-License-Identifier: GPL-3.0-or-later
"""The face in real Blender, without a window: the button, the rows, stepping, markers, marks and cards."""

import json
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon import checking, markers, registration, session, settings, words
from plumbline.blender_addon.drawing import chips
from plumbline.blender_addon.operators.card import likely_height
from plumbline.core.body import PARTS
from plumbline.core.card import Card
from plumbline.core.check import LANES

from .asking import check, checked, knee
from .sampling.figure import figure, key, walk

pytestmark = pytest.mark.usefixtures("face")

BENT = 20


def test_the_button_fills_the_list(rig: Any) -> None:
    assert bpy.ops.plumbline.check_shot() == {"FINISHED"}
    note = knee()
    assert abs(note.worst - BENT) <= 1
    rows = settings.state().rows
    assert [(r.number, r.frame, r.amount) for r in rows] == [
        (i, n.worst, words.amount(n)) for i, n in enumerate(checked().notes)
    ]
    assert [n.severity.rank for n in checked().notes] == sorted(
        (n.severity.rank for n in checked().notes), reverse=True
    )
    row = next(r for r in rows if r.number == checked().notes.index(note))
    assert (row.place, row.brief) == ("Left shin", "Shin L")
    check()
    assert len(rows) == len(checked().notes), "a second check doubles the rows"


def test_the_scene_stays_as_it_is(rig: Any) -> None:
    """Frame, mode, selection, active bone, and a pose that is not keyed, on an animated channel too."""
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode="POSE")
    rig.data.bones.active = rig.data.bones["hand.R"]
    rig.pose.bones["shin.L"].rotation_euler.x = 1.25
    rig.pose.bones["hand.L"].location = (0.1, 0.2, 0.3)
    bpy.context.view_layer.update()

    def seen() -> Any:
        return (
            bpy.context.scene.frame_current,
            bpy.context.mode,
            [o.name for o in bpy.context.selected_objects],
            rig.data.bones.active.name,
            tuple(rig.pose.bones["shin.L"].rotation_euler),
            tuple(rig.pose.bones["hand.L"].location),
            list(rig.keys()),
            [s.name for s in bpy.data.scenes],
        )

    before = seen()
    check()
    assert seen() == before
    assert checked().notes and not session.edited(bpy.context.scene)


@pytest.mark.parametrize("part", [0.0, 0.25, 0.5, 0.75])
def test_stopped_half_way_nothing_is_left(rig: Any, part: float) -> None:
    check()
    earlier, rows = checked(), len(settings.state().rows)
    pose = tuple(rig.pose.bones["shin.L"].rotation_euler)
    job = session.job = checking.Checking(bpy.context.scene)
    while job.part <= part:
        assert job.slice(0.0)
    assert any(s.name.startswith(".probe") for s in bpy.data.scenes), "the sweep was not running: the test is blind"
    assert "Reading" in job.stage
    job.stop()
    job.settle()
    session.job = None
    assert [s.name for s in bpy.data.scenes] == ["Scene"]
    assert checked() is earlier and len(settings.state().rows) == rows and earlier.edit is None
    assert (tuple(rig.pose.bones["shin.L"].rotation_euler), bpy.context.scene.frame_current) == (pose, 3)


def test_an_error_is_told_and_leaves_nothing(rig: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(*_: Any) -> Any:
        raise RuntimeError("planted")

    monkeypatch.setattr("plumbline.blender_addon.sampling.sweep._Pass._character", breaks)
    assert bpy.ops.plumbline.check_shot() == {"CANCELLED"}
    assert checked().why == "Plumbline failed: RuntimeError: planted" and not len(settings.state().rows)
    assert [s.name for s in bpy.data.scenes] == ["Scene"] and session.job is None


def test_an_empty_scene_says_why() -> None:
    assert bpy.ops.plumbline.check_shot() == {"CANCELLED"}
    assert "no armature" in checked().why


def test_go_to_makes_the_part_active(rig: Any) -> None:
    check()
    number = checked().notes.index(knee())
    bpy.context.view_layer.objects.active = None
    bpy.ops.plumbline.go_to_note(number=number)
    assert bpy.context.view_layer.objects.active == rig and rig.select_get()
    assert rig.data.bones.active.name == "shin.L" and bpy.context.mode == "OBJECT"
    bpy.ops.object.mode_set(mode="POSE")
    rig.data.bones.active = rig.data.bones["head"]
    bpy.ops.plumbline.go_to_note(number=number)
    assert bpy.context.active_pose_bone.name == "shin.L"
    assert [b.name for b in bpy.context.selected_pose_bones] == ["shin.L"]


def test_go_to_follows_a_new_name_and_says_when_it_is_gone(rig: Any) -> None:
    check()
    number = checked().notes.index(knee())
    rig.name = "Watchman"
    bpy.context.view_layer.objects.active = None
    bpy.ops.plumbline.go_to_note(number=number)
    assert bpy.context.view_layer.objects.active == rig
    bpy.data.objects.remove(rig)
    assert bpy.ops.plumbline.go_to_note(number=number) == {"FINISHED"}
    assert bpy.context.scene.frame_current == checked().notes[number].worst


def test_a_click_on_a_row_goes_there(rig: Any) -> None:
    check()
    row = next(i for i, r in enumerate(settings.state().rows) if r.number == checked().notes.index(knee()))
    settings.state().index = row
    assert bpy.context.scene.frame_current == knee().worst


def test_next_and_previous_step_through_time(rig: Any) -> None:
    key(rig, "shin.R", "rotation_euler", 30, (-0.8, 0, 0))
    check()
    bpy.context.scene.frame_set(-50)
    forth = []
    while bpy.ops.plumbline.next_note() == {"FINISHED"}:
        forth.append((bpy.context.scene.frame_current, settings.active_number(bpy.context)))
    assert len(forth) >= 2 and sorted(n for _, n in forth) == list(range(len(checked().notes)))
    assert [f for f, _ in forth] == sorted(n.worst for n in checked().notes)
    back = [forth[-1]]
    while bpy.ops.plumbline.previous_note() == {"FINISHED"}:
        back.append((bpy.context.scene.frame_current, settings.active_number(bpy.context)))
    assert back == forth[::-1]


def test_markers_come_and_go_and_mine_stay(rig: Any, tmp_path: Path) -> None:
    scene = bpy.context.scene
    check()
    mine = scene.timeline_markers.new("mine", frame=knee().worst)
    mine.camera = None
    bpy.ops.plumbline.add_markers()
    bpy.ops.plumbline.add_markers()
    assert sorted(m.frame for m in markers.ours(scene)) == sorted({n.worst for n in checked().notes})
    assert len(scene.timeline_markers) == len(markers.ours(scene)) + 1
    assert not any(m.select for m in markers.ours(scene))
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "marked.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "marked.blend"))
    bpy.ops.plumbline.remove_markers()
    assert [m.name for m in bpy.context.scene.timeline_markers] == ["mine"]


def test_markers_need_no_registration(rig: Any) -> None:
    check()
    notes, scene = checked().notes, bpy.context.scene
    registration.unregister()
    try:
        assert markers.add(scene, notes) == len({n.worst for n in notes})
        assert not hasattr(bpy.types.TimelineMarker, markers.TAG)
    finally:
        registration.register()
    assert len(markers.ours(scene)) == len({n.worst for n in notes})


def test_marks_are_plain_properties_and_a_linked_object_is_left(rig: Any, tmp_path: Path) -> None:
    boots_ = bpy.data.objects["Boots"]
    bpy.ops.object.select_all(action="DESELECT")
    boots_.select_set(True)
    bpy.ops.plumbline.mark_prop(mark="YES")
    bpy.ops.plumbline.mark_ground(mark="NO")
    assert boots_["plumbline_prop"] is True and boots_["plumbline_ground"] is False
    bpy.ops.plumbline.mark_prop(mark="AUTO")
    assert "plumbline_prop" not in boots_
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "set.blend"))
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    with bpy.data.libraries.load(str(tmp_path / "set.blend"), link=True) as (there, here):
        here.objects = ["Boots"]
    linked = here.objects[0]
    bpy.context.scene.collection.objects.link(linked)
    linked.select_set(True)
    bpy.context.view_layer.objects.active = linked
    assert bpy.ops.plumbline.mark_prop(mark="YES") == {"CANCELLED"}
    assert "plumbline_prop" not in linked


def test_the_found_map_is_kept_and_used(rig: Any) -> None:
    check()
    assert "plumbline_card" not in rig, "a check stored a map"
    assert bpy.ops.plumbline.store_card() == {"FINISHED"}
    card = Card.read(rig["plumbline_card"])
    character = checked().shot.characters[0]
    assert card.parts == dict(zip(character.parts, character.bones, strict=True)) and set(card.parts) <= set(PARTS)
    assert session.edited(bpy.context.scene)
    data = json.loads(rig["plumbline_card"])
    del data["map"]["head"]
    data["map"]["head"] = ""
    rig["plumbline_card"] = json.dumps(data)
    check()
    assert not checked().shot.characters[0].has("head")


def test_a_figure_of_unknown_size_is_offered_one(rig: Any) -> None:
    rig.scale = (100, 100, 100)
    check()
    character = checked().shot.characters[0]
    assert not character.size_is_known
    height = likely_height(character.height)
    assert height == pytest.approx(character.height / 100, abs=0.01)
    bpy.ops.plumbline.set_height(character=character.name, height=height)
    assert checked().shot.characters[0].size_is_known
    check()
    assert checked().shot.characters[0].card.height == pytest.approx(height)
    assert not any("card states no height" in s.why for s in checked().result.skipped)


def test_notes_are_saved_as_the_command_line_writes_them(rig: Any, tmp_path: Path) -> None:
    check()
    target = tmp_path / "notes.json"
    assert bpy.ops.plumbline.save_notes(filepath=str(target)) == {"FINISHED"}
    data = json.loads(target.read_text("utf-8"))
    assert data["complete"] is True and len(data["notes"]) == len(checked().notes)
    standing = {row["part"]: (row["on"], row["off"]) for row in data["contacts"]}
    assert standing["foot.R"] == (None, None) and len(data["contacts"]) == len(checked().contacts)
    other = tmp_path / "other.json"
    other.write_text("my shopping list", "utf-8")
    assert bpy.ops.plumbline.save_notes(filepath=str(other)) == {"CANCELLED"}
    assert other.read_text("utf-8") == "my shopping list"


def test_each_scene_has_its_own_rows(rig: Any) -> None:
    check()
    first = len(settings.state().rows)
    other = bpy.data.scenes.new("Other")
    bpy.context.window.scene = other
    assert session.of(other) is None
    walk(figure("Second", other))
    check()
    assert sum(r.scene == str(other.session_uid) for r in settings.state().rows) == len(session.of(other).notes)
    assert len([r for r in settings.state().rows if r.scene != str(other.session_uid)]) == first


@pytest.mark.parametrize("severity", ["low", "medium", "high"])
def test_chips_differ_by_lane_and_severity(severity: str) -> None:
    seen = {lane: chips.pixels(lane, severity) for lane in (*LANES, "")}
    for lane, chip in seen.items():
        assert chip.shape == (chips.SIZE, chips.SIZE, 4) and chip[0, 0, 3] == 0 and chip[16, 3, 3] == 1
        assert not any(np.array_equal(chip, other) for name, other in seen.items() if name != lane)
