# SPDX-License-Identifier: GPL-3.0-or-later
"""Offsets of hands are cut where the arm would come nearer to straight than it is, and landings with them."""

import numpy as np
import pytest
from plumbline.core.measures import landing
from plumbline.core.measures.breaks import Break
from plumbline.core.measures.in_reach import BENT, in_reach, reached
from plumbline.core.numeric.rotation import about, exp, shortest, unit
from plumbline.core.shot import Character, Shot
from plumbline.core.study import Study
from plumbline.core.testing.puppet import act, adult

Array = np.ndarray
X = np.array([1.0, 0.0, 0.0])
COUNT = 24
PUPPET = adult()
ROWS = np.arange(COUNT)


def bent(degrees: float) -> Shot:
    """An arm that swings with its elbow bent by so much."""
    swing = exp(np.outer(0.3 * np.sin(0.3 * ROWS), X)) @ exp(-np.pi / 2 * X)
    upper, lower = (PUPPET.tails[k] - PUPPET.heads[k] for k in map(PUPPET.parts.index, ("upper_arm.L", "forearm.L")))
    elbow = np.broadcast_to(about(np.cross(upper, X), np.radians(degrees)) @ shortest(lower, upper), (COUNT, 3, 3))
    return act({"upper_arm.L": swing, "forearm.L": elbow}, np.zeros((COUNT, 3)), 24.0)


def outward(who: Character, meters: float) -> Array:
    return meters * unit(who.head("hand.L") - who.head("upper_arm.L"))


def length(who: Character) -> float:
    return sum(who.rest_length(p) for p in ("upper_arm.L", "forearm.L"))


def test_an_arm_that_is_nearly_straight_stays_as_it_is() -> None:
    who = bent(6.0).characters[0]
    far = reached(who, "hand.L", ROWS)
    assert far.max() > 0.998 * length(who)
    cut = in_reach(who, "hand.L", ROWS, outward(who, 0.01), far)
    there = np.linalg.norm(who.head("hand.L") + cut - who.head("upper_arm.L"), axis=-1)
    assert there == pytest.approx(far)


def test_a_bent_arm_goes_on_to_where_it_may() -> None:
    who = bent(60.0).characters[0]
    far = reached(who, "hand.L", ROWS)
    assert far.max() < 0.9 * length(who)
    assert in_reach(who, "hand.L", ROWS, outward(who, 0.01), far) == pytest.approx(outward(who, 0.01))
    cut = in_reach(who, "hand.L", ROWS, outward(who, 0.2), far)
    there = np.linalg.norm(who.head("hand.L") + cut - who.head("upper_arm.L"), axis=-1)
    assert there == pytest.approx(BENT * length(who)) and far.min() + 0.2 > BENT * length(who)


def test_a_shoulder_that_is_moved_takes_its_reach_along() -> None:
    who = bent(6.0).characters[0]
    way = np.tile(0.1 * X, (COUNT, 1))
    assert in_reach(who, "hand.L", ROWS, way, reached(who, "hand.L", ROWS), way) == pytest.approx(way)


@pytest.mark.parametrize(("degrees", "held"), [(6.0, True), (60.0, False)])
def test_a_landing_leaves_the_arm_no_straighter_than_beside(degrees: float, held: bool) -> None:
    shot = bent(degrees)
    who = shot.characters[0]
    study = Study(shot)
    off = -outward(who, 0.004)[12] / who.leg_length
    one = Break("hand.L", 12, 1, "along", off, 0.4, 0.0, True, 1.0, ("hand.L",))
    (moved,), far = landing.remedy_of(study, who, one).offsets, reached(who, "hand.L", ROWS)
    there = float(np.linalg.norm(who.head("hand.L")[12] + moved - who.head("upper_arm.L")[12]))
    assert bool(there <= far[[11, 13]].max() + 1e-9) is held
