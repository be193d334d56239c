# SPDX-License-Identifier: GPL-3.0-or-later
"""dead-stop: the laws; what carries what; soft stops, settles and hits; twos and stepped."""
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.measures.paths import where
from plumbline.core.note import Severity
from plumbline.core.numeric import rotation as rot
from plumbline.core.remedy import Settle
from plumbline.core.shot import Prop, Shot, with_character
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.puppet import act

Array = np.ndarray
SECONDS = 3.0
FIRST, STOP = 1.0, 1.6                   # on a frame at 24, 25, 30, 60; between two at 29.97
X, Y, Z = np.eye(3)


def times(fps: float) -> Array:
    return np.arange(round(SECONDS * fps) + 1) / fps


def braked(t: Array, fps: float, share: float) -> Array:
    """0 to 1: it leaves softly, runs evenly, and its last frame at 24 (of what it is at other rates) has ``share`` of
    that speed before it stops."""
    rate = 24.0 if fps > 36 else fps
    stop = np.round(STOP * rate) / rate
    s = np.clip((t - FIRST) / (stop - 1 / rate - FIRST), 0, 1)
    way = np.where(s < 0.4, s**2 / 0.8, s - 0.2)
    last = np.clip((t - stop + 1 / rate) * rate, 0, 1)
    speed = 1 / (stop - 1 / rate - FIRST) / rate                      # the even run's, a frame
    out = way + share * speed * last
    return np.asarray(out / out[-1])


def swung(part: str, radians: float, way: Array, fps: float, axis: Array = X) -> Shot:
    return act({part: rot.exp(np.outer(radians * way, axis))}, np.zeros((len(way), 3)), fps)


