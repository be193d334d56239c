# SPDX-License-Identifier: GPL-3.0-or-later
"""What undo, edits, another file and a save do to a check and to its results."""

from pathlib import Path
from typing import Any

import bpy
import pytest
from plumbline.blender_addon import checking, fingerprint, handlers, session, settings

from .asking import check, checked, knee, undo
from .sampling.figure import key

pytestmark = pytest.mark.usefixtures("face")

LAST = 40


def test_the_probe_that_undo_brings_back_is_tidied(rig: Any) -> None:
    bpy.ops.ed.undo_push(message="before")
    job = session.job = checking.Checking(bpy.context.scene)
    for _ in range(5):
        job.slice(0.0)
    bpy.ops.ed.undo_push(message="by force")
    bpy.ops.ed.undo_push(message="again")
    bpy.ops.ed.undo()
    assert job.done, "undo did not stop the check"
    session.job = None
    assert bpy.app.timers.is_registered(handlers.tidy)
    handlers.tidy()  # in background no timer ticks
    assert [s.name for s in bpy.data.scenes] == ["Scene"]


@pytest.mark.parametrize("mode", ["OBJECT", "POSE"])
def test_undo_of_a_click_keeps_the_list_and_is_no_edit(rig: Any, mode: str) -> None:
    bpy.context.view_layer.objects.active = rig
    bpy.ops.object.mode_set(mode=mode)
    bpy.ops.ed.undo_push(message="start")
    check()
    count, name = len(settings.state().rows), rig.name
    bpy.ops.plumbline.go_to_note("EXEC_DEFAULT", True, number=checked().notes.index(knee()))
    assert bpy.context.scene.frame_current == knee().worst
    assert not session.edited(bpy.context.scene), "going to a note counts as an edit"
    undo()
    assert bpy.context.scene.frame_current == 3
    assert len(settings.state().rows) == count > 0 and checked().notes
    assert not session.edited(bpy.context.scene), "the undo of a click counts as an edit"
    undo(redo=True)
    assert bpy.context.scene.frame_current == knee().worst and not session.edited(bpy.context.scene)
    bpy.data.objects[name].location.y += 0.1
    bpy.context.view_layer.update()
    assert session.edited(bpy.context.scene), "an edit after an undo is not seen"


def test_an_edit_in_one_breath_with_an_undo_is_seen(rig: Any) -> None:
    bpy.ops.ed.undo_push(message="start")
    check()
    name = rig.name
    bpy.ops.plumbline.go_to_note("EXEC_DEFAULT", True, number=checked().notes.index(knee()))
    bpy.ops.ed.undo()
    bpy.data.objects[name].location.y += 0.1
    handlers.tidy()
    assert session.edited(bpy.context.scene)


def test_the_handler_of_undo_only_marks(rig: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """What an undo changed is found by a timer: in the handler nothing is read, however large the scene is."""
    bpy.ops.ed.undo_push(message="start")
    bpy.context.scene.objects[rig.name].location.y += 0.1
    bpy.ops.ed.undo_push(message="edit")
    check()
    asked: list[str] = []
    for name in ("of_pose", "of_data", "of_unkeyed"):
        plain = getattr(fingerprint, name)
        monkeypatch.setattr(fingerprint, name, lambda scene, plain=plain: (asked.append("read"), plain(scene))[1])
    follow = settings.follow_aside
    monkeypatch.setattr(settings, "follow_aside", lambda scene: (asked.append("rows"), follow(scene))[1])
    bpy.ops.ed.undo()
    assert not asked and session.undoing and bpy.app.timers.is_registered(handlers.tidy)
    handlers.tidy()
    assert {"read", "rows"} == set(asked) and session.edited(bpy.context.scene) and not session.undoing


EDITS = {
    "key": lambda rig: key(rig, "shin.R", "rotation_euler", 9, (0.5, 0, 0)),
    "pose": lambda rig: setattr(rig.pose.bones["hand.L"], "location", (0, 0.2, 0)),
    "place": lambda rig: setattr(rig, "location", (0, 0, 0.2)),
    "constraint": lambda rig: rig.pose.bones["hand.L"].constraints.new("LIMIT_ROTATION"),
    "mark": lambda rig: rig.__setitem__("plumbline_prop", True),
    "range": lambda rig: setattr(bpy.context.scene, "frame_end", LAST - 3),
}


@pytest.mark.parametrize("edit", list(EDITS))
def test_undo_of_an_edit_is_an_edit(rig: Any, edit: str) -> None:
    """The check holds for the scene after the edit, so undoing that makes it stale; also after a click."""
    bpy.ops.ed.undo_push(message="start")
    EDITS[edit](bpy.context.scene.objects[rig.name])
    bpy.context.scene.frame_set(3)  # the edit of a key leaves a pose behind that no key holds
    bpy.ops.ed.undo_push(message="edit")
    check()
    bpy.ops.plumbline.go_to_note("EXEC_DEFAULT", True, number=checked().notes.index(knee()))
    undo()
    assert not session.edited(bpy.context.scene)
    undo()
    assert session.edited(bpy.context.scene)


def test_edits_make_it_stale_and_steps_do_not(rig: Any) -> None:
    scene = bpy.context.scene
    for innocent in (
        lambda: scene.frame_set(9),
        lambda: setattr(scene, "frame_current", 14),
        lambda: rig.select_set(True),
        lambda: scene.timeline_markers.new("mine", frame=2),
    ):
        check()
        innocent()
        bpy.context.view_layer.update()
        assert not session.edited(scene)
    for edit in (
        lambda: key(rig, "shin.R", "rotation_euler", 9, (0.5, 0, 0)),
        lambda: setattr(rig.pose.bones["hand.L"], "location", (0, 0.2, 0)),
        lambda: setattr(rig, "location", (0, 0, 0.2)),
        lambda: setattr(scene, "frame_end", LAST - 3),
        lambda: setattr(scene.render, "fps", 30),
    ):
        check()
        assert not session.edited(scene)
        edit()
        bpy.context.view_layer.update()
        assert session.edited(scene)


def test_another_file_forgets_everything(rig: Any, tmp_path: Path) -> None:
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shot.blend"))
    check()
    assert len(settings.state().rows)
    job = session.job = checking.Checking(bpy.context.scene)
    for _ in range(5):
        job.slice(0.0)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "shot.blend"))
    assert job.done and session.of(bpy.context.scene) is None and not len(settings.state().rows)
    session.job = None
    assert [s.name for s in bpy.data.scenes] == ["Scene"]


def test_a_save_in_mid_check_holds_no_probe(rig: Any, tmp_path: Path) -> None:
    job = session.job = checking.Checking(bpy.context.scene)
    for _ in range(5):
        job.slice(0.0)
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "shot.blend"), copy=True)
    session.job = None
    with bpy.data.libraries.load(str(tmp_path / "shot.blend")) as (inside, _):
        assert inside.scenes == ["Scene"]
