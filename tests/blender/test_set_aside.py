# SPDX-License-Identifier: GPL-3.0-or-later
"""Notes that are set aside: kept in the file, undone, deciding no exit code, back when they get worse."""

from pathlib import Path
from typing import Any

import bpy
import pytest
from plumbline.blender_addon import settings
from plumbline.blender_addon.kept_aside import PROPERTY
from plumbline.blender_addon.review import exit_code

from .asking import check, checked, knee_notes, undo
from .sampling.figure import bend_knee, bent_knee

pytestmark = pytest.mark.usefixtures("face")


@pytest.fixture
def rig() -> Any:
    return bent_knee()


def knee() -> tuple[int, Any]:
    note = knee_notes()[0]
    return checked().notes.index(note), note


def row(number: int) -> Any:
    return next(r for r in settings.state().rows if r.number == number)


def test_a_note_is_set_aside_and_brought_back(rig: Any) -> None:
    check()
    number, note = knee()
    assert note.set_aside is None and not row(number).aside
    assert bpy.ops.plumbline.set_aside(number=number, reason="A stilt under the trousers") == {"FINISHED"}
    assert knee()[1].set_aside == "A stilt under the trousers" and row(number).aside
    assert check() and knee()[1].set_aside == "A stilt under the trousers", "it outlives the next check"
    assert bpy.ops.plumbline.bring_back(number=knee()[0]) == {"FINISHED"}
    assert knee()[1].set_aside is None and not row(knee()[0]).aside and PROPERTY not in bpy.context.scene


def test_it_decides_no_exit_code_and_stays_in_the_file(rig: Any, tmp_path: Path) -> None:
    found = check()
    number, note = knee()
    assert note.severity == "medium" and exit_code(found.result, "medium") == 1
    bpy.ops.plumbline.set_aside(number=number, reason="A stilt")
    assert not any(n.severity != "low" and n.set_aside is None for n in found.result.notes)
    assert exit_code(found.result, "medium") == 0
    path = str(tmp_path / "shot.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.open_mainfile(filepath=path)
    check()
    assert knee()[1].set_aside == "A stilt"


def test_it_comes_back_when_it_gets_worse(rig: Any) -> None:
    check()
    number, before = knee()
    bpy.ops.plumbline.set_aside(number=number, reason="A stilt")
    bend_knee(rig, 1.2)
    check()
    after = knee()[1]
    assert after.measured > before.measured + 0.25 * before.limit and after.set_aside is None


def test_undo_brings_it_back(rig: Any) -> None:
    check()
    number = knee()[0]
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.plumbline.set_aside(number=number, reason="A stilt")
    bpy.ops.ed.undo_push(message="Set Aside")
    undo()
    assert knee()[1].set_aside is None and not row(number).aside
    undo(redo=True)
    assert knee()[1].set_aside == "A stilt" and row(number).aside


@pytest.mark.parametrize("kept", ["{", 7, '[{"check": "slip"}]'])
def test_a_property_of_somebody_else_is_said_and_stops_nothing(rig: Any, kept: Any) -> None:
    bpy.context.scene[PROPERTY] = kept
    found = check()
    assert knee()[1].set_aside is None
    assert any("set aside" in skip.why for skip in found.result.skipped)


def test_without_a_reason_nothing_is_set_aside(rig: Any) -> None:
    check()
    assert bpy.ops.plumbline.set_aside(number=knee()[0], reason=" ") == {"CANCELLED"}
    assert knee()[1].set_aside is None
