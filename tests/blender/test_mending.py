# SPDX-License-Identifier: GPL-3.0-or-later
"""Remedies carried out in Blender on the keeper's shot: the note goes away and no new one comes."""

from dataclasses import replace
from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon import compat, session, settings
from plumbline.blender_addon.operators import pin_body, shift_hips
from plumbline.blender_addon.panels.sidebar import mend_of
from plumbline.core.remedy import Pin
from plumbline.core.takes import same
from plumbline.sample_scenes import keeper_faults, keeper_shot

from .asking import check, checked, undo


@pytest.fixture(autouse=True)
def keeper(request: Any, face: None) -> None:
    """The keeper's shot with its planted faults, checked, where a test asks for no other."""
    if "sliding" not in request.fixturenames:
        keeper_faults.build()
        check()


def notes() -> Any:
    found = checked()
    assert found.result is not None, found.why
    return found.notes


def choose(check: str) -> Any:
    """The note of this check, active in the list."""
    number, note = next((i, n) for i, n in enumerate(notes()) if n.check == check)
    settings.show_row(number, bpy.context.scene)
    return note


def severe() -> list[Any]:
    return [n for n in notes() if n.severity != "low"]


@pytest.mark.parametrize(
    ("check", "operator"),
    [("slip", "pin_part"), ("linear-span", "ease_span"), ("hard-landing", "let_give"), ("off-balance", "shift_hips"),
     ("undriven-move", "shift_hips")],
    ids=["slip", "linear-span", "hard-landing", "off-balance", "undriven-move"],
)
def test_the_remedy_makes_its_note_go_away_and_no_other_come(check: str, operator: str) -> None:
    before = severe()
    note = choose(check)
    frame = bpy.context.scene.frame_current
    assert getattr(bpy.ops.plumbline, operator)() == {"FINISHED"}
    assert bpy.context.scene.frame_current == frame
    assert not any(same(note, other) for other in notes()), "gone"
    assert {n.id for n in severe()} < {n.id for n in before}
    assert not session.edited(bpy.context.scene), "the check that followed is the newest"


def test_a_pinned_foot_is_held_by_few_keys() -> None:
    note = choose("slip")
    curves = {c.data_path + str(c.array_index): len(c.keyframe_points) for o in rigs() for c, _ in compat.curves_of(o)}
    bpy.ops.plumbline.pin_part()
    more = {
        name: len(c.keyframe_points) - curves.get(name, 0)
        for o in rigs()
        for c, _ in compat.curves_of(o)
        if (name := c.data_path + str(c.array_index)) and len(c.keyframe_points) != curves.get(name, 0)
    }
    assert more and all("location" in name for name in more), "only the control's place was keyed"
    first, last = note.remedy.frames
    assert max(more.values()) < (last - first) / 2


def test_only_the_named_keys_are_selected() -> None:
    note = choose("linear-span")
    assert bpy.ops.plumbline.select_keys() == {"FINISHED"}
    chosen = {
        (curve.data_path, curve.array_index, round(point.co.x))
        for rig in rigs()
        for curve, _ in compat.curves_of(rig)
        for point in curve.keyframe_points
        if point.select_control_point
    }
    assert len(chosen) == sum(len(key.frames) for key in note.keys)
    assert {frame for *_, frame in chosen} == {round(f) for key in note.keys for f in key.frames}


def test_what_a_remedy_edits_is_what_the_note_names() -> None:
    note = choose("linear-span")
    before = values()
    bpy.ops.plumbline.ease_span()
    after = values()
    changed = {
        name for name in before if before[name].shape != after[name].shape or (before[name] != after[name]).any()
    }
    owners = {key.owner.rpartition("/")[2] for key in note.keys}
    assert changed and all(any(f'"{owner}"' in name for owner in owners) for name in changed)


def paths(*parts: str) -> Any:
    """Where the keeper's parts are on frames 1 to 280 of the last check, (280, parts, 3) m."""
    shot = checked().shot
    assert shot is not None
    rows = np.searchsorted(shot.frames, np.arange(1, 281))
    assert (shot.frames[rows] == np.arange(1, 281)).all()
    return np.stack([shot.characters[0].head(part)[rows] for part in parts], axis=1)


@pytest.mark.parametrize("name", ["off-balance", "undriven-move"])
def test_shifted_hips_take_the_mended_path_and_the_feet_stay(name: str) -> None:
    note, before, feet = choose(name), paths("pelvis"), paths("foot.L", "foot.R")
    assert mend_of(note) == "plumbline.shift_hips", "the panel offers it"
    first, last = note.remedy.frames
    bpy.ops.ed.undo_push(message="Planted")
    kept = values()
    owners = {key.owner.rpartition("/")[2] for key in note.keys}
    assert bpy.ops.plumbline.shift_hips("EXEC_DEFAULT", True) == {"FINISHED"}
    moved, asked = (paths("pelvis") - before)[:, 0], np.array(note.remedy.offsets)
    assert np.abs(moved[first - 1 : last] - asked).max() < 0.03 * np.abs(asked).max() + 1e-3
    outside = np.concatenate([moved[: max(first - 2, 0)], moved[last + 1 :]])
    assert len(outside) > 200 and np.abs(outside).max() < 1e-3, "what comes before and later is as it was"
    assert np.abs(paths("foot.L", "foot.R") - feet).max() < 2e-3
    now = values()
    changed = {path for path in now if kept[path].shape != now[path].shape or (kept[path] != now[path]).any()}
    assert changed and all(any(f'"{owner}"' in path for owner in owners) for path in changed)
    undo()
    assert all(np.array_equal(kept[path], back) for path, back in values().items())


