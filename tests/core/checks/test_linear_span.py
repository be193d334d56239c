# SPDX-License-Identifier: GPL-3.0-or-later
"""linear-span: the laws, keys that never speak alone, merging, exposure, noise, sub-frame corners."""
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.measures.even import EXACT, even_spans
from plumbline.core.measures.turn import lever
from plumbline.core.note import Severity
from plumbline.core.numeric import rotation as rot
from plumbline.core.remedy import Ease
from plumbline.core.shot import Channel, Keys, Shot, with_character
from plumbline.core.testing import edit
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.puppet import act

Array = np.ndarray
SECONDS = 3.0
FIRST, LAST = 1.0, 1.6                  # on a frame at 24, 25, 30, 60; between two at 29.97
X, Y, Z = np.eye(3)


def times(fps: float) -> Array:
    return np.arange(round(SECONDS * fps) + 1) / fps


def eased(t: Array) -> Array:
    """0 to 1 between FIRST - .2 and LAST + .2, minimum jerk."""
    s = np.clip((t - FIRST + 0.2) / (LAST - FIRST + 0.4), 0, 1)
    return s**3 * (10 - 15 * s + 6 * s**2)


def marched(t: Array) -> Array:
    """0 to 1 evenly between FIRST and LAST: its corners are both as hard as its speed."""
    return np.clip((t - FIRST) / (LAST - FIRST), 0, 1)


def turning(part: str, axis: Array, radians: float, way: Array, fps: float) -> Shot:
    return act({part: rot.exp(np.outer(radians * way, axis))}, np.zeros((len(way), 3)), fps)


def by_corner(part: str, legs: float, fps: float, axis: Array = X) -> Shot:
    """The part marched so that its corners are ``legs`` leg/s."""
    return turning(part, axis, legs * (LAST - FIRST) / lever(part), marched(times(fps)), fps)


def traveling(legs: float, fps: float, way: Array) -> Shot:
    """The pelvis carried sideways, hands and feet following."""
    shot = act({}, np.zeros((len(way), 3)), fps)
    leg = shot.characters[0].leg_length
    return act({}, np.outer(legs * leg * (LAST - FIRST) * way, X), fps)


