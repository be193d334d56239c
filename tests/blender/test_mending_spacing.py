# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedies of spacing and arcs, carried out on keys: the note goes away, nothing else is touched, one undo brings
all back."""

from dataclasses import replace
from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon import compat, session, settings
from plumbline.blender_addon.key_mending import mend_keys
from plumbline.blender_addon.operators import smooth_wiggle
from plumbline.blender_addon.panels.sidebar import mend_of
from plumbline.core.note import KeyReference, Note
from plumbline.core.remedy import Move, Soften
from plumbline.core.takes import same
from plumbline.core.testing import corpus
from plumbline.core.testing.plant_locks import locks
from plumbline.core.testing.plant_snaps import snaps
from plumbline.core.testing.plants import Case, Clean, prepared

from ..corpus import keyed_stage
from . import planted_keys
from .asking import check, checked, undo

#: Of a rig whose arms hang on keys of their own, from a clip keyed anew.
STAGED = {"stuck-in-space": (locks, "let_follow"), "pop": (snaps, "soften_snap")}
EVERY = {name: operator for name, (_, operator) in {**planted_keys.PLANTED, **STAGED}.items()}


@pytest.fixture(scope="module")
def jump() -> Clean:
    return prepared(corpus.proxy("humanoid3d_jump"))


@pytest.fixture(params=EVERY)
def planted(request: Any, face: None, jump: Clean) -> Note:
    """The note on the planted fault, active in the list."""
    name: str = request.param
    if name in STAGED:
        case: Case = next(c for c in STAGED[name][0](jump) if c.size == "middle")
        keyed_stage.build(case.shot, jump.shot)
    else:
        planted_keys.build(name)
    check()
    return choose(name)


def choose(name: str) -> Note:
    """The note of this check, active in the list."""
    number, note = next((i, n) for i, n in enumerate(checked().notes) if n.check == name)
    settings.show_row(number, bpy.context.scene)
    return note


def keys() -> dict[tuple[str, float], tuple[float, ...]]:
    """Each key by its curve and frame: its value, kind and, unless Blender lays them itself, its handles."""
    out = {}
    for thing in bpy.context.scene.objects:
        for curve, _ in compat.curves_of(thing):
            for p in curve.keyframe_points:
                sides = ((p.handle_left_type, p.handle_left), (p.handle_right_type, p.handle_right))
                laid = [tuple(at) for kind, at in sides if kind in ("FREE", "ALIGNED")]
                out[f"{thing.name} {curve.data_path}[{curve.array_index}]", round(p.co.x, 3)] = (
                    p.co.y, hash(p.interpolation), *(v for at in laid for v in at))
    return out


def named(note: Note) -> set[tuple[str, float]]:
    """The keys that a note names, as ``keys`` tells them."""
    out = set()
    for key in note.keys:
        thing, _, bone = key.owner.partition("/")
        path, _, index = key.channel.partition("[")
        for frame in key.frames:
            out.add((f'{thing} pose.bones["{bone}"].{path}[{index}', round(frame, 3)))
    return out


def test_the_note_goes_away_named_keys_alone_change_and_undo_brings_all_back(planted: Note) -> None:
    severe = [n for n in checked().notes if n.severity.rank]
    bpy.context.scene.frame_set(7)
    bpy.ops.ed.undo_push(message="Planted")
    before, ours = keys(), named(planted)
    assert ours <= set(before)
    operator = EVERY[planted.check]
    assert mend_of(planted) == f"plumbline.{operator}", "the panel offers it"
    if planted.check == "pop":
        assert isinstance(planted.remedy, Soften)
        hips = Move("pelvis", planted.remedy.offsets[0], planted.remedy.frames)
        assert mend_of(replace(planted, remedy=hips)) == "", "a move of the hips that is no snap"
    assert getattr(bpy.ops.plumbline, operator)("EXEC_DEFAULT", True) == {"FINISHED"}

    left = checked().notes
    assert not [n.text for n in left if same(planted, n)], "gone"
    assert not [n.text for n in left if n.severity.rank and not any(same(n, o) for o in severe)], "no other comes"
    assert not session.edited(bpy.context.scene), "the check that followed is the newest"
    assert bpy.context.scene.frame_current == 7

    after = keys()
    moved = [k for k, v in before.items()
             if k not in ours and (k not in after or not np.allclose(v[:2], after[k][:2], atol=1e-6))]
    assert not moved, "what the note does not name stays"
    assert {curve for curve, _ in after.keys() - before.keys()} <= {curve for curve, _ in ours}
    assert after != before
    undo()
    assert keys() == before


def wiggling() -> tuple[Any, Note]:
    """The rig and the note of the hand that trembles."""
    rig = planted_keys.build("jitter")
    check()
    return rig, choose("jitter")


def test_under_modifiers_it_says_why_it_cannot(face: None) -> None:
    rig, _ = wiggling()
    for curve, _ in compat.curves_of(rig):
        curve.modifiers.new("NOISE").strength = 0.0
    check()
    note = choose("jitter")
    before = keys()
    assert bpy.ops.plumbline.smooth_wiggle() == {"CANCELLED"}
    assert keys() == before
    assert mend_keys(bpy.context, note).startswith("Modifiers, strips or drivers lie over the keys")
    rig.animation_data_clear()
    assert mend_keys(bpy.context, note) == "The keys are no longer there; check the shot again"


def test_the_keys_of_a_linked_action_are_left_alone(face: None, tmp_path: Any) -> None:
    rig, _ = wiggling()
    path, name = tmp_path / "keys.blend", rig.animation_data.action.name
    bpy.data.libraries.write(str(path), {rig.animation_data.action})
    with bpy.data.libraries.load(str(path), link=True) as (_, into):
        into.actions = [name]
    rig.animation_data.action = into.actions[0]
    if hasattr(rig.animation_data, "action_slot"):
        rig.animation_data.action_slot = rig.animation_data.action_suitable_slots[0]
    check()
    note = choose("jitter")
    assert bpy.ops.plumbline.smooth_wiggle() == {"CANCELLED"}
    assert mend_keys(bpy.context, note) == "The keys are linked: make a library override of the action first"


def test_a_key_that_the_note_does_not_name_is_never_written_over(face: None) -> None:
    rig, note = wiggling()
    lost = [KeyReference(k.owner, k.channel, tuple(f for f in k.frames if round(f) != 110)) for k in note.keys]
    before = keys()
    why = mend_keys(bpy.context, replace(note, keys=tuple(lost)))
    assert "in frame 110" in why and "does not name" in why
    assert keys() == before


def test_motion_without_keys_is_refused_before_it_is_tried(face: None) -> None:
    _, note = wiggling()
    checked_ = checked()
    assert checked_.result is not None
    checked_.result = replace(checked_.result, notes=(replace(note, keys=()),))
    choose("jitter")
    assert smooth_wiggle.refusal(bpy.context).startswith("The motion is baked or comes from elsewhere")
    assert not bpy.ops.plumbline.smooth_wiggle.poll()


def test_each_operator_takes_its_own_remedy_alone(face: None) -> None:
    wiggling()
    others = {*EVERY.values()} - {"smooth_wiggle"}
    assert bpy.ops.plumbline.smooth_wiggle.poll()
    assert not [name for name in others if getattr(bpy.ops.plumbline, name).poll()]
    session.mark_edited(bpy.context.scene.session_uid, "Keeper")
    assert not bpy.ops.plumbline.smooth_wiggle.poll(), "the places of a stale note may be wrong"
