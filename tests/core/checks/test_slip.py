# SPDX-License-Identifier: GPL-3.0-or-later
"""slip: silent on exact pivots, rolls and belts; finds skates by size, place and frame; its pin mends them."""
from dataclasses import replace

import numpy as np
from plumbline.core.catalogue import catalogue
from plumbline.core.numeric.rotation import exp
from plumbline.core.runner import finish
from plumbline.core.testing import edit
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.pivot_walk import skated, walk
from plumbline.core.testing.puppet import act


def _stand(fps, seconds=3.0):
    return act({}, np.zeros((int(round(seconds * fps)) + 1, 3)), fps)


def _turned_about(shot, point, angle):
    """The left foot turned by angle (F,) rad about an upright axis through ``point``, as in a turn on the spot."""
    character = shot.characters[0]
    turn = exp(np.stack([0 * angle, 0 * angle, angle], 1))
    ankle = character.head("foot.L")
    place = np.einsum("fij,fj->fi", turn, ankle - point) + point
    return replace(shot, characters=(edit.turn(edit.reach(character, "leg.L", place), "foot.L", turn),))


class TestSlip(CheckTest):
    check = "slip"

    def clean(self, fps):
        yield walk(fps).shot
        yield walk(fps, in_place=True).shot
        yield walk(fps, pace=0.7).shot
        stand = _stand(fps)
        yield stand
        swing = 0.5 * np.sin(np.pi * np.clip((stand.times - 1.0) / 0.8, 0, 1)) ** 2
        yield replace(_turned_about(stand, np.array([0.09, -0.11, 0.0]), swing), name="turn about the ball")
        yield replace(_turned_about(stand, np.array([0.09, 0.075, 0.0]), swing), name="turn about the heel")

    def planted(self, fps):
        for size, severity in ((0.03, "low"), (0.04, "medium"), (0.10, "high")):
            offset = size * np.array([0.6, 0.8, 0.0])
            shot = skated(_stand(fps), "foot.L", 1.0, 0.4, offset, 9.0)
            yield Planted(f"{size} m standing", shot, "foot.L", severity, size, max(0.1 * size, 0.002),
                          start=1.0, end=1.4, worst=1.4, slack=0.06)
            lift = 1.1 * 1 + 0.66
            shot = skated(walk(fps).shot, "foot.L", 1.1 + 0.14, 0.24, offset, lift)
            yield Planted(f"{size} m walking", shot, "foot.L", severity, size, max(0.1 * size, 0.002),
                          start=1.24, end=1.48, worst=1.48, slack=0.06)
        shot = skated(walk(fps, in_place=True).shot, "foot.R", 1.65 + 0.14, 0.24, np.array([0.1, 0, 0]), 1.65 + 0.66)
        yield Planted("on a belt", shot, "foot.R", "high", 0.10, 0.01, start=1.79, end=2.03, worst=2.03, slack=0.06)

    def test_an_uneven_ground_is_skipped_with_its_reason(self):
        shot = walk(in_place=True, ground=lambda t: t - 0.4 * 1.1 / (4 * np.pi) * np.sin(4 * np.pi * t / 1.1)).shot
        result = self.result(shot)
        assert not result.notes
        assert [s for s in result.skipped if "varies by" in s.why and "not measured" in s.why]

    def test_stepped_motion_is_skipped(self):
        shot = walk().shot
        c = shot.characters[0]
        rows = np.arange(shot.count) // 9 * 9
        held = replace(c, heads=c.heads[rows], tails=c.tails[rows], axes=c.axes[rows], twist_axes=c.twist_axes[rows])
        result = self.result(replace(shot, characters=(held,)))
        assert not result.notes and any("stepped" in s.why for s in result.skipped)

    def test_text_names_the_ground(self):
        case = list(self.planted(24.0))[-1]
        note = self.the_note(case, 24.0)
        assert "right foot slips" in note.text and "1.00 m/s backward" in note.text

    def test_a_giant_is_judged_by_its_leg_and_told_in_its_own_size(self):
        case = list(self.planted(24.0))[2]
        big = edit.scaled(case.shot, 100.0)
        c = big.characters[0]
        big = replace(big, characters=(replace(c, card=replace(c.card, height=1.75)),))
        (note,) = finish(big, [catalogue()["slip"]]).notes
        told = self.the_note(case, 24.0)
        assert note.severity == told.severity and abs(note.measured - told.measured) < 0.005

    def test_a_foot_of_a_figure_without_known_size_is_skipped(self):
        case = list(self.planted(24.0))[0]
        result = self.result(edit.scaled(case.shot, 100.0))
        assert not result.notes and any("height" in s.why for s in result.skipped)

    def test_a_slide_to_and_fro_is_one_note(self):
        there = skated(_stand(24.0, 4.0), "foot.L", 1.0, 0.3, np.array([0.04, 0.0, 0.0]), 9.0)
        back = skated(there, "foot.L", 1.4, 0.3, np.array([-0.03, 0.0, 0.0]), 9.0)
        (note,) = self.result(back).notes
        assert "to and fro" in note.text and abs(note.measured - 0.04) < 0.002
        assert 32 <= note.worst <= 35 and note.end >= 39

    def test_a_guessed_sole_may_roll_about_a_place_under_it(self):
        shot = _stand(24.0)
        swing = np.radians(15) * np.sin(np.pi * np.clip((shot.times - 1.0) / 0.8, 0, 1)) ** 2
        turn = exp(np.stack([swing, 0 * swing, 0 * swing], 1))
        for under, silent in ((0.03, True), (0.09, False)):
            point = np.array([0.09, -0.11, -under])
            c = shot.characters[0]
            place = np.einsum("fij,fj->fi", turn, c.head("foot.L") - point) + point
            rolled = replace(shot, characters=(edit.turn(edit.reach(c, "leg.L", place), "foot.L", turn),))
            assert bool(self.result(rolled).notes) is not silent
