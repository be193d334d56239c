# SPDX-License-Identifier: GPL-3.0-or-later
"""Soles: from a shoe of known shape, from the card, guessed; carried by foot and toe."""
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.card import Card
from plumbline.core.measures.sole import carried, guessed_sole, sole_of, sole_of_vertices, soles
from plumbline.core.numeric.rotation import exp
from plumbline.core.study import Study
from plumbline.core.testing.puppet import act, adult

UP, AHEAD = np.array([0.0, 0, 1]), np.array([0.0, -1, 0])


def _shoe(splay=0.0):
    """A left shoe: 28 cm long, 10 cm wide at the ball, 7 at the heel, with a shaft 20 cm high; and its ankle and
    ball."""
    y = np.linspace(0.07, -0.21, 57)
    half = np.interp(y, [-0.21, -0.13, 0.02, 0.07], [0.02, 0.05, 0.035, 0.035])
    skin = [np.array([0.1 + side * h, yy, z])
            for yy, h in zip(y, half, strict=True) for side in (-1, 1) for z in (0.0, 0.03, 0.06)]
    skin += [np.array([0.1 + a, b, z]) for a in (-0.04, 0.04) for b in (-0.03, 0.06) for z in (0.1, 0.2)]
    turn = exp(np.array([[0, 0, splay]]))[0]
    return np.array(skin) @ turn.T, turn @ np.array([0.1, 0.0, 0.08]), turn @ np.array([0.1, -0.13, 0.02]), turn


@pytest.mark.parametrize("splay", (0.0, 0.4, -0.3))
@pytest.mark.parametrize("with_ball", (True, False))
def test_a_shoe_of_known_shape(splay, with_ball):
    skin, ankle, ball, turn = _shoe(splay)
    points = sole_of_vertices("L", skin, ankle, ball if with_ball else None, AHEAD, UP).points @ turn
    np.testing.assert_allclose(points[:, 2], 0, atol=1e-6)
    assert abs(points[0, 1] - 0.07) < 0.006 and abs(points[6, 1] + 0.21) < 0.006
    assert abs(points[3, 1] + 0.13) < 0.012
    assert np.ptp(points[3:6, 0]) == pytest.approx(0.10, abs=0.008)
    assert np.ptp(points[0:3, 0]) == pytest.approx(0.07, abs=0.012)
    assert points[4, 0] < points[5, 0]          # the inner edge of a left foot at +X lies nearer to the body


def test_a_foot_of_few_vertices_rests_on_heel_and_toe_alone():
    box = np.array([[x, y, z] for x in (0.05, 0.15) for y in (0.07, -0.21) for z in (0.0, 0.05)])
    instep = np.array([[x, y, 0.09] for x in (0.06, 0.14) for y in (-0.1, -0.13)])
    points = sole_of_vertices("L", np.vstack([box, instep]), np.array([0.1, 0.0, 0.1]), np.array([0.1, -0.12, 0.04]),
                              AHEAD, UP).points
    np.testing.assert_allclose(points[:, 2], 0, atol=1e-9)
    np.testing.assert_allclose(np.ptp(points[3:6, 0]), 0.1, atol=1e-9)


def test_too_few_vertices_are_refused():
    with pytest.raises(ValueError, match="four vertices"):
        sole_of_vertices("L", np.zeros((3, 3)), np.zeros(3), None, AHEAD, UP)


def test_the_guess_has_the_proportions_of_a_foot():
    character = act({}, np.zeros((6, 3))).characters[0]
    for side in "LR":
        sole = guessed_sole(character, side)
        p = sole.points
        reach = 0.13                            # from ankle to ball, level
        assert p[0, 1] - 0.02 == pytest.approx(0.45 * reach, abs=1e-3)
        assert -p[6, 1] - 0.11 == pytest.approx(0.6 * reach, abs=1e-3)
        assert np.abs(p[:, 2]).max() < 0.04
        assert abs(p[1, 0]) < abs(p[2, 0]) and abs(p[4, 0]) < abs(p[5, 0])
        assert sole.source == "guess"


def test_a_pointed_rest_pose_does_not_tilt_the_guess():
    flat = guessed_sole(act({}, np.zeros((6, 3))).characters[0], "L").points
    tilt = exp(np.tile([[0.6, 0.0, 0.0]], (6, 1)))
    puppet = adult()
    index = [puppet.parts.index(p) for p in ("foot.L", "toe.L")]
    heads, tails, axes = puppet.heads.copy(), puppet.tails.copy(), puppet.axes.copy()
    centre = heads[index[0]].copy()
    for array in (heads, tails):
        array[index] = (array[index] - centre) @ tilt[0].T + centre
    axes[index] = tilt[0] @ axes[index]
    pointed = replace(puppet, heads=heads, tails=tails, axes=axes)
    posed = act({"foot.L": tilt.swapaxes(-1, -2)}, np.zeros((6, 3)), puppet=pointed)
    character = posed.characters[0]
    world = carried(character, guessed_sole(character, "L"))[0]
    np.testing.assert_allclose(world, flat, atol=0.003)


def test_the_card_wins_and_the_toe_carries_its_tip():
    turn = exp(np.tile([[0.5, 0.0, 0.0]], (4, 1)))
    character = act({"toe.L": turn}, np.zeros((4, 3))).characters[0]
    points = tuple((0.1, -0.03 * k, 0.0) for k in range(7))
    character = replace(character, card=Card(soles={"L": points}))
    assert sole_of(character, "L").source == "card"
    found = Study(replace(act({}, np.zeros((4, 3))), characters=(character,))).of(soles, character)
    assert found.source == {"L": "card", "R": "guess"} and not found.known
    np.testing.assert_allclose(found.points["L"][0, :6], points[:6], atol=1e-12)
    hinge = character.rest_head("toe.L")
    np.testing.assert_allclose(found.points["L"][0, 6], hinge + turn[0] @ (np.array(points[6]) - hinge), atol=1e-12)
