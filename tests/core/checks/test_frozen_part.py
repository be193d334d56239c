# SPDX-License-Identifier: GPL-3.0-or-later
"""frozen-part: the laws; what is not animated yet; hands that hold or touch; necks and clavicles; twos."""
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from plumbline.core.note import Severity
from plumbline.core.numeric import rotation as rot
from plumbline.core.remedy import Drift
from plumbline.core.shot import Prop, Shot, with_character
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.puppet import act

Array = np.ndarray
SECONDS = 6.0
FIRST = 2.0
X, Y, Z = np.eye(3)


def times(fps: float) -> Array:
    return np.arange(round(SECONDS * fps) + 1) / fps


def played(t: Array, held: float) -> Array:
    """Own time that stands still for ``held`` seconds from FIRST on and then goes on."""
    return np.where(t < FIRST, t, np.maximum(FIRST, t - held))


def walking(fps: float, frozen: dict[str, float], extra: dict[str, Array] | None = None) -> Shot:
    """A figure that is carried along while all its parts sway, each at its own time; ``frozen``: part -> seconds for
    which it stands still against its parent."""
    t = times(fps)
    own = {part: rot.exp(np.outer(0.25 * np.sin(5 * played(t, frozen.get(part, 0.0)) + k), X))
           for k, part in enumerate(("chest", "neck", "head", "upper_arm.L", "forearm.L", "hand.L", "upper_arm.R",
                                     "forearm.R", "hand.R", "clavicle.L", "clavicle.R", "thigh.L", "thigh.R", "shin.L",
                                     "shin.R", "spine"))}
    own |= extra or {}
    return act(own, np.outer(0.8 * t, -Y), fps)


class TestFrozenPart(CheckTest):
    check = "frozen-part"

    def clean(self, fps: float) -> Iterable[Shot]:
        yield walking(fps, {})
        yield walking(fps, {"upper_arm.L": 0.5, "head": 0.5})                # too short
        yield walking(fps, {"neck": 3.0})                                    # a still neck under a live head
        yield walking(fps, {"clavicle.L": 3.0})
        yield walking(fps, {"forearm.R": 9.0})                               # still for most of the shot: not yet keyed
        yield walking(fps, {"hand.L": 99.0})
        t = times(fps)
        stands = rot.exp(np.outer(0.25 * np.sin(5 * t), X))
        still = ("chest", "thigh.L", "thigh.R", "shin.L", "shin.R", "upper_arm.R", "spine", "clavicle.L", "clavicle.R",
                 "forearm.R", "hand.R")
        yield act(dict.fromkeys(still, stands), np.zeros((len(t), 3)), fps)    # dead, but nobody carries it far

    def planted(self, fps: float) -> Iterable[Planted]:
        for parts, told, seconds, severity in (
            ({"upper_arm.L", "clavicle.L"}, "upper_arm.L", 0.9, "low"), ({"forearm.R"}, "forearm.R", 1.6, "medium"),
            ({"neck", "head"}, "head", 2.8, "high"), ({"hand.R"}, "hand.R", 2.8, "low"),
        ):
            shot = walking(fps, dict.fromkeys(parts, seconds))
            yield Planted(f"{told} for {seconds} s", shot, told, severity, seconds, 0.12, FIRST, FIRST + seconds,
                          slack=0.06)

    def test_the_parts_of_one_arm_are_one_note(self) -> None:
        held = dict.fromkeys(("clavicle.L", "upper_arm.L", "forearm.L", "hand.L"), 1.6)
        note, = self.notes(walking(24.0, held))
        assert note.parts == ("upper_arm.L", "forearm.L", "hand.L") and note.severity is Severity.MEDIUM
        assert isinstance(note.remedy, Drift) and note.remedy.targets == note.parts
        both = dict.fromkeys(("forearm.L", "forearm.R"), 1.6)
        assert sorted(n.part for n in self.notes(walking(24.0, both))) == ["forearm.L", "forearm.R"]

    def test_an_arm_goes_on_into_its_drift_the_way_it_came(self) -> None:
        shot = walking(24.0, {"upper_arm.L": 1.6, "clavicle.L": 1.6})
        note, = self.notes(shot)
        assert isinstance(note.remedy, Drift)
        who, i = shot.characters[0], note.start - 1
        k, above = (who.index[p] for p in ("upper_arm.L", "chest"))
        local = rot.relative(who.axes[:, above], who.axes[:, k])
        came = who.axes[i, above] @ rot.log(local[i] @ local[i - 1].T)
        line = rot.unit(who.end("upper_arm.L")[i] - who.head("upper_arm.L")[i])
        came -= (came @ line) * line                                         # a twist brings its end nowhere
        assert np.allclose(note.remedy.axis, rot.unit(came))
        assert 0.5 * np.degrees(np.linalg.norm(came)) < note.remedy.angle[1] <= np.degrees(np.linalg.norm(came)) + 1e-9
        angles = note.remedy.angle
        assert angles[0] == 0.0 and abs(angles[-1]) < 1e-9 and max(angles) <= 4.0 + 1e-9
        # an elbow would soon be past its range: it sways
        note, = self.notes(walking(24.0, {"forearm.R": 1.6}))
        assert isinstance(note.remedy, Drift) and 0 < note.remedy.angle[1] < 0.2

    def test_an_arm_that_carries_a_prop_is_held_on_purpose(self) -> None:
        shot = walking(24.0, {"forearm.R": 1.6})
        who = shot.characters[0]
        place = who.end("hand.R")
        axes = np.broadcast_to(np.eye(3), (shot.count, 3, 3))
        assert not self.notes(replace(shot, props=(Prop("lantern", "it moves", place, axes, 0.1),)))
        far = replace(shot, props=(Prop("lantern", "it moves", place + X, axes, 0.1),))
        assert [n.part for n in self.notes(far)] == ["forearm.R"]

    def test_a_hand_on_the_own_body_is_held_on_purpose(self) -> None:
        assert self.notes(walking(24.0, {"hand.L": 2.8}))
        t = times(24.0)
        on_hip = {"upper_arm.L": np.broadcast_to(rot.exp(-0.2 * X), (len(t), 3, 3)),
                  "forearm.L": np.broadcast_to(rot.exp(1.7 * Y), (len(t), 3, 3))}
        assert not [n for n in self.notes(walking(24.0, {"hand.L": 2.8}, on_hip)) if n.part == "hand.L"]

    def test_a_blocking_pass_is_silent_and_said(self) -> None:
        t = times(24.0)
        legs = {p: rot.exp(np.outer(0.25 * np.sin(5 * played(t, 1.6)), X)) for p in ("thigh.L", "thigh.R", "forearm.L")}
        result = self.result(act(legs, np.outer(0.8 * t, -Y), 24.0))
        assert not result.notes and any("fewer than half" in s.why for s in result.skipped)

    def test_twos_are_judged_and_stepped_is_said(self) -> None:
        shot = walking(24.0, {"forearm.R": 1.6})
        who = shot.characters[0]

        def held(step: int) -> Shot:
            at = np.arange(shot.count) // step * step
            return with_character(shot, who, replace(who, heads=who.heads[at], tails=who.tails[at], axes=who.axes[at],
                                                     twist_axes=who.twist_axes[at]))

        note, = self.notes(held(2))
        assert note.part == "forearm.R" and abs(note.measured - 1.6) < 0.2
        result = self.result(held(9))
        assert not result.notes and any("stepped" in s.why for s in result.skipped)
