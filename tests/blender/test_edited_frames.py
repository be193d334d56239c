# SPDX-License-Identifier: GPL-3.0-or-later
"""After an edit only the notes of the edited frames are stale, where keys alone were edited."""

import time
from typing import Any

import bpy
import pytest
from plumbline.blender_addon import edited_frames, session

from .asking import check
from .sampling.figure import bent_knee, key

pytestmark = pytest.mark.usefixtures("face")


@pytest.fixture
def rig() -> Any:
    """The left knee is bent the wrong way round frame 20; the head is keyed at 1, 30, 36 and 40."""
    rig = bent_knee()
    for frame in (1, 30, 36, 40):
        key(rig, "head", "rotation_euler", frame, (0.0, 0.0, 0.0))
    assert check().notes and not session.edited(bpy.context.scene)
    return rig


def spans() -> Any:
    scene = bpy.context.scene
    session.mark_edited(scene.session_uid, "Keeper")
    edited_frames.find([scene])
    return session.of(scene).edit.spans


def stale() -> list[bool]:
    return [session.stale(bpy.context.scene, note) for note in session.of(bpy.context.scene).notes]


def test_keys_edited_elsewhere_leave_the_note_as_it_is(rig: Any) -> None:
    key(rig, "head", "rotation_euler", 36, (0.3, 0.0, 0.0))
    assert spans() == ((30, 40),)
    assert stale() == [False] and session.edited(bpy.context.scene)


def test_keys_edited_under_the_note_make_it_stale(rig: Any) -> None:
    key(rig, "shin.L", "rotation_euler", 20, (-0.5, 0.0, 0.0))
    assert spans() == ((14, 26),)
    assert stale() == [True]


def test_the_keys_of_a_goal_that_is_an_object_of_its_own_are_held_against_the_checked_ones(rig: Any) -> None:
    goal = bpy.data.objects.new("Step", None)
    bpy.context.scene.collection.objects.link(goal)
    for frame in (1, 30, 36, 40):
        goal.location = (-0.2, -0.1, 0.3)
        goal.keyframe_insert("location", frame=frame)
    constraint = rig.pose.bones["shin.R"].constraints.new("IK")
    constraint.target, constraint.chain_count = goal, 2
    check()
    goal.location.z = 0.5
    goal.keyframe_insert("location", frame=36)
    assert spans() == ((30, 40),)


def test_a_second_edit_is_looked_at_too(rig: Any) -> None:
    key(rig, "head", "rotation_euler", 36, (0.3, 0.0, 0.0))
    assert spans() == ((30, 40),)
    key(rig, "shin.L", "rotation_euler", 20, (-0.5, 0.0, 0.0))
    assert spans() == ((14, 26), (30, 40))
    assert stale() == [True]


def test_until_it_is_known_all_is_stale(rig: Any) -> None:
    session.mark_edited(bpy.context.scene.session_uid, "Keeper")
    assert stale() == [True]


@pytest.mark.parametrize(
    "edit",
    [
        lambda rig: setattr(rig.pose.bones["neck"], "location", (0.0, 0.1, 0.0)),
        lambda rig: setattr(rig, "location", (0.0, 1.0, 0.0)),
        lambda rig: rig.pose.bones["hand.L"].constraints.new("LIMIT_ROTATION"),
        lambda rig: setattr(bpy.context.scene, "frame_end", 38),
        lambda rig: key(rig, "neck", "location", 5, (0.0, 0.1, 0.0)),
    ],
    ids=["pose without a key", "object moved", "constraint", "frame range", "a new curve"],
)
def test_what_is_more_than_keys_makes_all_frames_stale(rig: Any, edit: Any) -> None:
    edit(rig)
    bpy.context.view_layer.update()
    assert spans() in (None, ((1, 40),), ((1, 38),))
    assert stale() == [True]


def test_frame_changes_alone_are_no_edit_of_what_is_not_keyed(rig: Any) -> None:
    key(rig, "head", "rotation_euler", 36, (0.3, 0.0, 0.0))
    bpy.context.scene.frame_set(23)
    assert spans() == ((30, 40),)


def test_what_changes_nothing_is_no_edit(rig: Any) -> None:
    scene = bpy.context.scene
    bpy.data.images.new("Sky", 8, 8)
    bpy.context.view_layer.update()
    session.mark_edited(scene.session_uid, "Keeper")
    edited_frames.find([scene])
    assert not session.edited(scene)


def test_an_edit_that_is_taken_back_by_hand_is_none(rig: Any) -> None:
    scene = bpy.context.scene
    key(rig, "head", "rotation_euler", 36, (0.3, 0.0, 0.0))
    assert spans() == ((30, 40),)
    key(rig, "head", "rotation_euler", 36, (0.0, 0.0, 0.0))
    edited_frames.find([scene])
    assert not session.edited(scene)


def test_one_timer_looks_once_nothing_was_edited_for_a_moment(rig: Any) -> None:
    scene = bpy.context.scene
    session.mark_edited(scene.session_uid, "Keeper")
    for _ in range(3):
        edited_frames.ask()
    left = edited_frames._tick()
    assert left is not None and 0.0 < left <= 0.4 and session.edited(scene)
    time.sleep(left)
    assert edited_frames._tick() is None and not session.edited(scene)
    edited_frames.stop()