class TestLinearSpan(CheckTest):
    check = "linear-span"

    def clean(self, fps: float) -> Iterable[Shot]:
        t = times(fps)
        yield turning("upper_arm.L", X, 1.2, eased(t), fps)
        yield turning("head", Z, 0.8, eased(t), fps)
        yield turning("forearm.R", X, 0.7, np.sin(2 * np.pi * 1.1 * t), fps)
        yield traveling(0.6, fps, eased(t))
        yield traveling(0.4, fps, t)                                     # a conveyor: no end inside the shot
        yield by_corner("chest", 0.2, fps, Z)                             # a slow moving hold

    def planted(self, fps: float) -> Iterable[Planted]:
        for part, legs, severity, axis in (("upper_arm.L", 0.8, "high", X), ("forearm.R", 0.4, "medium", X),
                                           ("head", 0.35, "medium", Z), ("thigh.R", 0.7, "high", X)):
            shot = by_corner(part, legs, fps, axis)
            leg = shot.characters[0].leg_length
            yield Planted(f"{part} marched", shot, part, severity, legs * leg, 0.1 * legs * leg, FIRST, LAST)
        shot = traveling(0.6, fps, marched(times(fps)))
        leg = shot.characters[0].leg_length
        yield Planted("body carried", shot, "pelvis", "high", 0.6 * leg, 0.06 * leg, FIRST, LAST)

    def test_a_hand_led_by_a_goal(self) -> None:
        way = np.sin(np.pi * marched(times(24.0)) / 2)[:, None] * 0     # the body stands
        shot = act({}, np.repeat(way, 3, 1), 24.0)
        character = edit.with_goals(shot.characters[0], ("arm.L",))
        march = np.outer(marched(times(24.0)) * 0.25, -Y)
        moved = edit.reach(character, "arm.L", character.head("hand.L") + march)
        notes = self.notes(with_character(shot, character, moved))
        assert [(n.part, n.severity) for n in notes if "goal" in n.text.lower()] == [("hand.L", Severity.MEDIUM)]
        remedy = notes[0].remedy
        assert isinstance(remedy, Ease) and remedy.paths == ("hand.L",) and remedy.targets == ()

    def test_parts_that_march_together_are_one_note_worst_first(self) -> None:
        t = times(24.0)
        turns = {part: rot.exp(np.outer(0.6 * marched(t), X)) for part in ("upper_arm.L", "forearm.L", "upper_arm.R")}
        notes = self.notes(act(turns, np.zeros((len(t), 3)), 24.0))
        assert [n.parts for n in notes] == [("upper_arm.L", "upper_arm.R", "forearm.L")]
        assert "left forearm" in notes[0].text and notes[0].remedy.targets == notes[0].parts

    def test_one_end_may_be_the_shots_end_but_not_both(self) -> None:
        t = times(24.0)
        for way, count in ((np.minimum(t, 1.5), 1), (np.maximum(t, 1.5), 1), (t, 0)):
            notes = self.notes(turning("upper_arm.L", X, 1.0, way, 24.0))
            assert len(notes) == count
            if count:
                assert notes[0].worst == 37

    def test_twos_are_judged_on_drawings_and_stepped_is_said(self) -> None:
        shot = by_corner("upper_arm.L", 0.8, 24.0)
        on_twos = self._held(self._alive(shot), 2)
        note, = [n for n in self.notes(on_twos) if n.part == "upper_arm.L"]
        assert note.severity is Severity.HIGH and note.start % 2 == 1 and abs(note.start - 25) <= 2
        result = self.result(self._held(self._alive(shot), 8))
        assert not result.notes and any("stepped" in s.why for s in result.skipped)

    def test_keys_name_themselves_but_never_speak_alone(self) -> None:
        fps = 24.0
        linear = keys_of("upper_arm.L", ((1, 0.0), (25, 0.0), (39.4, 0.9), (73, 0.9)), 1)
        shot = by_corner("upper_arm.L", 0.8, fps)
        note, = self.notes(keyed(shot, linear))
        assert note.keys and note.keys[0].frames[0] == 25 and "straight keys" in note.text
        soft = turning("upper_arm.L", X, 1.2, eased(times(fps)), fps)       # something else moves it: a driver, a layer
        assert not self.notes(keyed(soft, linear))

    def test_straight_keys_in_quaternion_channels_are_found_although_the_turn_is_not_even(self) -> None:
        t, fps = times(24.0), 24.0
        half = 0.9
        share = np.clip((t - 1.0) / 0.5, 0, 1)[:, None]
        q = np.array([1.0, 0, 0, 0]) * (1 - share) + np.array([np.cos(half), np.sin(half), 0, 0]) * share
        angle = 2 * np.arctan2(q[:, 1], q[:, 0])
        shot = turning("upper_arm.L", X, 1.0, angle, fps)
        speed = np.diff(angle)[24:36]
        assert np.abs(np.diff(speed) / speed[1:]).max() > 0.03, "the case must be one that the plain test lets pass"
        assert not self.notes(shot)
        linear = keys_of("upper_arm.L", ((1, 0.0), (25, 0.0), (37, 0.9), (73, 0.9)), 1)
        note, = self.notes(keyed(shot, linear))
        assert (note.start, note.end) == (25, 37)

    def test_a_noisy_march_is_low_and_on_trial(self) -> None:
        rng = np.random.default_rng(3)
        t = times(24.0)
        noise = rot.exp(rng.normal(0, np.radians(0.1), (len(t), 3)))
        march = rot.exp(np.outer(1.2 * np.clip(t - 1.0, 0, 1), X)) @ noise
        notes = self.notes(act({"upper_arm.L": march}, np.zeros((len(t), 3)), 24.0))
        assert [(n.severity, n.trial) for n in notes] == [(Severity.LOW, True)]
        assert abs(notes[0].start - 25) <= 2 and abs(notes[0].end - 49) <= 2

    def test_measured_is_the_harder_corner_and_limit_the_step_that_it_passed(self) -> None:
        for legs, severity, step in ((0.3, Severity.MEDIUM, 0.25), (0.45, Severity.MEDIUM, 0.25),
                                     (0.6, Severity.HIGH, 0.5)):
            shot = by_corner("upper_arm.L", legs, 24.0)
            leg = shot.characters[0].leg_length
            note, = self.notes(shot)
            assert (note.severity, note.unit) == (severity, "m/s")
            assert note.measured == pytest.approx(legs * leg, rel=1e-6) and note.limit == pytest.approx(step * leg)
        # half of the speed is lost at the start, all of it at the end: the end is told
        t = times(24.0)
        way = np.interp(t, (0.0, FIRST, LAST, SECONDS), (0.0, 0.4, 0.88, 0.88))
        note, = [n for n in self.notes(turning("upper_arm.L", X, 1.0, way, 24.0)) if n.end == 39]
        assert note.worst == 39 and note.measured == pytest.approx(0.8 * lever("upper_arm.L") * leg, rel=0.1)

    def test_a_swing_back_at_once_is_no_second_half_of_the_corner(self) -> None:
        steps = np.zeros(72)
        steps[24:36] = 0.04
        steps[36:40] = -0.02, -0.045, -0.045, -0.02     # back within four frames, as a curve between two keys runs
        way = np.concatenate([[0.0], np.cumsum(steps)])
        shot = turning("forearm.R", X, 1.0, way, 24.0)
        note, = self.notes(shot)
        assert (note.start, note.end, note.worst) == (25, 37, 37)
        assert note.measured == pytest.approx(
            0.06 * 24 * lever("forearm.R") * shot.characters[0].leg_length, rel=1e-6)

    def test_a_fast_march_that_trembles_is_low_at_most(self) -> None:
        t = times(24.0)
        for seed in range(4):
            noise = rot.exp(np.random.default_rng(seed).normal(0, np.radians(0.1), (len(t), 3)))
            march = rot.exp(np.outer(4.0 * np.clip(t - 1.0, 0, 0.6), X)) @ noise
            notes = self.notes(act({"hand.L": march}, np.zeros((len(t), 3)), 24.0))
            assert all(n.severity is Severity.LOW and n.trial for n in notes)

    def test_a_key_between_frames_splits_its_corner_and_both_halves_count(self) -> None:
        t = times(24.0) + 0.5 / 24
        shot = turning("upper_arm.L", X, 0.8 * (LAST - FIRST) / lever("upper_arm.L"), marched(t), 24.0)
        note, = self.notes(shot)
        assert note.measured == pytest.approx(0.8 * shot.characters[0].leg_length, rel=0.05)

    def test_the_card_s_height_scales_the_number_and_an_unknown_size_is_said(self) -> None:
        shot = by_corner("upper_arm.L", 0.8, 24.0)
        big = edit.scaled(shot, 100.0)
        result = self.result(big)
        assert not result.notes and result.skipped
        character = big.characters[0]
        told = replace(character, card=replace(character.card, height=character.height / 100))
        note, = self.notes(with_character(big, character, told))
        assert note.measured == pytest.approx(self.notes(shot)[0].measured, rel=1e-6)

    def _alive(self, shot: Shot) -> Shot:
        """Something always moves, so that the exposure can be told."""
        wobble = np.radians(4 * np.sin(times(shot.fps) * 3))
        character = shot.characters[0]
        return with_character(shot, character, edit.turn(character, "head", rot.exp(np.outer(wobble, Z))))

    def _held(self, shot: Shot, step: int) -> Shot:
        character = shot.characters[0]
        at = np.arange(shot.count) // step * step
        return with_character(shot, character, replace(character, heads=character.heads[at], tails=character.tails[at],
                                                       axes=character.axes[at], twist_axes=character.twist_axes[at]))


