# SPDX-License-Identifier: GPL-3.0-or-later
"""Remedies carried out in Blender on the keeper's shot: the note goes away and no new one comes."""

from dataclasses import replace
from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon import compat, mending, session, settings
from plumbline.blender_addon.operators import pin_part
from plumbline.core.takes import same
from plumbline.sample_scenes import keeper_faults

from .asking import check, checked


@pytest.fixture(autouse=True)
def keeper(face: None) -> None:
    """The keeper's shot with its five faults, checked."""
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
    ("check", "operator"), [("slip", "pin_part"), ("linear-span", "ease_span")], ids=["slip", "linear-span"]
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


def test_a_remedy_refuses_where_it_cannot_help() -> None:
    choose("joint-limit")
    for operator in (bpy.ops.plumbline.ease_span, bpy.ops.plumbline.pin_part):
        assert not operator.poll()
    choose("slip")
    assert bpy.ops.plumbline.pin_part.poll() and not bpy.ops.plumbline.ease_span.poll()
    session.mark_edited(bpy.context.scene.session_uid, "Keeper")
    assert not bpy.ops.plumbline.pin_part.poll(), "the places of a stale note may be wrong"


def test_a_figure_that_slid_whole_is_not_pinned_by_its_foot_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    note = choose("slip")
    whole = replace(note, remedy=replace(note.remedy, body=((0.0, 0.0, 0.0), (0.3, 0.0, 0.0))))
    assert pin_part.refusal(bpy.context) == ""
    for module in (pin_part, mending):
        monkeypatch.setattr(module, "active_note", lambda context: (whole, ""))
    assert "whole figure" in pin_part.refusal(bpy.context)


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
