# SPDX-License-Identifier: GPL-3.0-or-later
"""jitter: the laws; fast hands; whose wiggle it is; what is no wiggle; twos and stepped; the smoothing."""
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.measures.paths import where
from plumbline.core.note import Severity
from plumbline.core.numeric import rotation as rot
from plumbline.core.remedy import Smooth
from plumbline.core.shot import Shot, with_character
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.mend import mend
from plumbline.core.testing.puppet import act, adult

Array = np.ndarray
SECONDS = 3.0
FIRST, LASTS = 1.0, 1 / 3
X, Y, Z = np.eye(3)
PUPPET = adult()


def times(fps: float) -> Array:
    return np.arange(round(SECONDS * fps) + 1) / fps


def trembling(t: Array, fps: float) -> Array:
    """(F,) to and fro from frame to frame for LASTS seconds, and nothing else."""
    first, count = round(FIRST * fps), round(LASTS * fps)
    out = np.zeros(len(t))
    out[first : first + count] = (-1.0) ** np.arange(count)
    return out


def swung(part: str, radians: Array, fps: float, travel: Array | None = None) -> Shot:
    return act({part: rot.exp(np.outer(radians, X))}, np.zeros((len(radians), 3)) if travel is None else travel, fps)


def lever(part: str, end: str) -> float:
    """Meters from the part's joint to where the path is drawn, square to X."""
    head, tail = (PUPPET.heads[PUPPET.parts.index(part)], PUPPET.tails[PUPPET.parts.index(end)])
    return float(np.linalg.norm((tail - head)[1:]))


class TestJitter(CheckTest):
    check = "jitter"

    def clean(self, fps: float) -> Iterable[Shot]:
        t = times(fps)
        yield swung("upper_arm.L", 0.8 * np.sin(2 * np.pi * 1.5 * t), fps)
        yield swung("upper_arm.R", 0.03 * np.sin(2 * np.pi * 4 * t), fps)       # a shiver that takes 3 frames a way
        yield swung("upper_arm.L", 0.3 * (np.abs(t - FIRST) < 0.5 / fps), fps)  # one frame alone
        yield swung("upper_arm.L", 0.4 * (t > FIRST), fps)                      # a step
        yield swung("neck", 0.0015 / lever("neck", "head") * trembling(t, fps), fps)
        yield swung("neck", np.zeros(len(t)), fps)

    def planted(self, fps: float) -> Iterable[Planted]:
        t = times(fps)
        move = 0.4 * np.sin(2 * np.pi * 0.5 * t)
        end = FIRST + LASTS - 1 / fps
        for part, drawn, told, meters, severity in (
            ("upper_arm.L", "forearm.L", "hand.L", 0.0035, "low"), ("neck", "head", "head", 0.035, "high"),
            ("upper_arm.R", "forearm.R", "hand.R", 0.014, "medium"), ("chest", "chest", "chest", 0.014, "medium"),
        ):
            size = meters / lever(part, drawn)
            yield Planted(f"{told} by {1000 * meters:g} mm", swung(part, move + size * trembling(t, fps), fps), told,
                          severity, meters, 0.12 * meters, FIRST, end, slack=2 / fps)

    def test_the_whole_body_trembles_in_one_note(self) -> None:
        t = times(24.0)
        note, = self.notes(act({}, np.outer(0.014 * trembling(t, 24.0), X), 24.0))
        assert note.part == "pelvis" and {"chest", "head", "hand.L", "foot.R"} <= set(note.parts)
        # what only hangs from it is its own
        apart = swung("upper_arm.L", 0.05 * trembling(t, 24.0), 24.0, np.outer(0.004 * trembling(t, 24.0), X))
        assert [n.part for n in self.notes(apart)] == ["hand.L"]

    def test_a_hand_that_is_shaken_before_the_body_trembles_is_its_own(self) -> None:
        t = times(24.0)
        size = 0.03 / lever("upper_arm.L", "forearm.L")
        later = np.roll(trembling(t, 24.0), round(24 * LASTS) + 1)
        hand, whole = self.notes(swung("upper_arm.L", size * trembling(t, 24.0), 24.0, np.outer(0.014 * later, X)))
        assert hand.part == "hand.L" and hand.parts == ("hand.L",) and abs(hand.start - 25) <= 2
        assert whole.part == "pelvis" and "head" in whole.parts and abs(whole.start - 34) <= 2

    def test_a_fast_hand_trembles_too(self) -> None:
        t = times(24.0)
        fast = 0.9 * np.sin(2 * np.pi * 1.3 * t)
        assert not self.notes(swung("upper_arm.L", fast, 24.0))
        size = 0.012 / lever("upper_arm.L", "forearm.L")
        note, = self.notes(swung("upper_arm.L", fast + size * trembling(t, 24.0), 24.0))
        assert note.part == "hand.L" and abs(note.start - 25) <= 2 and abs(note.end - 32) <= 2

    def test_what_trembles_all_the_time_is_low(self) -> None:
        rng = np.random.default_rng(3)
        t = times(24.0)
        noisy = rng.normal(scale=0.006, size=(len(t), 3))
        loud = [n for n in self.notes(act({}, noisy, 24.0)) if n.severity is not Severity.LOW]
        assert not loud

    def test_what_trembles_faster_than_is_seen_is_low(self) -> None:
        """Eight frames of 120 are two of 24 to 36: no one sees them go to and fro."""
        for fps, severity in ((60.0, Severity.HIGH), (120.0, Severity.LOW)):
            t = times(fps)
            brief = trembling(t, fps) * (t < FIRST + 7.5 / fps)
            note, = self.notes(act({}, np.outer(0.03 * brief, X), fps))
            assert note.severity is severity, (fps, note.text)

    def test_twos_and_stepped_are_silent_and_said(self) -> None:
        t = times(24.0)
        shot = swung("upper_arm.L", 0.6 * np.sin(3 * t) + 0.05 * trembling(t, 24.0), 24.0)
        who = shot.characters[0]
        assert self.notes(shot)
        for step, word in ((2, "on twos"), (8, "stepped")):
            at = np.arange(shot.count) // step * step
            held = replace(who, heads=who.heads[at], tails=who.tails[at], axes=who.axes[at],
                           twist_axes=who.twist_axes[at])
            result = self.result(with_character(shot, who, held))
            assert not result.notes and any(word in s.why for s in result.skipped)

    def test_the_remedy_takes_the_wiggle_and_leaves_the_move(self) -> None:
        t = times(24.0)
        move = 0.6 * np.sin(2 * np.pi * 0.7 * t)
        size = 0.014 / lever("upper_arm.L", "forearm.L")
        clean, shot = (swung("upper_arm.L", move + s * trembling(t, 24.0), 24.0) for s in (0.0, size))
        note, = self.notes(shot)
        assert isinstance(note.remedy, Smooth) and note.remedy.target == "hand.L"
        mended = mend(shot, note.remedy, note.character)
        paths = [where(s.characters[0], "forearm.L") for s in (clean, shot, mended)]
        off, left = (np.linalg.norm(p - paths[0], axis=-1).max() for p in paths[1:])
        assert off == pytest.approx(0.014, rel=0.1) and left < 0.35 * off
        assert "Smooth the path of the left hand from frame" in note.remedy.sentence()