def test_hips_are_not_shifted_where_the_feet_would_go_with_them() -> None:
    choose("off-balance")
    assert shift_hips.refusal(bpy.context) == "" and bpy.ops.plumbline.shift_hips.poll()
    found = checked()
    assert found.shot is not None
    (keeper,) = found.shot.characters
    found.shot = replace(found.shot, characters=(replace(keeper, goals=()),))
    assert shift_hips.refusal(bpy.context) == "Its legs follow no goals: the feet would move with the hips"
    assert not bpy.ops.plumbline.shift_hips.poll()


def test_a_remedy_refuses_where_it_cannot_help() -> None:
    choose("joint-limit")
    for operator in (bpy.ops.plumbline.ease_span, bpy.ops.plumbline.pin_part):
        assert not operator.poll()
    choose("slip")
    assert bpy.ops.plumbline.pin_part.poll() and not bpy.ops.plumbline.ease_span.poll()
    session.mark_edited(bpy.context.scene.session_uid, "Keeper")
    assert not bpy.ops.plumbline.pin_part.poll(), "the places of a stale note may be wrong"


@pytest.fixture
def sliding(face: None) -> Any:
    """The keeper who slides sideways whole while he stands on his left foot, moved by his root's keys."""
    rig = keeper_shot.build()
    root = rig.pose.bones["root"]
    for frame, aside in ((1, 0.0), (52, 0.0), (60, 0.4), (120, 0.4), (160, 0.45)):
        root.location = aside, 0.0, 0.0
        root.keyframe_insert("location", frame=frame)
    return rig


def root_at(frames: Any) -> Any:
    """The root's own location on frames, (N, 3)."""
    (rig,) = (o for o in rigs() if "root" in o.pose.bones)
    path = rig.pose.bones["root"].path_from_id("location")
    curves = {c.array_index: c for c, _ in compat.curves_of(rig) if c.data_path == path}
    return np.array([[curves[k].evaluate(f) for k in range(3)] for f in frames])


def test_a_figure_that_slid_whole_goes_back_whole_and_stays_there(sliding: Any) -> None:
    check()
    note = choose("slip")
    assert note.remedy.body and "root" in {key.owner.rpartition("/")[2] for key in note.keys}
    before, severe_before = root_at(range(1, 193)), severe()
    assert bpy.ops.plumbline.pin_part() == {"FINISHED"}
    assert not any(same(note, other) for other in notes()), "gone"
    assert {n.id for n in severe()} < {n.id for n in severe_before}, "no other comes"
    moved = root_at(range(1, 193)) - before
    first, last = note.remedy.frames
    assert np.abs(moved[: first - 2]).max() < 1e-3, "what was before the slide is as it was"
    assert np.abs(moved[last:] - moved[-1]).max() < 2e-3, "it stays there, along the way that it had"
    assert abs(moved[-1, 0] + note.measured) < 0.02


def test_without_a_control_that_carries_all_it_says_what_to_move(sliding: Any) -> None:
    """The feet's controls hang on nothing, so that no one control carries the figure."""
    bpy.context.view_layer.objects.active = sliding
    bpy.ops.object.mode_set(mode="EDIT")
    for side in "LR":
        sliding.data.edit_bones[f"foot_ctrl.{side}"].parent = None
    bpy.ops.object.mode_set(mode="OBJECT")
    before = values()
    why = pin_body.pin_body(bpy.context, sliding, ("pelvis", "foot.L", "foot.R"), slid(), 1.0)
    assert "No one control of Keeper carries the whole figure" in why and "(-0.40, +0.00, +0.00) m" in why
    assert all((before[name] == now).all() for name, now in values().items()), "nothing was keyed"


def slid() -> Pin:
    """A remedy that moves the figure back by 40 cm."""
    return Pin("foot.L", ((0.0, 0.0, 0.0), (0.0, 0.0, 0.0)), (52, 53), body=((0.0, 0.0, 0.0), (-0.4, 0.0, 0.0)))


def rigs() -> list[Any]:
    return [o for o in bpy.context.scene.objects if o.type == "ARMATURE"]


def values() -> dict[str, Any]:
    """All that the curves hold, by path."""
    out = {}
    for rig in rigs():
        for curve, _ in compat.curves_of(rig):
            every = []
            for name, width in (("co", 2), ("handle_left", 2), ("handle_right", 2)):
                flat = np.empty(len(curve.keyframe_points) * width, np.float32)
                curve.keyframe_points.foreach_get(name, flat)
                every.append(flat)
            kinds = np.array([hash(point.interpolation) for point in curve.keyframe_points], float)
            out[f"{curve.data_path}[{curve.array_index}]"] = np.concatenate([*every, kinds])
    return out
