# SPDX-License-Identifier: GPL-3.0-or-later
"""off-balance: silent on people who stand and sway; finds leans that nothing holds, by exact geometry."""
from dataclasses import replace
from functools import cache

import numpy as np
from plumbline.core.catalogue import catalogue
from plumbline.core.measures.mass import masses, masses_of
from plumbline.core.measures.sole import carried, sole_of
from plumbline.core.measures.support import base
from plumbline.core.numeric.rotation import exp
from plumbline.core.runner import finish
from plumbline.core.shot import Surface
from plumbline.core.study import Study
from plumbline.core.testing import edit, poises
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.mend import mend
from plumbline.core.testing.pivot_walk import smooth, walk
from plumbline.core.testing.puppet import act
from plumbline.core.testing.pushes import demanded

RATES = (24.0, 25.0, 60.0)
START, LASTS = 0.6, 1.6
SIDE, AHEAD, BACK = (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)


def one_foot(fps, degrees=0.0, axis=SIDE, seconds=3.6, back=None):
    """On the left foot, the right one 20 cm up; from START the whole body tilts about the left ankle, within LASTS, and
    stays so, or till ``back`` s. axis (3,): about which; the figure faces -Y and has its left at +X."""
    shot = act({}, np.zeros((int(round(seconds * fps)) + 1, 3)), fps)
    c = edit.carry_root(shot.characters[0], np.tile([0.075, 0.0, -0.03], (shot.count, 1)))
    c = edit.reach(c, "leg.R", c.head("foot.R") + np.array([0.05, 0.0, 0.2]))
    found = masses_of(c)
    center = np.tensordot(found.centers(c), found.mass / found.total, ([1], [0])).T[0]
    sole = carried(c, sole_of(c, "L"))[0]
    over = (sole[:, :2].max(0) + sole[:, :2].min(0)) / 2 - center[:2]
    rows = [c.index[p] for p in c.parts if p not in ("foot.L", "toe.L")]
    share = smooth((shot.times - START) / LASTS)
    if back is not None:
        share = share * (1 - smooth((shot.times - back) / LASTS))
    turn = exp(np.radians(degrees) * share[:, None] * np.array(axis))
    c = edit.carry_root(c, np.tile([over[0], over[1], 0.0], (shot.count, 1)), ("leg.L",))
    return replace(shot, characters=(edit.transform(c, rows, turn, c.head("foot.L"), np.zeros((shot.count, 3))),))


@cache
def needed(degrees, axis=SIDE):
    """The largest excess in meters that a tilt truly demands, its start and stop included, and what is left of it when
    it is held."""
    excess = demanded(one_foot(240.0, degrees, axis), "L")
    return float(excess.max()), float(excess[-5])