def keys_of(bone: str, places: Iterable[tuple[float, float]], interpolation: int) -> Keys:
    co = np.array(list(places), float)
    n = len(co)
    channel = Channel("rig", "act", f'pose.bones["{bone}"].rotation_quaternion', 1, bone)
    return Keys((channel,), np.zeros(n, int), co[:, 0], co[:, 0], co[:, 1], co - [1, 0], co + [1, 0],
                np.full(n, interpolation), plain=(True,))


def keyed(shot: Shot, keys: Keys) -> Shot:
    return with_character(shot, shot.characters[0], replace(shot.characters[0], keys=keys))


def test_exactness_is_far_below_what_bodies_and_eased_curves_show() -> None:
    from plumbline.core.measures.turn import turn
    from plumbline.core.study import Study
    shot = turning("upper_arm.L", X, 1.2, eased(times(24.0)), 24.0)
    signal = Study(shot).of(turn, shot.characters[0]).of("upper_arm.L")
    fast = signal.speed > 0.3
    change = np.linalg.norm(np.diff(signal.velocity, axis=0), axis=-1)[fast[1:] & fast[:-1]]
    assert np.median(change / signal.speed[1:][fast[1:] & fast[:-1]]) > 10 * EXACT
    assert not even_spans(signal)


def test_a_straight_root_under_hips_that_bob_says_nothing_of_the_path_of_the_hips() -> None:
    """The root's straight keys drive the path of the hips as well, but the hips' own keys bend it."""
    from plumbline.core.keys import Control
    from plumbline.core.measures.keyed import keyed as measured
    from plumbline.core.study import Study

    def stretches(bob: float) -> list[tuple[int, int]]:
        at = np.arange(1.0, 74.0, 4.0)
        values = np.concatenate([0.05 * at, bob * np.cos(at)])
        frame = np.tile(at, 2)
        places = np.stack([frame, values], 1)
        channels = tuple(Channel("rig", "act", "location", i, b) for i, b in ((1, "root"), (2, "pelvis")))
        slope = np.concatenate([np.full(len(at), 0.05), np.zeros(len(at))])
        handle = np.stack([np.ones(len(frame)), slope], 1)
        keys = Keys(channels, np.repeat([0, 1], len(at)), frame, frame, values, places - handle, places + handle,
                    np.full(len(frame), 2), plain=(True, True))
        shot = traveling(0.8, 24.0, X)
        who = replace(shot.characters[0], keys=keys, controls={"pelvis": (Control("rig/root"), Control("rig/pelvis"))})
        found = Study(with_character(shot, shot.characters[0], who)).of(measured, who)
        assert found.references(("pelvis",), 5.0, 9.0), "which keys stand behind it is told all the same"
        return list(found.stretches("pelvis", at))

    assert stretches(0.0) == [(k, k + 1) for k in range(18)] and not stretches(0.02)
