# SPDX-License-Identifier: GPL-3.0-or-later
"""How far hips can sink over feet that stay: as far as the joints of a leg solved anew bear out."""

import numpy as np
import pytest
from plumbline.core.measures.angles import angles
from plumbline.core.measures.sinking import DEEPEST, INSIDE, STEPS, sinking
from plumbline.core.shot import with_character
from plumbline.core.study import Study
from plumbline.core.testing import edit
from plumbline.core.testing.puppet import act

RANGE = 55.0                                # degrees: the end of an ankle's range


def _standing(bent: float) -> tuple:
    """A figure that stands for 2 s, its hips so many meters down on feet that stay, and its leg's length."""
    shot = act({}, np.zeros((49, 3)), 24.0)
    c = shot.characters[0]
    sunk = edit.carry_root(c, np.broadcast_to([0.0, 0.0, -bent], (shot.count, 3)))
    return with_character(shot, c, sunk), c.leg_length


def _ankle(shot, sinks: float) -> float:
    """Degrees that an ankle is bent up by with the hips so much farther down."""
    c = shot.characters[0]
    lower = edit.carry_root(c, np.broadcast_to([0.0, 0.0, -sinks], (shot.count, 3)))
    found = Study(with_character(shot, c, lower)).of(angles, lower)
    return max(float(found["ankle_dorsiflexion", f"foot.{s}"].degrees[24]) for s in "LR")


@pytest.mark.parametrize("bent", [0.02, 0.1, 0.2])
def test_to_the_end_of_the_ankles_range_and_no_farther(bent: float) -> None:
    shot, leg = _standing(bent)
    room = float(sinking(Study(shot), shot.characters[0], slice(24, 25))[0])
    step = DEEPEST * leg / STEPS
    assert step < room < DEEPEST * leg
    assert _ankle(shot, room) <= RANGE - INSIDE + 0.2 < _ankle(shot, room + 1.5 * step)


def test_who_is_past_the_range_already_sinks_no_farther() -> None:
    shot, leg = _standing(0.42)
    assert _ankle(shot, 0.0) > RANGE
    assert sinking(Study(shot), shot.characters[0], slice(24, 25))[0] <= DEEPEST * leg / STEPS


def test_in_the_air_no_leg_bounds_it() -> None:
    shot, leg = _standing(0.1)
    c = shot.characters[0]
    height = np.where((shot.times > 0.5) & (shot.times < 1.0), 8 * (shot.times - 0.5) * (1.0 - shot.times), 0.0)
    up = with_character(shot, c, edit.shift(c, height[:, None] * np.array([0.0, 0.0, 1.0])))
    room = sinking(Study(up), up.characters[0], slice(None))
    assert room[18] == pytest.approx(DEEPEST * leg) and room[40] < 0.9 * DEEPEST * leg
