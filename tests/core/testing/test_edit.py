# SPDX-License-Identifier: GPL-3.0-or-later
"""The edits that plants and remedies are made of: exact places, rigid bones, planted feet."""

import numpy as np
import pytest
from plumbline.core import body
from plumbline.core.numeric.rotation import exp
from plumbline.core.testing import edit
from plumbline.core.testing.puppet import act, adult, character_of, pose

F = 12


@pytest.fixture
def keeper():
    rng = np.random.default_rng(3)
    roll = rng.uniform(-3, 3, len(body.PARTS))
    wave = np.linspace(0, 1, F)[:, None]
    turns = {
        part: exp(wave * rng.normal(0, 0.3, 3))
        for part in ("pelvis", "chest", "thigh.L", "thigh.R", "upper_arm.R", "shin.L")
    }
    puppet = adult(roll=roll)
    return character_of(puppet, *pose(puppet, turns, wave * [0.3, -0.4, 0.05]))


def lengths(character):
    return {
        part: np.linalg.norm(character.end(part) - character.head(part), axis=-1)
        for limb in body.LIMBS.values()
        for part in limb[:2]
    }


@pytest.mark.parametrize("limb", body.LIMBS)
def test_reach_lands_exactly_and_keeps_bones(keeper, limb):
    root, mid, end = body.LIMBS[limb]
    centre = keeper.head(root)
    goal = centre + 0.85 * (keeper.head(end) - centre) + [0.03, -0.02, 0.01]
    new = edit.reach(keeper, limb, goal)
    assert np.abs(new.head(end) - goal).max() < 1e-9
    for part, was in lengths(keeper).items():
        assert np.allclose(lengths(new)[part], was, atol=1e-9), part
    for part in (root, mid):  # the bones' own axes follow their joints exactly
        row = new.index[part]
        along = np.einsum("fji,fj->fi", new.axes[:, row], new.end(part) - new.head(part))
        before = np.einsum("fji,fj->fi", keeper.axes[:, row], keeper.end(part) - keeper.head(part))
        assert np.allclose(along, before, atol=1e-9), part
    assert np.allclose(new.axes[:, new.index[end]], keeper.axes[:, keeper.index[end]])


def test_reach_keeps_the_hinge_square_to_the_bend(keeper):
    new = edit.reach(keeper, "leg.L", keeper.head("foot.L") + [0.05, -0.1, 0.15])

    def hinge(c):
        bend = np.cross(c.head("shin.L") - c.head("thigh.L"), c.head("foot.L") - c.head("shin.L"))
        bend /= np.linalg.norm(bend, axis=-1, keepdims=True)
        return np.einsum("fji,fj->fi", c.axes[:, c.index["thigh.L"]], bend)

    assert np.allclose(hinge(new), hinge(keeper), atol=1e-7)


def test_out_of_reach_goes_straight_or_stretches(keeper):
    keeper = edit.with_goals(keeper)
    away = keeper.head("thigh.L") + 1.1 * keeper.leg_length * np.array([0.6, -0.2, -0.75]) / np.linalg.norm(
        [0.6, -0.2, -0.75]
    )
    short = edit.reach(keeper, "leg.L", away)
    goal = next(g for g in short.goals if g.part == "foot.L")
    total = sum(lengths(keeper)[p] for p in ("thigh.L", "shin.L"))
    assert np.allclose(
        np.linalg.norm(goal.place - goal.reach, axis=-1), np.linalg.norm(away - keeper.head("thigh.L"), axis=-1) - total
    )
    long = edit.reach(keeper, "leg.L", away, stretch=True)
    assert np.allclose(long.head("foot.L"), away)


def test_only_a_straight_chain_takes_its_stretch_back(keeper):
    """A bent one whose bones are long is no stretching chain: it keeps them, and its knee does not snap straight."""
    row = keeper.index["foot.L"]
    grown = edit.reach(keeper, "leg.L", keeper.head("thigh.L") + 1.04 * keeper.leg_length * np.array([0.0, 0.0, -1.0]),
                       stretch=True)
    bent = edit.reach(grown, "leg.L", keeper.head("thigh.L") + 1.01 * keeper.leg_length * np.array([0.0, 0.0, -1.0]))
    still = edit.reach(bent, "leg.L", bent.heads[:, row] + 0.0, relax=True)
    assert np.abs(still.heads - bent.heads).max() < 1e-9
    back = edit.reach(grown, "leg.L", keeper.head("thigh.L") + 0.9 * keeper.leg_length * np.array([0.0, 0.0, -1.0]),
                      relax=True)
    assert np.allclose(sum(lengths(back)[p] for p in ("thigh.L", "shin.L")), keeper.leg_length, rtol=1e-3)


def test_carry_root_leaves_planted_feet(keeper):
    offset = np.linspace(0, 1, F)[:, None] * [0.04, 0.02, -0.05]
    new = edit.carry_root(keeper, offset)
    for foot in ("foot.L", "foot.R"):
        assert np.allclose(new.head(foot), keeper.head(foot), atol=1e-9)
    assert np.allclose(new.head("pelvis"), keeper.head("pelvis") + offset)


def test_mirror_twice_is_the_same(keeper):
    shot = act({}, np.zeros((F, 3)))
    shot = edit.mirrored(edit.mirrored(shot))
    assert shot.characters[0].parts == body.PARTS
    posed = edit.mirrored(
        edit.mirrored(act({"thigh.L": exp(np.linspace(0, 1, F)[:, None] * [1.0, 0.2, 0])}, np.zeros((F, 3))))
    )
    again = act({"thigh.L": exp(np.linspace(0, 1, F)[:, None] * [1.0, 0.2, 0])}, np.zeros((F, 3)))
    assert np.allclose(posed.characters[0].axes, again.characters[0].axes)
