# SPDX-License-Identifier: GPL-3.0-or-later
"""late-roll: silent on walks that roll in time, crouched, in place, slow, fast and backward; finds a foot that stays
flat by how far the body is past its ball, and its turn peels the heel."""
from dataclasses import replace
from functools import cache

import numpy as np
from plumbline.core.catalogue import catalogue
from plumbline.core.measures.mass import masses_of
from plumbline.core.measures.peel import peels
from plumbline.core.measures.sole import carried, sole_of
from plumbline.core.remedy import Turn
from plumbline.core.shot import SOLE_POINTS, with_character
from plumbline.core.study import Study
from plumbline.core.testing import edit
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.mend import mend
from plumbline.core.testing.pivot_walk import smooth, walk
from plumbline.core.testing.plant_peels import held_down

SECONDS = 3.2
#: s at which the left heel leaves in time, and by which it is held down in the faults.
LEAVES, LATE = 1.6, 0.09
BALL = SOLE_POINTS.index("ball")


def _lowered(fps, ahead=0.08, down=0.05, dip=0.08):
    """The walk with its hips ahead and low, and lower round the time at which the left foot lifts off: the knee bends
    as it does before every swing."""
    shot = walk(fps, seconds=SECONDS).shot
    c = shot.characters[0]
    bends = smooth(1 - np.abs(shot.times - LEAVES - 0.16) / 0.3)
    offset = np.stack([0 * bends, 0 * bends - ahead, -down - dip * bends], -1)
    return with_character(shot, c, edit.carry_root(c, offset, ["leg.L", "leg.R"]))


@cache
def _late(fps, seconds=LATE, ahead=0.08):
    """The walk with one step of the left foot whose heel is held down for longer, and how far the body, which goes
    along -Y, is then past its ball, worked out from the segments' centers and the joints."""
    shot = _lowered(fps, ahead)
    c = shot.characters[0]
    step = next(p for p in Study(shot).of(peels, c) if p.fall.part == "foot.L" and p.fall.span.on / fps > 0.8)
    late = round(seconds * fps)
    held = held_down(c, step, step.down, late, max(1, round(fps / 12)))
    found = masses_of(held)
    center = np.einsum("ksf,s->fk", found.centers(held), found.mass) / found.total
    leaves = step.down + late
    past = carried(held, sole_of(held, "L"))[leaves, BALL, 1] - center[leaves, 1]
    return with_character(shot, c, held), float(past), leaves / fps


def _reversed(c):
    return replace(c, heads=c.heads[::-1], tails=c.tails[::-1], axes=c.axes[::-1], twist_axes=c.twist_axes[::-1])


