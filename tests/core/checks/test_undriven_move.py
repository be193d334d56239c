# SPDX-License-Identifier: GPL-3.0-or-later
"""undriven-move: silent on shifts of weight that people do; finds carries by the push that they truly demand."""
from dataclasses import replace
from functools import cache

import numpy as np
from plumbline.core.measures.mass import masses
from plumbline.core.measures.sole import carried, sole_of
from plumbline.core.measures.support import base
from plumbline.core.study import Study
from plumbline.core.testing import edit, poises
from plumbline.core.testing.jumps import jump
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.mend import mend
from plumbline.core.testing.pivot_walk import smooth, walk
from plumbline.core.testing.puppet import act
from plumbline.core.testing.pushes import demanded

RATES = (24.0, 25.0, 60.0)
START, LASTS = 1.4, 0.5


def stand(fps, seconds=3.6, wide=0.0):
    """On two feet, knees a little bent; wide: how much farther each foot stands to its side, m."""
    shot = act({}, np.zeros((int(round(seconds * fps)) + 1, 3)), fps)
    c = edit.carry_root(shot.characters[0], np.tile([0.0, 0.0, -0.06 - 0.2 * wide], (shot.count, 1)))
    for limb, way in (("leg.L", 1.0), ("leg.R", -1.0)):
        foot = f"foot.{limb[-1]}"
        c = edit.reach(c, limb, c.head(foot) + np.array([way * wide, 0.0, 0.0]))
    return replace(shot, characters=(c,))


def carried_by(shot, far, seconds=LASTS, way=(1.0, 0.0, 0.0), start=START):
    along = smooth((shot.times - start) / seconds)[:, None]
    return replace(shot, characters=(edit.carry_root(shot.characters[0], along * far * np.array(way)),))


@cache
def needed(far, seconds=LASTS, way=(1.0, 0.0, 0.0)):
    """The largest excess in meters that a carry truly demands."""
    return float(demanded(carried_by(stand(240.0), far, seconds, way)).max())


class TestUndrivenMove(CheckTest):
    check = "undriven-move"
    rates = RATES

    def clean(self, fps):
        yield stand(fps)
        yield carried_by(stand(fps), 0.10, 0.5)
        yield carried_by(stand(fps), 0.10, 1.0)
        yield carried_by(carried_by(stand(fps, wide=0.08), -0.10, 1.0, start=0.2), 0.20, 1.0)
        yield carried_by(stand(fps), -0.15, 0.8, (0.0, 0.0, 1.0))
        yield walk(fps).shot
        yield jump(fps)
        yield poises.squat(fps)
        yield poises.sit(fps, chair=False)

    def planted(self, fps):
        # the farthest is out of the base as it starts too, on the other side
        for far, severity in ((0.14, "low"), (0.18, "medium"), (0.225, "high")):
            true = needed(far)
            yield Planted(f"carried {far} m", carried_by(stand(fps), far), "pelvis", severity, 0.91 * true,
                          0.05 * true, start=None if far > 0.2 else START + 0.27,
                          end=START + 0.5, worst=START + 0.39, slack=0.08)
        ahead = (0.0, -1.0, 0.0)
        true = needed(0.19, LASTS, ahead)
        yield Planted("carried forward", carried_by(stand(fps), 0.19, LASTS, ahead), "pelvis", "medium", 0.90 * true,
                      0.05 * true, worst=START + 0.39, slack=0.06)

    def test_what_is_told_is_the_push_that_the_carry_demands(self):
        """The parabolas of the derivatives keep about nine tenths of a peak that lasts 0.25 s."""
        for far in (0.20, 0.25):
            note = self.notes(carried_by(stand(60.0), far))[0]
            assert 0.85 < note.measured / needed(far) < 1.0

    def test_the_mended_path_stays_near_where_the_shot_begins(self):
        """There nothing holds the change back but its own size."""
        for start in (0.05, 0.15, 0.3):
            note, = self.notes(carried_by(stand(24.0), 0.2, start=start))
            assert np.linalg.norm(note.remedy.offsets, axis=1).max() < 0.25

    def test_masses_that_are_only_guessed_tell_no_push(self):
        shot = carried_by(stand(24.0), 0.225)
        c = shot.characters[0]
        assert not self.result(shot).skipped and self.notes(shot)
        doll = edit.with_short_legs(c)
        guessed = replace(shot, characters=(doll,))
        assert Study(guessed).of(masses, doll).guessed
        result = self.result(guessed)
        assert not result.notes and ["type them on the card" in s.why for s in result.skipped] == [True]

    def test_a_wider_stance_bears_more(self):
        assert self.notes(carried_by(stand(24.0), 0.2))
        assert not self.notes(carried_by(stand(24.0, wide=0.15), 0.2))

    def test_the_base_is_that_of_both_soles(self):
        shot = stand(24.0)
        c = shot.characters[0]
        found = Study(shot).of(base, c)
        i = 40
        corners = found.place(found.corners[i][found.there[i]], np.full(int(found.there[i].sum()), i))
        soles = np.concatenate([carried(c, sole_of(c, s))[i] for s in "LR"])
        for k in (0, 1):
            assert np.allclose([corners[:, k].min(), corners[:, k].max()], [soles[:, k].min(), soles[:, k].max()])

    def test_the_remedy_is_small_and_leaves_the_feet(self):
        shot = carried_by(stand(24.0), 0.2)
        (note,) = self.notes(shot)
        assert np.linalg.norm(note.remedy.offsets, axis=1).max() < 0.15 and note.remedy.target == "pelvis"
        mended = mend(shot, note.remedy, note.character).characters[0]
        for side in "LR":
            assert np.allclose(mended.head(f"foot.{side}"), shot.characters[0].head(f"foot.{side}"), atol=1e-4)
