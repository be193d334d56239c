# SPDX-License-Identifier: GPL-3.0-or-later
"""arc-break: the laws; turns that are slowed or spread; one frame beside its arc; hits; twos and stepped."""
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from plumbline.core.measures.paths import where
from plumbline.core.note import Severity
from plumbline.core.numeric.rotation import about, angle_between
from plumbline.core.remedy import Land
from plumbline.core.shot import Prop, Shot, with_character
from plumbline.core.testing.courses import AT, LEG, carried, course, swung, times
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.mend import mend
from plumbline.core.testing.puppet import act

Array = np.ndarray
X, Y, Z = np.eye(3)


class TestArcBreak(CheckTest):
    check = "arc-break"

    def clean(self, fps: float) -> Iterable[Shot]:
        yield swung(fps, "upper_arm.L", "forearm.L", 1.6)
        yield swung(fps, "upper_arm.R", "forearm.R", 1.6, 12.0)                # a small turn
        yield swung(fps, "upper_arm.L", "forearm.L", 1.6, 70.0, dip=0.9)       # slows down for it
        yield swung(fps, "upper_arm.R", "forearm.R", 0.3, 60.0)                # slow all the time
        t = times(fps)
        angle = np.radians(90) * np.clip((t - AT) / 0.3 + 0.5, 0, 1)           # spread over a third of a second
        step = np.gradient(course(t))[:, None] * np.stack([np.cos(angle), np.sin(angle), 0 * angle], -1)
        yield act({}, 1.3 * np.cumsum(step, axis=0), fps)

    def planted(self, fps: float) -> Iterable[Planted]:
        for part, drawn, told, degrees, severity in (
            ("upper_arm.L", "forearm.L", "hand.L", 25.0, "low"), ("upper_arm.R", "forearm.R", "hand.R", 60.0, "medium"),
            ("neck", "head", "head", 95.0, "high"), ("upper_arm.L", "forearm.L", "hand.L", 90.0, "high"),
        ):
            shot = swung(fps, part, drawn, 1.6, degrees)
            # the arc's own turn adds to it, or takes from it
            at, path = round(AT * fps), where(shot.characters[0], drawn)
            turn = np.degrees(angle_between(path[at] - path[at - 1], path[at + 1] - path[at]))
            assert abs(turn - degrees) < 15
            yield Planted(f"{told} by {degrees:g}", shot, told, severity, float(turn), 1.0, AT, AT, AT)

    def test_the_whole_body_turns_in_one_note(self) -> None:
        note, = self.notes(carried(24.0, 1.6, 60.0))
        assert note.part == "pelvis" and {"chest", "head", "hand.L"} <= set(note.parts)
        assert "without slowing down" in note.text

    def test_one_frame_beside_its_arc(self) -> None:
        note, = self.notes(carried(24.0, 1.6, aside=0.5))
        assert note.kind == "aside" and note.part == "pelvis" and "leaves its arc" in note.text
        assert note.start == note.end == 1 + round(AT * 24)
        # back by what it was off: half a step
        assert isinstance(note.remedy, Land) and len(note.remedy.offsets) == 1
        offset = np.array(note.remedy.offsets[0])
        assert np.allclose(offset, -0.5 * 1.6 * 0.843 / 24 * Y, atol=0.002)

    def test_at_high_rates_the_remedy_spreads_a_corner_over_three_frames_of_24(self) -> None:
        for fps, count in ((60.0, 3), (120.0, 13)):
            for case in self.planted(fps):
                note = self.the_note(case, fps)
                assert isinstance(note.remedy, Land) and len(note.remedy.offsets) == count, case.name
                far = np.linalg.norm(note.remedy.offsets, axis=-1)
                assert far.argmax() == count // 2 and note.remedy.frames[0] == note.worst - count // 2
                assert not self.notes(mend(case.shot, note.remedy, note.character)), case.name
            # one frame beside its arc is one at any rate
            note, = self.notes(carried(fps, 1.6, aside=1.5))
            assert note.kind == "aside" and isinstance(note.remedy, Land) and len(note.remedy.offsets) == 1

    def test_what_lasts_a_frame_of_more_than_72_is_low(self) -> None:
        for fps, severity in ((24.0, Severity.HIGH), (60.0, Severity.HIGH), (120.0, Severity.LOW)):
            aside = 1.5 * fps / 24                       # as many centimeters at every rate
            note, = self.notes(carried(fps, 1.6, aside=aside))
            assert note.severity is severity and note.start == note.end == 1 + round(AT * fps), (fps, note.text)

    def test_a_clear_corner_counts_near_a_larger_jump(self) -> None:
        for rate in (24.0, 60.0):
            t = times(rate)
            path = 1.3 * course(t)[:, None] * X
            turned_ = path - path[round(AT * rate)]
            path = np.where((t > AT)[:, None], path[round(AT * rate)] + turned_ @ about(Z, 0.9).T, path)
            path[round((AT + 0.4) * rate):] += 0.08 * Y
            told = [n for n in self.notes(act({}, path, rate)) if abs(n.worst - 1 - AT * rate) <= 1]
            assert [n.severity for n in told] == [Severity.LOW], [n.text for n in told]

    def test_a_sharp_corner_counts_beside_a_slow_turn(self) -> None:
        t = times(24.0)
        at = round(AT * 24)
        for degrees, speaks in ((85.0, True), (40.0, False)):
            # the body sets out slowly, turns by 50 degrees, goes faster, and is kinked there
            headings = np.radians(np.where(t < AT - 1.5 / 24, 0.0, np.where(t < AT - 0.5 / 24, 55.0, 55.0 + degrees)))
            speeds = np.where(t < AT - 1.5 / 24, 0.45, 0.8) * LEG / 24
            steps = speeds[:, None] * np.stack([np.cos(headings), np.sin(headings), 0 * t], -1)
            path = np.concatenate([np.zeros((1, 3)), np.cumsum(steps, axis=0)[:-1]])
            told = [n for n in self.notes(act({}, path, 24.0)) if abs(n.start - 1 - at) <= 2]
            assert bool(told) is speaks, (degrees, [n.text for n in told])

    def test_a_turn_on_a_prop_is_low_at_most(self) -> None:
        shot = swung(24.0, "upper_arm.L", "forearm.L", 1.6, 100.0)
        note, = self.notes(shot)
        assert note.severity is Severity.HIGH
        at = where(shot.characters[0], "forearm.L")[note.worst - 1]
        still = np.broadcast_to(at, (shot.count, 3))
        rail = Prop("rail", "it moves", still, np.broadcast_to(np.eye(3), (shot.count, 3, 3)), 0.02)
        note, = self.notes(replace(shot, props=(rail,)))
        assert note.severity is Severity.LOW and "right if it hits the rail" in note.text

    def test_what_kinks_all_the_time_is_low(self) -> None:
        t = times(24.0)
        path = 1.3 * course(t)[:, None] * X
        path[::5] += 0.012 * Y
        assert all(n.severity is Severity.LOW for n in self.notes(act({}, path, 24.0)))

    def test_twos_and_stepped_are_silent_and_said(self) -> None:
        shot = swung(24.0, "upper_arm.L", "forearm.L", 1.6, 60.0)
        who = shot.characters[0]
        for step, word in ((2, "on twos"), (8, "stepped")):
            at = np.arange(shot.count) // step * step
            held = replace(who, heads=who.heads[at], tails=who.tails[at], axes=who.axes[at],
                           twist_axes=who.twist_axes[at])
            result = self.result(with_character(shot, who, held))
            assert not result.notes and any(word in s.why for s in result.skipped)
