# SPDX-License-Identifier: GPL-3.0-or-later
"""Flat spells and the reach of a bent limb, against worked numbers."""

import numpy as np
import pytest
from plumbline.core.measures.reach import flat_spells, reach
from plumbline.core.study import Study
from plumbline.core.testing.puppet import act


@pytest.mark.parametrize("rate", (24.0, 25.0, 30.0, 60.0, 120.0))
def test_a_spell_must_stand_still_for_a_tenth_of_a_second_and_three_samples(rate):
    def bend(seconds: float, slope: float = 0.0) -> np.ndarray:
        t = np.arange(round(rate)) / rate
        return np.where((t >= 0.3) & (t < 0.3 + seconds), 0.3 + slope * (t - 0.3), 20.0)

    (span,) = flat_spells(bend(0.3), rate)
    assert (span[1] - span[0] + 1) / rate == pytest.approx(0.3, abs=1.01 / rate)
    assert not flat_spells(bend(0.06), rate)
    assert not flat_spells(bend(0.3, 2.0), rate)  # nearly straight, but moving on
    assert not flat_spells(bend(0.3) + 1.0, rate)  # still, but bent


def test_how_far_an_even_limb_reaches_at_a_bend():
    limb = Study(shot := act({}, np.zeros((5, 3)))).of(reach, shot.characters[0])["leg.L"]
    # equal bones lose 0.10, 0.38, 0.86 and 1.5 % of their length at 5, 10, 15 and 20 degrees
    for bend, loss in ((5, 0.0010), (10, 0.0038), (15, 0.0086), (20, 0.0152)):
        assert 1 - limb.reach_at(bend) == pytest.approx(loss, abs=1e-4)
