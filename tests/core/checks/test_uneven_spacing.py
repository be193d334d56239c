# SPDX-License-Identifier: GPL-3.0-or-later
"""uneven-spacing: the laws; which way a frame is off; what else makes large steps; twos and stepped."""
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.note import Severity
from plumbline.core.remedy import Land
from plumbline.core.shot import Shot, with_character
from plumbline.core.testing.courses import AT, LEG, carried, course, swung, times
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.puppet import act

Array = np.ndarray
X, Y, Z = np.eye(3)


class TestUnevenSpacing(CheckTest):
    check = "uneven-spacing"

    def clean(self, fps: float) -> Iterable[Shot]:
        yield swung(fps, "upper_arm.L", "forearm.L", 1.6)
        yield swung(fps, "upper_arm.R", "forearm.R", 1.6, shove=0.12)           # hides among changes of speed
        yield swung(fps, "upper_arm.L", "forearm.L", 0.06, shove=0.9)           # moves too little
        t = times(fps)
        way = course(t)
        yield act({}, 1.3 * np.minimum(way, 0.3 * way)[:, None] * X, fps)       # speeds change at once: no frame is off
        yield act({}, 1.3 * (way + np.where(t > AT, 0.05, 0))[:, None] * X, fps)      # a jump that stays

    def planted(self, fps: float) -> Iterable[Planted]:
        for part, drawn, told, shove, severity in (
            ("upper_arm.L", "forearm.L", "hand.L", 0.25, "low"), ("neck", "head", "head", 0.75, "high"),
            ("upper_arm.R", "forearm.R", "hand.R", -0.42, "medium"),
        ):
            shot = swung(fps, part, drawn, 1.6, shove=shove)
            yield Planted(f"{told} by {shove:g}", shot, told, severity, abs(shove), 0.04, AT, AT, AT)

    def test_the_whole_body_is_one_note_and_lands_where_it_should(self) -> None:
        note, = self.notes(carried(24.0, 1.6, shove=0.5))
        assert note.part == "pelvis" and {"chest", "head", "hand.L"} <= set(note.parts)
        step = 1.6 * LEG / 24
        assert isinstance(note.remedy, Land)
        assert np.array(note.remedy.offsets) == pytest.approx(-0.5 * step * X[None], abs=0.002)
        assert "to where its path should land" in note.remedy.sentence()
        assert f"{100 * 0.5 * step:.1f} cm off along its path" in note.text

    def test_a_frame_that_is_off_to_the_side_is_not_a_matter_of_spacing(self) -> None:
        assert not self.notes(carried(24.0, 1.6, aside=0.5))

    def test_what_is_uneven_all_the_time_is_low(self) -> None:
        way = course(times(24.0))
        way[::5] += 0.3 / 24
        assert all(n.severity is Severity.LOW for n in self.notes(act({}, 1.3 * way[:, None] * X, 24.0)))

    def test_a_clear_hitch_counts_near_a_larger_jump(self) -> None:
        way = course(times(24.0))
        way[round(AT * 24)] += 0.5 / 24
        path = 1.3 * way[:, None] * X
        path[round(AT * 24) + 9:] += 0.08 * Y
        note, = (n for n in self.notes(act({}, path, 24.0)) if n.start == 1 + round(AT * 24))
        assert note.severity is Severity.LOW
        # a speed that only sways makes no long step beside a short one
        sways = course(times(24.0))
        sways += 0.02 * np.sin(2 * np.pi * 5.5 * times(24.0))
        assert not self.notes(act({}, 1.3 * sways[:, None] * X, 24.0))

    def test_of_a_wiggle_no_frame_is_out_of_place(self) -> None:
        for frames, speaks in ((1, True), (8, False)):
            way = course(times(24.0))
            at = round(AT * 24) + np.arange(frames)
            way[at] += 0.9 / 24 * (-1.0) ** np.arange(frames)
            told = [n for n in self.notes(act({}, 1.3 * way[:, None] * X, 24.0)) if at[2:-2].any()
                    and 1 + at[2:-2].min() <= n.start <= 1 + at[2:-2].max() or frames == 1]
            assert bool(told) is speaks, [n.text for n in told]

    def test_what_shakes_for_half_a_second_is_low(self) -> None:
        for calm, severity in ((True, Severity.HIGH), (False, Severity.LOW)):
            way = course(times(24.0))
            at = round(AT * 24)
            way[at] += 0.9 / 24
            beside = np.array([k for k in range(-9, 10) if abs(k) > 4])
            way[at + beside] += 0.0 if calm else 0.24 / 24 * np.cos(2.1 * beside)
            note, = (n for n in self.notes(act({}, 1.3 * way[:, None] * X, 24.0)) if n.start == 1 + at)
            assert note.severity is severity, note.text

    def test_what_lasts_a_frame_of_more_than_72_is_low(self) -> None:
        for fps, severity in ((60.0, Severity.HIGH), (120.0, Severity.LOW)):
            note, = self.notes(carried(fps, 1.6, shove=0.8))
            assert note.severity is severity and note.start == 1 + round(AT * fps), (fps, note.text)

    def test_a_frame_that_is_out_of_place_where_the_path_turns_back(self) -> None:
        t = times(24.0)
        way = np.abs(t - AT) * 1.3                       # comes, turns within a few frames, and goes back
        near = np.abs(t - AT) < 3 / 24
        way[near] = 1.3 * (12 * (t[near] - AT) ** 2 / 3 + 3 / 48)
        assert not self.notes(act({}, way[:, None] * X, 24.0))
        way[round(AT * 24) + 1] += 0.09
        note, = self.notes(act({}, way[:, None] * X, 24.0))
        assert note.start == 2 + round(AT * 24)

    def test_a_push_off_is_a_change_of_speed_that_stays(self) -> None:
        rises = np.array([0.0, 1.35, 3.2, 3.85, 3.2, 1.35])           # cm a frame, eased up to stand
        flies = 7.66 - 1.7 * np.arange(10)                            # thrown up, and back
        steps = np.concatenate([np.zeros(20), rises, flies, np.zeros(20)])
        height = 0.01 * np.concatenate([[0.0], np.cumsum(steps)])
        assert not [n for n in self.notes(act({}, height[:, None] * Z, 24.0)) if 24 <= n.start <= 30]

    def test_the_ends_of_the_shot_are_not_judged(self) -> None:
        t = times(24.0)
        for at in (1, len(t) - 2):
            way = t.copy()
            way[at] += 0.5 / 24
            assert not self.notes(act({}, 1.3 * way[:, None] * X, 24.0))

    def test_twos_and_stepped_are_silent_and_said(self) -> None:
        shot = swung(24.0, "upper_arm.L", "forearm.L", 1.6, shove=0.6)
        who = shot.characters[0]
        assert self.notes(shot)
        for step, word in ((2, "on twos"), (8, "stepped")):
            at = np.arange(shot.count) // step * step
            held = replace(who, heads=who.heads[at], tails=who.tails[at], axes=who.axes[at],
                           twist_axes=who.twist_axes[at])
            result = self.result(with_character(shot, who, held))
            assert not result.notes and any(word in s.why for s in result.skipped)
