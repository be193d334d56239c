# SPDX-License-Identifier: GPL-3.0-or-later
"""slip: silent on exact pivots, rolls and belts; finds skates by size, place and frame; its pin mends them."""
from dataclasses import replace

import numpy as np
from plumbline.core.catalogue import catalogue
from plumbline.core.keys import Channel, Control, Keys
from plumbline.core.measures.sole import carried, sole_of
from plumbline.core.numeric.fcurve import BEZIER
from plumbline.core.numeric.rotation import exp
from plumbline.core.runner import finish
from plumbline.core.testing import edit
from plumbline.core.testing.floors import floor
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.mend import mend
from plumbline.core.testing.pivot_walk import skated, smooth, walk
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


def _stillest(shot, first, last):
    """Meters by which the stillest of many places under the left foot is moved from sample to sample, summed."""
    c = shot.characters[0]
    corners = carried(c, sole_of(c, "L"))[:, [1, 2, 4, 5, 6]]
    share = np.random.default_rng(0).dirichlet(np.full(5, 0.3), 4000)
    steps = np.diff(np.einsum("np,fpk->fnk", share, corners)[first:last + 1], axis=0)
    least = np.linalg.norm(steps, axis=-1).argmin(1)
    return float(np.linalg.norm(steps[np.arange(len(steps)), least].sum(0)))


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
        case = self.at_24()[-1]
        note = self.the_note(case, 24.0)
        assert "right foot slips" in note.text and "1.00 m/s backward" in note.text

    def test_a_giant_is_judged_by_its_leg_and_told_in_its_own_size(self):
        case = self.at_24()[2]
        big = edit.scaled(case.shot, 100.0)
        c = big.characters[0]
        big = replace(big, characters=(replace(c, card=replace(c.card, height=1.75)),))
        (note,) = finish(big, [catalogue()["slip"]]).notes
        told = self.the_note(case, 24.0)
        assert note.severity == told.severity and abs(note.measured - told.measured) < 0.005

    def test_a_foot_of_a_figure_without_known_size_is_skipped(self):
        case = self.at_24()[0]
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

    def test_a_slide_of_the_whole_figure_is_mended_with_the_body(self):
        shot = _stand(24.0, 4.0)
        up = smooth((shot.times - 0.2) / 0.3)[:, None] * np.array([0.0, 0.0, 0.15])
        c = shot.characters[0]
        c = edit.reach(c, "leg.R", c.head("foot.R") + up)
        far = smooth((shot.times - 1.0) / 0.4)[:, None] * np.array([0.0, 0.3, 0.0])
        slid = replace(shot, characters=(edit.shift(c, far),))
        (note,) = self.result(slid).notes
        assert np.allclose(note.remedy.body[-1], [0.0, -0.3, 0.0], atol=0.01)
        assert "move the whole figure with it" in note.remedy.sentence()
        mended = mend(slid, note.remedy, note.character)
        assert not self.result(mended).notes
        assert np.allclose(mended.characters[0].head("head")[-1], c.head("head")[-1], atol=0.01), "it stays there"
        both = replace(shot, characters=(edit.shift(shot.characters[0], far),))
        assert all(not n.remedy.body for n in self.result(both).notes), "two feet stand: no one of them leads the body"

    def test_a_figure_that_went_along_with_its_only_foot_is_mended_with_it_though_the_leg_could_reach(self):
        shot = _stand(24.0, 4.0)
        c = shot.characters[0]
        c = edit.reach(c, "leg.R", c.head("foot.R") + smooth((shot.times - 0.2) / 0.3)[:, None] * [0.0, 0.0, 0.15])
        far = smooth((shot.times - 1.0) / 0.4)[:, None] * np.array([0.08, 0.0, 0.0])
        bodies = []
        for slid in (edit.shift(c, far), edit.reach(c, "leg.L", c.head("foot.L") + far)):
            # without a ground to see, the other foot, held still in the air, may stand on something too
            (note,) = (n for n in self.result(replace(shot, characters=(slid,))).notes if n.part == "foot.L")
            bodies.append(note.remedy.body)
        assert np.allclose(bodies[0][-1], [-0.08, 0.0, 0.0], atol=0.01) and bodies[1] == ()

    def test_a_foot_that_hangs_over_the_mesh_on_which_the_other_stands_does_not_skate(self):
        """Held 10 cm up it comes to rest as if it stood: on a stair, where no mesh tells what is there."""
        shot = _stand(24.0, 4.0)
        c = shot.characters[0]
        way = (smooth((shot.times - 0.2) / 0.3)[:, None] * [0.0, 0.0, 0.10]
               + smooth((shot.times - 1.5) / 0.6)[:, None] * [0.0, 0.05, 0.0])
        hung = replace(shot, characters=(edit.reach(c, "leg.R", c.head("foot.R") + way),))
        (note,) = self.result(hung).notes
        assert note.part == "foot.R" and abs(note.measured - 0.05) < 0.01
        low = float(sole_of(c, "L").points[:, 2].min())
        assert not self.result(replace(hung, surfaces=(floor(low),))).notes
        # with both feet on it one that slides is told, as is one so low that it drags
        low_down = edit.reach(c, "leg.R", c.head("foot.R") + way * [0.0, 1.0, 0.2])
        (note,) = self.result(replace(shot, characters=(low_down,), surfaces=(floor(low),))).notes
        assert note.part == "foot.R"

    def test_what_the_leg_can_reach_is_pinned_alone(self):
        case = self.at_24()[2]
        assert self.the_note(case, 24.0).remedy.body == ()

    def test_a_fast_skate_of_a_flat_foot_goes_as_far_as_its_stillest_place(self):
        """A foot that turns about a place behind its heel while it slides, too fast to be slow in between."""
        shot = _stand(24.0)
        far = smooth((shot.times - 1.0) / 0.25)
        c = shot.characters[0]
        c = edit.reach(c, "leg.R", c.head("foot.R") + smooth(shot.times / 0.3)[:, None] * np.array([0.0, 0.0, 0.12]))
        slid = _turned_about(replace(shot, characters=(c,)), np.array([0.09, 0.2, 0.0]), 0.4 * far)
        slid = replace(slid, characters=(edit.shift(slid.characters[0], far[:, None] * np.array([0.2, 0.0, 0.0])),))
        (note,) = [n for n in self.result(slid).notes if n.part == "foot.L"]
        assert abs(note.measured - _stillest(slid, 24, 30)) < 0.1 * note.measured

    def test_what_only_sinks_as_it_goes_slides_and_what_rises_steps(self):
        """The left foot goes 15 cm aside in a fifth of a second beside the right one, which stands: down from 3 cm,
        as captured feet do, or up by 4 cm on its way."""
        shot = _stand(24.0)
        share = smooth((shot.times - 1.0) / 0.2)
        over = {"sinks": 0.03 * (1 - share), "steps": 0.04 * np.sin(np.pi * share) ** 2}
        for word, height in over.items():
            c = shot.characters[0]
            way = share[:, None] * [0.15, 0.0, 0.0] + height[:, None] * [0.0, 0.0, 1.0]
            went = replace(shot, characters=(edit.reach(c, "leg.L", c.head("foot.L") + way),))
            found = [n for n in self.result(went).notes if n.part == "foot.L"]
            assert len(found) == (word == "sinks"), word
            assert all(abs(n.measured - 0.15) < 0.015 for n in found)

    def test_the_note_names_the_keys_of_what_moves_the_foot(self):
        shot = self.at_24()[2].shot
        c = shot.characters[0]
        channels = tuple(Channel("Rig", "Act", "location", k, bone)
                         for bone in ("control", "hand.L") for k in range(2))
        at = np.tile([1.0, 25.0, 33.0, 60.0], 4)
        flat = np.stack([at, at], 1)
        keys = Keys(channels, np.repeat(np.arange(4), 4), at, at, at, flat, flat, np.full(16, BEZIER))
        c = replace(c, keys=keys, controls={"foot.L": (Control("Rig/control"),), "hand.L": (Control("Rig/hand.L"),)})
        (note,) = self.result(replace(shot, characters=(c,))).notes
        assert {k.owner for k in note.keys} == {"Rig/control"} and len(note.keys) == 2
        assert all(note.start <= f <= note.end for k in note.keys for f in k.frames) and note.keys[0].frames
