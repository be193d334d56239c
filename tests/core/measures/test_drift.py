# SPDX-License-Identifier: GPL-3.0-or-later
"""What the planted patch of a foot drifts: about the edges of its toes, and what a guessed sole costs."""
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.measures.contacts import contacts
from plumbline.core.measures.drift import TOE_BACK, TOE_BROAD, steps_of
from plumbline.core.measures.sole import carried, guessed_sole
from plumbline.core.measures.tread import tread
from plumbline.core.numeric.rotation import exp
from plumbline.core.shot import SOLE_POINTS
from plumbline.core.study import Study
from plumbline.core.testing import cost
from plumbline.core.testing.edit import reach, turn
from plumbline.core.testing.pivot_walk import walk
from plumbline.core.testing.puppet import act

BALL, INNER, OUTER, TIP = (SOLE_POINTS.index(p) for p in ("ball", "ball_inner", "ball_outer", "toe_tip"))
TURNED = 0.35


def _on_its_toes(aside):
    """A left foot of known sole on the tip of its toes, which turns by TURNED about an upright axis through a place
    ``aside`` (-1 the outer edge of its toes, 1 the inner one, 0 between them). Returns shot and that place."""
    shot = act({}, np.zeros((49, 3)), 24.0)
    c = shot.characters[0]
    c = replace(c, soles=tuple(replace(guessed_sole(c, side), source="mesh") for side in "LR"))
    sole = carried(c, c.soles[0])[0]
    c = _about(c, sole[TIP], np.tile([0.35, 0.0, 0.0], (49, 1)))
    sole = carried(c, c.soles[0])[0]
    place = sole[TIP] + TOE_BACK * (sole[BALL] - sole[TIP]) + aside * TOE_BROAD / 2 * (sole[INNER] - sole[OUTER])
    swing = TURNED * np.clip((np.arange(49) / 24 - 0.5) / 0.8, 0, 1)
    return replace(shot, characters=(_about(c, place, swing[:, None] * [0.0, 0.0, 1.0]),)), place


def _about(c, place, vector):
    """The left foot turned by vectors (F, 3) about a place, and its toe with it."""
    turned = exp(vector)
    ankle = np.einsum("fij,fj->fi", turned, c.head("foot.L") - place) + place
    return turn(reach(c, "leg.L", ankle), "foot.L", turned)


def _drifted(shot):
    """Meters that the left foot drifts in all, and that its toe tip goes."""
    c = shot.characters[0]
    study = Study(shot)
    t, touch = study.of(tread, c), study.of(contacts, c)
    assert touch.drawn["foot.L"][:, TIP].all(), "it stands on the tip"
    tip = np.diff(t.places[:, t.columns("L")][:, TIP], axis=0)
    return float(np.linalg.norm(steps_of(t, touch, "L").sum(0))), float(np.linalg.norm(tip.sum(0)))


@pytest.mark.parametrize("aside", (-1.0, 0.0, 1.0))
def test_a_foot_that_turns_about_an_edge_of_its_toes_stands(aside):
    drift, tip = _drifted(_on_its_toes(aside)[0])
    assert tip > 0.005 and drift < 1e-3


def test_beyond_the_edge_it_slides():
    shot, place = _on_its_toes(3.0)
    sole = carried(shot.characters[0], shot.characters[0].soles[0])[0]
    edge = sole[TIP] + TOE_BACK * (sole[BALL] - sole[TIP]) + TOE_BROAD / 2 * (sole[INNER] - sole[OUTER])
    far = 2 * np.sin(TURNED / 2) * np.linalg.norm((place - edge)[:2])
    assert abs(_drifted(shot)[0] - far) < 0.1 * far


def test_a_guessed_sole_costs_no_more_than_six_known_ones():
    """It costs three times as much; found among all corners of the thickened patch it was six times as dear again."""
    shot = walk(24.0, seconds=42.0).shot
    c = shot.characters[0]
    study = Study(shot)
    t, touch = study.of(tread, c), study.of(contacts, c)
    known, guess = (cost.seconds(lambda g=g: steps_of(t, touch, "L", g), 9) for g in (False, True))
    assert guess < 6 * known