class TestDeadStop(CheckTest):
    check = "dead-stop"

    def clean(self, fps: float) -> Iterable[Shot]:
        t = times(fps)
        s = np.clip((t - FIRST) / (STOP - FIRST), 0, 1)
        yield swung("upper_arm.L", 1.2, s**3 * (10 - 15 * s + 6 * s**2), fps)
        yield swung("upper_arm.R", 1.2, s * (2 - s), fps)                   # leaves hard, arrives softly
        yield swung("upper_arm.L", 1.2, braked(t, fps, 0.3), fps)           # one soft frame
        yield swung("forearm.R", 0.7, np.sin(2 * np.pi * 1.1 * t), fps)
        yield swung("upper_arm.L", 0.12, braked(t, fps, 1.0), fps)          # slow: a moving hold that ends
        over = np.clip((t - STOP) / 0.2, 0, 1)                              # hits its stop and settles back
        yield swung("upper_arm.L", 1.2, braked(t, fps, 1.0) - 0.06 * over**2 * (3 - 2 * over), fps)

    def planted(self, fps: float) -> Iterable[Planted]:
        for part, told, axis, radians, share, severity in (
            ("upper_arm.L", "hand.L", X, 1.2, 1.0, "high"), ("upper_arm.R", "hand.R", X, 1.2, 0.7, "medium"),
            ("upper_arm.L", "hand.L", Y, -1.0, 0.57, "low"), ("neck", "head", X, 0.9, 0.72, "medium"),
            ("spine", "chest", X, 1.3, 1.0, "high"),
        ):
            shot = swung(part, radians, braked(times(fps), fps, share), fps, axis)
            yield Planted(f"{part} stopped at {share:.0%}", shot, told, severity, share, 0.05, end=STOP, worst=STOP)

    def test_parts_of_one_chain_that_stop_together_are_one_note(self) -> None:
        t = times(24.0)
        shot = act({}, np.outer(0.7 * braked(t, 24.0, 1.0), X), 24.0)
        note, = self.notes(shot)
        assert note.part == "pelvis" and set(note.parts) == {"pelvis", "chest", "head", "hand.L", "hand.R"}
        assert "with it the chest, head, left hand and right hand" in note.text
        # where the arm's own is far faster, it is the arm's
        arm = {"upper_arm.L": rot.exp(np.outer(2.2 * braked(t, 24.0, 1.0), X))}
        note, = self.notes(act(arm, np.outer(0.5 * braked(t, 24.0, 1.0), Z), 24.0))
        assert note.part == "hand.L" and "pelvis" in note.parts

    def test_a_stop_on_the_own_body_or_a_prop_is_low_at_most(self) -> None:
        t = times(24.0)
        shot = swung("upper_arm.L", 1.2, braked(t, 24.0, 1.0), 24.0)
        note, = self.notes(shot)
        assert note.severity is Severity.HIGH
        at = where(shot.characters[0], "forearm.L")[note.end - 1]
        still = np.broadcast_to(at, (shot.count, 3))
        axes = np.broadcast_to(np.eye(3), (shot.count, 3, 3))
        note, = self.notes(replace(shot, props=(Prop("rail", "it moves", still, axes, 0.1),)))
        assert note.severity is Severity.LOW and "right if it hits the rail" in note.text
        carried = Prop("lantern", "it moves", where(shot.characters[0], "forearm.L"), axes, 0.1)
        note, = self.notes(replace(shot, props=(carried,)))
        assert note.severity is Severity.HIGH, "what the hand holds is not what it hits"
        # turned in across the chest, the hand lands on the body
        inward = {"upper_arm.L": rot.exp(np.outer(np.full(len(t), -0.5), X)),
                  "forearm.L": rot.exp(np.outer(1.7 * braked(t, 24.0, 1.0), Y))}
        own = self.notes(act(inward, np.zeros((len(t), 3)), 24.0))
        assert [(n.severity, "own spine" in n.text) for n in own] == [(Severity.LOW, True)]

    def test_a_cycle_that_has_run_out_is_none(self) -> None:
        t = times(24.0)
        turns = 2 * np.pi * np.minimum(t, 1.0) * 2                         # two rounds of an arm, then nothing
        arm = {"upper_arm.L": rot.exp(np.outer(0.9 * np.sin(turns), X))}
        assert not self.notes(act(arm, np.zeros((len(t), 3)), 24.0))
        # a gesture that comes back from rest and slams into where it began is one
        way = np.where(t < 0.5, 0.0, np.where(t < 1.0, braked(t + 0.5, 24.0, 0.2), 1.0))
        back = way - braked(t, 24.0, 1.0)
        note, = self.notes(swung("upper_arm.L", 1.2, np.where(t < FIRST, way, back), 24.0))
        assert note.part == "hand.L" and note.severity is Severity.HIGH

    def test_a_head_that_stops_as_the_figure_lies_down_is_low(self) -> None:
        t = times(24.0)
        drop, flung = braked(t, 24.0, 0.45), np.clip((t - 34 / 24) * 6, 0, 1)
        trunk = {"pelvis": rot.exp(np.outer(-1.4 * drop, X)), "neck": rot.exp(np.outer(1 - 1.6 * flung, X))}
        for falls, told in ((0.75, Severity.LOW), (0.0, Severity.MEDIUM)):      # the second bows, its hips up
            legs = {} if falls else {f"thigh.{s}": rot.exp(np.outer(1.4 * drop, X)) for s in "LR"}
            notes = self.notes(act({**trunk, **legs}, np.outer(-falls * drop, Z), 24.0))
            head, = (n for n in notes if n.part == "head")
            assert head.severity is told and ("right if it hits the ground" in head.text) == (falls > 0), head.text

    def test_slow_peaks_are_medium_at_most(self) -> None:
        for radians, severity in ((1.2, Severity.HIGH), (0.42, Severity.MEDIUM)):
            note, = self.notes(swung("upper_arm.L", radians, braked(times(24.0), 24.0, 1.0), 24.0))
            assert note.severity is severity

    def test_twos_and_stepped_are_silent_and_said(self) -> None:
        shot = swung("upper_arm.L", 1.2, braked(times(24.0), 24.0, 1.0), 24.0)
        who = shot.characters[0]
        wobble = rot.exp(np.outer(np.radians(4 * np.sin(times(24.0) * 3)), Z))
        alive = act({"upper_arm.L": rot.exp(np.outer(1.2 * braked(times(24.0), 24.0, 1.0), X)), "head": wobble},
                    np.zeros((shot.count, 3)), 24.0)
        who = alive.characters[0]
        for step, word in ((2, "on twos"), (8, "stepped")):
            at = np.arange(shot.count) // step * step
            held = replace(who, heads=who.heads[at], tails=who.tails[at], axes=who.axes[at],
                           twist_axes=who.twist_axes[at])
            result = self.result(with_character(alive, who, held))
            assert not result.notes and any(word in s.why for s in result.skipped)

    def test_the_remedy_goes_past_the_stop_and_comes_back(self) -> None:
        shot = swung("upper_arm.L", 1.2, braked(times(24.0), 24.0, 1.0), 24.0)
        note, = self.notes(shot)
        remedy = note.remedy
        assert isinstance(remedy, Settle)
        assert remedy.targets == ("hand.L",) and remedy.frames == (note.end, note.end + 6)
        path = where(shot.characters[0], "forearm.L")
        step = path[note.end - 1] - path[note.end - 2]
        offsets = np.array(remedy.offsets[0])
        assert not offsets[0].any() and not offsets[-1].any() and (offsets[1:-1] @ step > 0).all()
        # a straight arm: the hand goes on round the shoulder, not off it
        shoulder = shot.characters[0].head("upper_arm.L")[note.end - 1]
        far = np.linalg.norm(path[note.end - 1] + offsets - shoulder, axis=1)
        assert far == pytest.approx(np.linalg.norm(path[note.end - 1] - shoulder))
        assert np.linalg.norm(offsets, axis=1).max() == pytest.approx(0.5 * np.linalg.norm(step), rel=0.02)
        assert "past the stop and settle by frame 45" in remedy.sentence()

    def test_a_hand_that_stops_with_what_carries_it_goes_on_its_own_way(self) -> None:
        t = times(24.0)
        way = braked(t, 24.0, 1.0)
        slower = {"upper_arm.L": rot.exp(np.outer(0.5 * way, Y))}           # too slow by itself to be told of
        shot = act(slower, np.outer(0.42 * way, X), 24.0)
        note, = self.notes(shot)
        remedy = note.remedy
        assert note.part == "pelvis" and "hand.L" not in note.parts and isinstance(remedy, Settle)
        path = where(shot.characters[0], "forearm.L")
        step = path[note.end - 1] - path[note.end - 2]
        offsets = np.array(remedy.offsets[remedy.targets.index("hand.L")])
        assert (offsets[1:-1] @ step > 0).all() and np.linalg.norm(offsets, axis=1).max() <= np.linalg.norm(step)
        # one that goes on moving is left alone
        on = {"upper_arm.L": rot.exp(np.outer(0.6 * np.sin(4 * t), X))}
        moving = next(n for n in self.notes(act(on, np.outer(0.7 * way, X), 24.0)) if n.part == "pelvis")
        assert isinstance(moving.remedy, Settle) and "hand.L" not in moving.remedy.targets

    def test_no_arm_is_pulled_straight_by_the_remedy(self) -> None:
        t = times(24.0)
        way = braked(t, 24.0, 1.0)
        bend = rot.exp(np.outer(0.35 + 1.2 * (1 - way), Y))                  # the hand is thrown out, and stops
        shot = act({"forearm.L": bend}, np.zeros((len(t), 3)), 24.0)
        who = shot.characters[0]
        note, = self.notes(shot)
        assert note.part == "hand.L" and isinstance(note.remedy, Settle)
        at = note.end - 1
        shoulder, hand = who.head("upper_arm.L")[at], who.head("hand.L")[at]
        length = who.rest_length("upper_arm.L") + who.rest_length("forearm.L")
        far = np.linalg.norm(hand - shoulder + np.array(note.remedy.offsets[0]), axis=1)
        assert far.max() <= max(0.985 * length, np.linalg.norm(hand - shoulder)) + 1e-6
        assert np.linalg.norm(note.remedy.offsets[0], axis=1).max() > 0.01
