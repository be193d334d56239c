# SPDX-License-Identifier: GPL-3.0-or-later
"""hard-landing: silent on landings that give, on steps and sits; finds those that stop within a frame or two."""
from dataclasses import replace
from functools import cache

import numpy as np
from plumbline.core.measures.mass import masses_of
from plumbline.core.testing import edit
from plumbline.core.testing.jumps import jump
from plumbline.core.testing.laws import CheckTest, Planted
from plumbline.core.testing.mend import mend
from plumbline.core.testing.pivot_walk import walk

RATES = (24.0, 25.0, 30000 / 1001, 30.0, 60.0, 120.0)
SPEED = 2.1
#: What 10 ms of the moment of touch are worth, and as much again for where a frame falls.
LATE = 0.010


@cache
def _force(fps: float, give: float, late: float = LATE, speed: float = SPEED) -> float:
    """Body weights that the work of the fall asks, by the center of mass at the moment of touch, sampled finely."""
    fine = jump(960.0, speed=speed, give=give, seconds=2.4)
    c = fine.characters[0]
    found = masses_of(c)
    height = np.tensordot(found.mass / found.total, found.centers(c)[2], 1)
    touch = round((0.8 + 2 * speed / 9.81) * 960)
    sinks = height[touch] - height[touch:touch + 576].min()
    return float(1 + speed**2 / (2 * 9.81 * (sinks + late * speed)))


def _first(shot, count):
    """The first samples of a shot."""
    c = shot.characters[0]
    cut = {name: getattr(c, name)[:count] for name in ("heads", "tails", "axes", "twist_axes", "scale")}
    goals = tuple(replace(g, place=g.place[:count], reach=g.reach[:count], influence=g.influence[:count])
                  for g in c.goals)
    return replace(shot, frames=shot.frames[:count], last=None, characters=(replace(c, goals=goals, **cut),))


class TestHardLanding(CheckTest):
    check = "hard-landing"
    rates = (24.0, 30000 / 1001, 60.0)

    def clean(self, fps):
        yield jump(fps)
        yield jump(fps, speed=SPEED, give=SPEED * 4 / 24 / 2)
        yield jump(fps, speed=1.5, give=0.12)
        yield walk(fps).shot

    def planted(self, fps):
        touch = 0.8 + 2 * SPEED / 9.81
        for frames, severity in ((1, "medium"), (2, "low")):
            give = SPEED * frames / 24 / 2
            true, late = _force(fps, give), _force(fps, give, 2 * LATE)
            yield Planted(f"stopped in {frames} frames of 24", jump(fps, speed=SPEED, give=give), "pelvis", severity,
                          true, 2 * (true - late), start=touch, end=touch + frames / 24, worst=touch, slack=0.02)
        # half a meter down and not a frame of give: how hard, no frames tell
        yield Planted("like a post", jump(fps, speed=3.1, push=0.4, give=0.01), "pelvis", "high", 11.0, 5.0,
                      start=0.8 + 6.2 / 9.81, worst=0.8 + 6.2 / 9.81, slack=0.02)
        give = SPEED / 24 / 2
        true, late = _force(fps, give), _force(fps, give, 2 * LATE)
        yield Planted("thrown into the air", jump(fps, speed=SPEED, push=give), "pelvis", "medium", true,
                      2 * (true - late), end=0.8, worst=0.8, slack=0.02)

    def test_the_same_force_at_every_rate(self):
        """Within what 10 ms of the touch are worth, so that no rate is judged harder than another."""
        for frames in (1, 2):
            give = SPEED * frames / 24 / 2
            true, late, soon = (_force(24.0, give, LATE * k) for k in (1, 2, 0.5))
            read = [self.notes(jump(fps, speed=SPEED, give=give))[0].measured for fps in RATES]
            assert min(read) > late - 0.1 and max(read) < soon + 0.3, (read, late, true, soon)

    def test_three_frames_of_a_small_jump_are_no_fault(self):
        for fps in RATES:
            assert not self.notes(jump(fps, speed=SPEED, give=SPEED * 3 / 24 / 2))

    def test_steps_down_and_sits_are_none(self):
        """No flight, no note: the hips drop 30 cm in a fifth of a second over feet that stand."""
        shot = jump(24.0, speed=0.2)
        drop = 0.3 * np.clip((shot.times - 1.5) / 0.2, 0, 1)[:, None] * [0.0, 0.0, -1.0]
        assert not self.notes(replace(shot, characters=(edit.carry_root(shot.characters[0], drop),)))

    def test_the_remedy_tells_the_give_that_is_needed(self):
        shot = jump(24.0, speed=SPEED, give=SPEED / 24 / 2)
        (note,) = self.notes(shot)
        needed = SPEED**2 / (2 * 9.81 * (2.5 - 1)) / 0.85
        assert abs(note.remedy.depth - needed) < 0.02
        assert note.remedy.landing and "sink" in note.remedy.sentence() and "over 3 frames" in note.remedy.sentence()
        mended = mend(shot, note.remedy, note.character)
        c, was = mended.characters[0], shot.characters[0]
        assert np.allclose(c.head("pelvis")[-1], was.head("pelvis")[-1], atol=1e-6), "it comes back"
        stands = slice(note.start, None)
        assert np.allclose(c.head("foot.L")[stands], was.head("foot.L")[stands], atol=1e-6), "the feet stay"
        assert np.allclose(c.heads[:note.start - 2], was.heads[:note.start - 2]), "nothing before it changes"

    def test_a_landing_that_the_shot_cuts_is_not_judged(self):
        """The body still falls in the last frame: how it will be stopped nobody knows."""
        whole = jump(24.0, speed=SPEED, give=0.3)
        touch = round((0.8 + 2 * SPEED / 9.81) * 24)
        cut = _first(whole, touch + 3)
        assert not self.notes(cut)

    def test_of_a_flight_that_no_gravity_makes_it_is_low_at_most(self):
        notes = self.notes(jump(24.0, speed=3.2, push=0.5, give=0.03, flight=1.3))
        landing = [n for n in notes if n.kind == "landing"]
        assert landing and all(n.severity.rank == 0 and "no gravity makes its flight" in n.text for n in landing)

    def test_the_push_off_is_told_from_the_landing(self):
        give = SPEED / 24 / 2
        both = self.notes(jump(24.0, speed=SPEED, push=give, give=give))
        assert [n.kind for n in both] == ["push-off", "landing"]
        assert "take-off" in both[0].text and not both[0].remedy.landing
