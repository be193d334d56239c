# SPDX-License-Identifier: GPL-3.0-or-later
"""twinned-stop: the laws; what is natural (aligned stops, offset chains); landings; folding; twos and stepped."""
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.note import Severity
from plumbline.core.numeric import rotation as rot
from plumbline.core.remedy import Shift
from plumbline.core.shot import Shot, with_character
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.puppet import act

Array = np.ndarray
SECONDS = 3.0
FIRST, STOP = 1.0, 1.6                   # on a frame at 24, 25, 30, 60; between two at 29.97
X, Y, Z = np.eye(3)
ANGLES = {"chest": 0.5, "head": 0.8, "upper_arm.L": 0.9, "forearm.L": 0.9, "hand.L": 1.2, "upper_arm.R": -0.7,
          "forearm.R": 0.8, "hand.R": 1.2}


def times(fps: float, seconds: float = SECONDS) -> Array:
    return np.arange(round(seconds * fps) + 1) / fps


def eased(t: Array, first: float = FIRST, stop: float = STOP) -> Array:
    s = np.clip((t - first) / (stop - first), 0, 1)
    return np.asarray(s**3 * (10 - 15 * s + 6 * s**2))


def moved(parts: Iterable[str], fps: float, later: dict[str, float] | None = None) -> Shot:
    """Parts that go to a pose together, some of them ``later`` by seconds."""
    t = times(fps)
    late = later or {}
    turns = {p: rot.exp(np.outer(ANGLES[p] * eased(t - late.get(p, 0.0)), X)) for p in parts}
    return act(turns, np.zeros((len(t), 3)), fps)


class TestTwinnedStop(CheckTest):
    check = "twinned-stop"

    def clean(self, fps: float) -> Iterable[Shot]:
        frame = 1 / 24
        yield moved(("chest", "head", "upper_arm.L", "forearm.L", "hand.L"), fps,
                    {"head": 1.5 * frame, "upper_arm.L": 1.5 * frame, "forearm.L": 3 * frame, "hand.L": 4.5 * frame})
        yield moved(("head", "upper_arm.L", "upper_arm.R"), fps)           # without the chest
        yield moved(("chest", "upper_arm.L"), fps)                         # a chest with one arm
        t = times(fps)
        aligned = {"chest": eased(t), "head": eased(t, FIRST + 0.2), "upper_arm.L": eased(t, FIRST - 0.25)}
        yield act({p: rot.exp(np.outer(ANGLES[p] * way, X)) for p, way in aligned.items()}, np.zeros((len(t), 3)), fps)
        late = {"chest": eased(t), "head": np.clip((t - FIRST) / (STOP - FIRST), 0, 1) ** 2.2}
        yield act({p: rot.exp(np.outer(ANGLES[p] * way, X)) for p, way in late.items()}, np.zeros((len(t), 3)), fps)
        slow = {p: rot.exp(np.outer(0.04 * eased(t), X)) for p in ("chest", "head", "upper_arm.L")}
        yield act(slow, np.zeros((len(t), 3)), fps)

    def planted(self, fps: float) -> Iterable[Planted]:
        for parts, severity in (
            (("chest", "head"), "low"), (("chest", "head", "upper_arm.L"), "medium"),
            (("chest", "head", "upper_arm.L", "forearm.L", "upper_arm.R", "forearm.R"), "high"),
            (("chest", "upper_arm.L", "upper_arm.R"), "low"),
        ):
            yield Planted(f"block of {parts}", moved(parts, fps), "chest", severity, len(parts) / 8, 0.01, FIRST, STOP,
                          STOP, slack=0.02)

    def test_a_chest_with_both_arms_is_low(self) -> None:
        note, = self.notes(moved(("chest", "upper_arm.L", "upper_arm.R"), 24.0))
        assert (note.severity, note.limit, note.measured) == (Severity.LOW, 0.25, 0.375)

    def test_one_link_that_comes_later_leaves_the_block(self) -> None:
        note, = self.notes(moved(("chest", "head", "upper_arm.L", "forearm.L"), 24.0, {"forearm.L": 2 / 24}))
        assert note.parts == ("chest", "head", "upper_arm.L")

    def test_the_remedy_offsets_the_parts_down_the_chain(self) -> None:
        for fps, frame in ((24.0, 1), (60.0, 2)):
            note, = self.notes(moved(("chest", "head", "upper_arm.L", "forearm.L", "hand.L"), fps))
            remedy = note.remedy
            assert isinstance(remedy, Shift)
            assert dict(zip(remedy.targets, remedy.later, strict=True)) == {
                "neck": frame, "head": frame, "upper_arm.L": frame, "forearm.L": 2 * frame, "hand.L": 3 * frame}
            assert remedy.frames == (note.start, note.end + 3 * frame)

    def test_a_foot_that_lands_stops_all(self) -> None:
        t = times(24.0)
        turns = {p: rot.exp(np.outer(ANGLES[p] * eased(t), X)) for p in ("chest", "head", "upper_arm.L")}
        step = 0.9 * np.clip((STOP - 0.02 - t) / 0.5, 0, 1)
        legs = {"thigh.L": rot.exp(np.outer(-step, X)), "shin.L": rot.exp(np.outer(step, X))}
        assert self.notes(act(turns, np.zeros((len(t), 3)), 24.0))
        assert not self.notes(act(turns | legs, np.zeros((len(t), 3)), 24.0))

    def test_a_move_that_the_shot_cuts_into_is_not_judged(self) -> None:
        shot = moved(("chest", "head", "upper_arm.L"), 24.0)
        who = shot.characters[0]
        cut = replace(who, heads=who.heads[28:], tails=who.tails[28:], axes=who.axes[28:],
                      twist_axes=who.twist_axes[28:], scale=who.scale[28:])
        assert not self.notes(replace(shot, frames=shot.frames[28:], first=None, last=None, characters=(cut,)))

    def test_many_blocks_are_one_note(self) -> None:
        t = times(24.0, 12.0)
        for count, notes in ((4, 4), (6, 1)):
            way = sum(((-1) ** k * eased(t, 1 + 1.7 * k, 1.5 + 1.7 * k) for k in range(count)), np.zeros(len(t)))
            turns = {p: rot.exp(np.outer(ANGLES[p] * way, X)) for p in ("chest", "head", "upper_arm.L")}
            found = self.notes(act(turns, np.zeros((len(t), 3)), 24.0))
            assert len(found) == notes
            assert notes > 1 or "so do 6 moves in this shot" in found[0].text and found[0].kind == "folded"

    @pytest.mark.parametrize("step, word", [(2, "on twos"), (8, "stepped")])
    def test_twos_and_stepped_are_silent_and_said(self, step: int, word: str) -> None:
        shot = moved(("chest", "head", "upper_arm.L"), 24.0)
        wobble = rot.exp(np.outer(np.radians(4 * np.sin(times(24.0) * 3)), Z))
        turns = {p: rot.exp(np.outer(ANGLES[p] * eased(times(24.0)), X)) for p in ("chest", "head", "upper_arm.L")}
        alive = act(turns | {"thigh.R": wobble}, np.zeros((shot.count, 3)), 24.0)
        who = alive.characters[0]
        at = np.arange(shot.count) // step * step
        held = replace(who, heads=who.heads[at], tails=who.tails[at], axes=who.axes[at], twist_axes=who.twist_axes[at])
        result = self.result(with_character(alive, who, held))
        assert not result.notes and any(word in s.why for s in result.skipped)
