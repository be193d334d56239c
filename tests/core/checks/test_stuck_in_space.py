# SPDX-License-Identifier: GPL-3.0-or-later
"""stuck-in-space: the laws; heads that are steadied, that never catch up, that lie on the ground; twos and stepped."""
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.numeric import rotation as rot
from plumbline.core.remedy import Follow
from plumbline.core.shot import Prop, Shot, with_character
from plumbline.core.testing import edit
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.puppet import act

Array = np.ndarray
SECONDS = 3.0
FIRST = 1.0
X, Y, Z = np.eye(3)


def times(fps: float) -> Array:
    return np.arange(round(SECONDS * fps) + 1) / fps


def smooth(s: Array) -> Array:
    s = np.clip(s, 0, 1)
    return np.asarray(s**3 * (10 - 15 * s + 6 * s**2))


def walking(fps: float, speed: float = 0.6) -> Shot:
    t = times(fps)
    return act({"chest": rot.exp(np.outer(0.05 * np.sin(6 * t), Z))}, np.outer(speed * t, -Y), fps)


def locked(shot: Shot, seconds: float, catches: float = 0.125) -> Shot:
    """The head held in the world for some seconds from FIRST on, and caught up with the chest."""
    who, t = shot.characters[0], times(shot.fps)
    first = round(FIRST * shot.fps)
    share = np.where(np.arange(shot.count) < first, 0.0, 1 - smooth((t - FIRST - seconds) / catches))
    place = who.head("head")
    offset = share[:, None] * (place[first] - place)
    still = np.broadcast_to(np.eye(3), (shot.count, 3, 3))
    moved = edit.transform(who, edit.below(who, "head"), still, np.zeros_like(offset), offset)
    return with_character(shot, who, moved)


class TestStuckInSpace(CheckTest):
    check = "stuck-in-space"

    def clean(self, fps: float) -> Iterable[Shot]:
        yield walking(fps)
        yield locked(walking(fps), 0.3, catches=1.4)                     # left behind, it comes back slowly
        yield locked(walking(fps), 0.12)                                 # too short to be seen
        t = times(fps)
        bob = np.outer(0.02 * np.sin(9 * t), Z)                          # the head steadied against bobbing
        steady = act({}, bob + np.outer(0.4 * t, -Y), fps)
        who = steady.characters[0]
        still = np.broadcast_to(np.eye(3), (steady.count, 3, 3))
        yield with_character(steady, who, edit.transform(who, edit.below(who, "head"), still, np.zeros_like(bob), -bob))
        gaze = rot.exp(np.outer(-0.5 * np.sin(3 * t), Z))                # the head's turn steadied against the chest's
        yield act({"chest": rot.exp(np.outer(0.5 * np.sin(3 * t), Z)), "head": gaze}, np.zeros((len(t), 3)), fps)

    def planted(self, fps: float) -> Iterable[Planted]:
        for seconds, speed, severity in ((0.25, 0.16, "low"), (0.4, 0.18, "medium"), (0.6, 0.5, "high")):
            shot = locked(walking(fps, speed), seconds)
            # where the hold ends between frames, it ends on the frame before
            frames = np.floor(seconds * shot.fps + 1e-6) / shot.fps
            yield Planted(f"held {seconds} s", shot, "head", severity, speed * frames, speed * 1.2 / shot.fps, FIRST,
                          FIRST + seconds + 0.125, FIRST + seconds, slack=0.05)

    def test_a_head_that_lies_or_leans_on_something_is_no_fault(self) -> None:
        shot = locked(walking(24.0, 0.5), 0.6)
        place = shot.characters[0].end("head")
        axes = np.broadcast_to(np.eye(3), (shot.count, 3, 3))
        assert self.notes(shot)
        wall = Prop("lintel", "it moves", np.broadcast_to(place[30], place.shape), axes, 0.1)
        assert not self.notes(replace(shot, props=(wall,)))

    def test_a_pause_of_the_chest_does_not_cut_the_span(self) -> None:
        t = times(24.0)
        speed = np.where((t > 1.29) & (t < 1.36), 0.0, 0.5)
        travel = np.concatenate([[0.0], np.cumsum(speed[1:]) / 24])
        shot = locked(act({}, np.outer(travel, -Y), 24.0), 0.6)
        note, = self.notes(shot)
        assert note.start == 25 and abs(note.worst - 39) <= 1

    def test_the_remedy_names_what_carries(self) -> None:
        note, = self.notes(locked(walking(24.0, 0.5), 0.6))
        assert isinstance(note.remedy, Follow) and note.remedy.targets == ("neck", "head")
        assert note.remedy.frames == (note.start, note.end) and "travel with the chest" in note.remedy.sentence()
        assert note.measured == pytest.approx(0.3, abs=0.02) and "29.2 cm" in note.text

    def test_stepped_is_said_and_twos_are_judged(self) -> None:
        shot = locked(walking(24.0, 0.5), 0.6)
        who = shot.characters[0]

        def held(step: int) -> Shot:
            at = np.arange(shot.count) // step * step
            return with_character(shot, who, replace(who, heads=who.heads[at], tails=who.tails[at], axes=who.axes[at],
                                                     twist_axes=who.twist_axes[at]))

        assert len(self.notes(held(2))) == 1
        result = self.result(held(8))
        assert not result.notes and any("stepped" in s.why for s in result.skipped)
