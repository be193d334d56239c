# SPDX-License-Identifier: GPL-3.0-or-later
"""Mass and force on captured clips: people fly as gravity says, stand on one body weight, and do not skid."""

import numpy as np
import pytest
from plumbline.core.measures.mass_motion import MassMotion, mass_motion
from plumbline.core.numeric.spans import held, samples, spans
from plumbline.core.shot import GRAVITY, Shot
from plumbline.core.study import Study
from plumbline.core.testing import clips


def motion(shot: Shot) -> MassMotion:
    found = Study(shot).of(mass_motion, shot.characters[0])
    assert found is not None
    return found


@pytest.mark.parametrize("fps", (24.0, 30.0, 60.0))
@pytest.mark.parametrize(("name", "gravity"), (("humanoid3d_jump", 1.0), ("humanoid3d_spinkick", 0.96)))
def test_people_fly_as_gravity_says(name, gravity, fps):
    """The center of mass as sampled, with no filter, over the frames on which hardly anything bears; the pelvis alone
    reads 2 to 12 percent off."""
    shot = clips.load(name, fps)
    found = motion(shot)
    first, last = max(spans(found.load < 0.15), key=lambda span: span[1] - span[0])
    rows = np.arange(first, last + 1)
    rise = np.polyfit(shot.times[rows], found.center[rows, 2], 2)[0]
    assert len(rows) >= 4 and -2 * rise / GRAVITY == pytest.approx(gravity, abs=0.02)


@pytest.mark.parametrize("fps", (24.0, 30.0))
@pytest.mark.parametrize("name", ("0walk_forward", "humanoid3d_walk", "turn_left0", "turn_left1", "turn_right0",
                                  "turn_right1", "test_freebvh", "test_mocapbank"))
def test_walks_and_turns_stand_on_one_body_weight_and_do_not_skid(name, fps):
    """On the mean the ground bears the body, at peaks it bears 1.1 to 1.25 of it, and friction held for 0.15 s stays
    under 0.3, which shoes have on any floor."""
    found = motion(clips.load(name, fps))
    assert found.load[found.sure].mean() == pytest.approx(1.0, abs=0.04)
    assert 1.05 < found.load[found.sure].max() < 1.35 and found.bears[found.sure].all()
    friction = held(np.where(found.bears, found.friction(), np.nan), samples(0.15, fps))
    assert friction[np.isfinite(friction)].max() < 0.3