class TestLateRoll(CheckTest):
    check = "late-roll"

    def clean(self, fps):
        yield walk(fps).shot
        yield walk(fps, in_place=True).shot
        yield walk(fps, pace=0.7).shot
        yield walk(fps, pace=1.4).shot
        yield _lowered(fps)
        yield replace(_lowered(fps, ahead=0.06, down=0.12, dip=0.0), name="crouched")
        late = _late(fps)[0]
        yield replace(late, characters=tuple(_reversed(c) for c in late.characters), name="backward")

    def planted(self, fps):
        shot, past, at = _late(fps)
        yield Planted("held down", shot, "foot.L", "low", past, 0.01, end=at, worst=at)

    def test_a_crouch_leans_as_far_and_is_no_fault(self):
        shot = _lowered(24.0, ahead=0.06, down=0.12, dip=0.0)
        c = shot.characters[0]
        assert not Study(shot).of(peels, c)
        shin = c.head("shin.L") - c.head("foot.L")
        standing = c.head("foot.L")[:, 2] < c.head("foot.L")[:, 2].min() + 0.01
        assert np.degrees(np.arctan2(-shin[standing, 1], shin[standing, 2])).max() > 45.0

    def test_the_remedy_peels_the_heel_about_the_ball(self):
        shot, _past, at = _late(24.0)
        (note,) = self.notes(shot)
        assert note.trial and isinstance(note.remedy, Turn) and note.remedy.pivot == "ball"
        assert note.remedy.frames[0] < note.worst and "heel up about its ball" in note.remedy.sentence()
        assert min(note.remedy.angle) >= 0.0 and note.remedy.angle[0] == note.remedy.angle[-1] == 0.0
        assert max(note.remedy.angle) > 8.0 and abs(shot.times[note.worst - 1] - at) < 1e-6

    def test_the_remedy_peels_a_foot_that_lifts_off_flat(self):
        shot, _past, _at = _late(24.0, seconds=0.21)
        (note,) = self.notes(shot)
        assert "never leaves before its toes" in note.text
        mended = mend(shot, note.remedy, note.character)
        steps = [s for c in mended.characters for s in Study(mended).of(peels, c) if s.fall.part == "foot.L"]
        assert len(steps) >= 2 and all(s.heel_off for s in steps)
        assert max(s.beyond for s in steps) < 0.2 * shot.characters[0].leg_length

    def test_a_heel_that_snaps_up_is_late_where_the_body_is_less_far(self):
        """Hips that hang back: the body stays under 0.25 of the leg, and the foot catches up in two frames."""
        shot, past, at = _late(24.0, 0.17, ahead=-0.05)
        c = shot.characters[0]
        leg = c.leg_length
        assert 0.2 * leg < past < 0.25 * leg
        (note,) = self.notes(shot)
        assert note.severity == "low" and "then its heel snaps up" in note.text
        assert abs(note.measured - past) < 0.01 and abs(note.limit - 0.2 * leg) < 0.02
        step = next(p for p in Study(shot).of(peels, c) if p.fall.part == "foot.L" and p.beyond > 0.2 * leg)
        sole = carried(c, sole_of(c, "L"))
        ahead = sole[:, BALL] - sole[:, SOLE_POINTS.index("heel")]
        rise = np.degrees(np.arcsin(-ahead[:, 2] / np.linalg.norm(ahead, axis=1)))
        row = round(at * 24)
        goes = -np.diff(c.head("pelvis")[:, 1])[row - 4:row].mean()
        assert abs(step.snap - np.diff(rise)[row:row + 4].max() * 0.1 * leg / goes) < 0.15 * step.snap
        in_time = _lowered(24.0, ahead=-0.05)
        assert not self.notes(in_time)
        assert max(p.snap for p in Study(in_time).of(peels, in_time.characters[0])) < 40 < step.snap

    def test_on_a_stair_heels_may_snap_up(self):
        shot, _past, _at = _late(24.0, 0.17, ahead=-0.05)
        c = shot.characters[0]
        leg = c.leg_length
        step = next(p for p in Study(shot).of(peels, c) if p.fall.part == "foot.L" and p.beyond > 0.2 * leg)
        assert abs(step.higher) < 0.01 * leg
        lows = [catalogue()["late-roll"]._limit(c, replace(step, higher=far * leg)).low / leg for far in (-0.2, 0, 0.2)]
        assert lows[1] < 0.21 < 0.249 < min(lows[0], lows[2])

    def test_in_a_small_step_low_is_a_share_of_the_step(self):
        """0.47 of the way to where the other foot comes down, and never more than 0.25 of the leg; medium stays."""
        shot = walk(24.0).shot
        c = shot.characters[0]
        step, leg = Study(shot).of(peels, c)[0], c.leg_length
        side = step.fall.part[-1]
        feet = [carried(c, sole_of(c, s))[:, BALL, 1] for s in (side, "R" if side == "L" else "L")]
        later = next(p for p in Study(shot).of(peels, c) if p.fall.part != step.fall.part and p.flat > step.flat)
        assert abs(feet[0][step.down] - feet[1][later.down] - step.step) < 0.01, "from ball to ball, along -Y"
        check = catalogue()["late-roll"]
        for far, low in ((0.3, 0.141), (0.5, 0.235), (0.8, 0.25)):
            limit = check._limit(c, replace(step, step=far * leg))
            assert abs(limit.low / leg - low) < 1e-9 and abs(limit.medium / leg - 0.42) < 1e-9