class TestOffBalance(CheckTest):
    check = "off-balance"
    rates = RATES

    def clean(self, fps):
        yield one_foot(fps)
        yield one_foot(fps, 5.0)
        yield one_foot(fps, 8.0, AHEAD)
        yield one_foot(fps, 6.0, BACK)
        yield walk(fps).shot
        yield poises.tiptoe(fps)
        yield poises.squat(fps)
        yield poises.sit(fps, chair=True)
        yield poises.sit(fps, chair=False)
        yield poises.rail(fps)

    def planted(self, fps):
        for degrees, severity in ((9.0, "low"), (13.0, "medium"), (20.0, "high")):
            yield Planted(f"tilted {degrees:g} degrees aside", one_foot(fps, degrees), "pelvis", severity,
                          needed(degrees)[0], 0.015, worst=START + 1.25, slack=0.25)
        yield Planted("tilted 18 degrees ahead", one_foot(fps, 18.0, AHEAD), "pelvis", "medium", needed(18.0, AHEAD)[0],
                      0.015, worst=START + 1.25, slack=0.25)
        yield Planted("tilted and back", one_foot(fps, 20.0, seconds=5.0, back=2.6), "pelvis", "high", needed(20.0)[0],
                      0.02)

    def test_what_is_held_is_plain_geometry(self):
        """Sine of the angle times the height of the mass, less the room that the sole leaves."""
        shot = one_foot(24.0, 20.0)
        found = Study(shot).of(base, shot.characters[0])
        assert abs(found.excess[-6] - needed(20.0)[1]) < 0.005
        assert 0.2 < needed(20.0)[1] < 0.3 and needed(5.0)[1] < 0.035

    def test_the_same_lean_without_hands_on_the_rail_is_one(self):
        """What keeps the lean on the rail silent is the hands that stay while the body goes."""
        shot = poises.rail(24.0)
        c = edit.carry_root(shot.characters[0], np.zeros((shot.count, 3)))
        for side in "LR":
            own = c.head(f"hand.{side}") - c.head("chest")
            c = edit.reach(c, f"arm.{side}", c.head("chest") + own[0])
        (note,) = self.notes(replace(shot, characters=(c,)))
        assert note.severity.rank >= 1

    def test_masses_that_are_only_guessed_are_low_at_most(self):
        shot = one_foot(24.0, 20.0)
        c = shot.characters[0]
        # legs half as long at rest: the build of a doll, on which people's shares are a guess
        rest = c.rest_heads.copy()
        for part in ("foot.L", "foot.R", "toe.L", "toe.R", "shin.L", "shin.R"):
            up = rest[c.index["thigh.L"], 2]
            rest[c.index[part], 2] = up - 0.45 * (up - rest[c.index[part], 2])
        doll = replace(c, rest_heads=rest)
        assert Study(shot).of(masses, doll).guessed and not Study(shot).of(masses, c).guessed
        for note in self.notes(replace(shot, characters=(doll,))):
            assert note.severity.rank == 0 and "never more than low" in note.text

    def test_a_lean_is_no_carry(self):
        shot = one_foot(24.0, 20.0)
        assert not finish(shot, [catalogue()["undriven-move"]]).notes

    def test_stepped_motion_is_skipped(self):
        shot = one_foot(24.0, 20.0)
        c = shot.characters[0]
        rows = np.arange(shot.count) // 9 * 9
        held = replace(c, heads=c.heads[rows], tails=c.tails[rows], axes=c.axes[rows], twist_axes=c.twist_axes[rows])
        result = self.result(replace(shot, characters=(held,)))
        assert not result.notes and any("stepped" in s.why for s in result.skipped)

    def test_the_evidence_is_base_plumb_line_point_and_path(self):
        (note,) = self.notes(one_foot(24.0, 20.0))
        kinds = [type(e).__name__ for e in note.evidence]
        assert kinds == ["Patch", "Polyline", "Point", "Polyline", "Polyline", "Point"]
        count = note.end - note.start + 1
        assert [len(note.evidence[k].places) for k in (2, 5)] == [count, count], "both follow the playhead"
        plumb = np.array(note.evidence[3].places)
        assert np.allclose(plumb[0, :2], plumb[1, :2]) and plumb[0, 2] > 0.5 > plumb[1, 2]

    def test_the_lifted_foot_goes_with_the_hips_and_the_standing_one_stays(self):
        """Left behind it would fold its leg; the hips are what the law of remedies mends."""
        shot = one_foot(24.0, 20.0, seconds=5.0, back=2.6)
        floor = Surface("Floor", "marked", np.array([[[-9, -9, 0], [9, -9, 0], [0, 18, 0]]], float), np.eye(4)[None])
        shot = replace(shot, characters=(edit.with_goals(shot.characters[0]),), surfaces=(floor,))
        (note,) = self.notes(shot)
        assert set(note.remedy.along) == {"foot.R", "hand.L", "hand.R"}
        assert "the left hand, the right foot and the right hand with it" in note.remedy.sentence()
        first, last = note.remedy.frames
        rows = [int(np.abs(shot.frames - f).argmin()) for f in range(first, last + 1)]
        mended = mend(shot, note.remedy, note.character).characters[0]
        for part, far in (("foot.L", 0.0), ("foot.R", 1.0), ("hand.L", 1.0)):
            moved = (mended.head(part) - shot.characters[0].head(part))[rows]
            assert np.abs(moved - far * np.array(note.remedy.offsets)).max() < 1e-6, part

    def test_a_foot_that_steps_meanwhile_stays_where_it_is(self):
        shot = one_foot(24.0, 20.0, seconds=5.0, back=2.6)
        c = shot.characters[0]
        up = smooth((shot.times - 1.0) / 0.6) * (1 - smooth((shot.times - 2.2) / 0.6))
        down = c.head("foot.R") - np.outer(0.2 * (1 - up), c.up)
        (note,) = self.notes(replace(shot, characters=(edit.reach(c, "leg.R", down),)))
        assert note.remedy.along == ()

    def test_a_leaning_leg_comes_upright_as_long_as_it_is(self):
        """Brought back at the same height it would fold at the knee, and at the ankle past its range."""
        shot = one_foot(24.0, 30.0, AHEAD, seconds=5.0, back=2.6)
        (note,) = self.notes(shot)
        assert max(z for _, _, z in note.remedy.offsets) > 0.05 and "cm back at most" in note.remedy.sentence()
        level = replace(note.remedy, offsets=tuple((x, y, 0.0) for x, y, _ in note.remedy.offsets))
        rises, folds = (self.shortest(shot, mend(shot, way, note.character)) for way in (note.remedy, level))
        assert rises > 0.92 and folds < 0.86

    def shortest(self, shot, mended):
        """The least share of its length from hip to ankle to which the left leg comes."""
        was, now = (np.linalg.norm(s.characters[0].head("thigh.L") - s.characters[0].head("foot.L"), axis=-1)
                    for s in (shot, mended))
        return float((now / was).min())
