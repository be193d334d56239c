# SPDX-License-Identifier: GPL-3.0-or-later
"""Contacts on walks whose landings and lift-offs are known, and what must not change them."""
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from plumbline.core.measures.belt import belt
from plumbline.core.measures.contacts import contacts, plant
from plumbline.core.measures.exposure import exposure
from plumbline.core.measures.tread import Tread
from plumbline.core.shot import SOLE_POINTS, Surface
from plumbline.core.study import Study
from plumbline.core.testing import cost
from plumbline.core.testing.edit import carry_root, reach, rigid
from plumbline.core.testing.pivot_walk import walk
from plumbline.core.testing.puppet import act

RATES = (24.0, 25.0, 30.0, 60.0)


def _of(measure, shot):
    return Study(shot).of(measure, shot.characters[0])


def _on_twos(shot, step=2):
    """The same shot with each drawing held for ``step`` frames."""
    c = shot.characters[0]
    rows = np.arange(shot.count) // step * step
    return replace(shot, characters=(replace(c, heads=c.heads[rows], tails=c.tails[rows], axes=c.axes[rows],
                                             twist_axes=c.twist_axes[rows]),))


def _errors(made, found, fps):
    """Samples between each found end of a stance and the true one; stances cut by the shot have no true end."""
    out = []
    for foot, truth in made.contacts.items():
        for stance in found.stances[foot]:
            if stance.first > 0:
                out.append(min(abs(stance.first - land * fps) for land, _ in truth))
            if stance.last < made.shot.count - 1:
                out.append(min(abs(stance.last - lift * fps) for _, lift in truth))
    return np.array(out)


@pytest.mark.parametrize("fps", RATES)
@pytest.mark.parametrize("pace", (0.7, 1.0, 1.4))
def test_landings_and_lift_offs_within_a_frame(fps, pace):
    made = walk(fps, pace=pace)
    errors = _errors(made, _of(contacts, made.shot), fps)
    assert len(errors) >= 9
    assert errors.max() <= 1.0


@pytest.mark.parametrize("fps", (24.0, 30.0))
def test_in_place_the_contacts_are_those_of_the_traveling_walk(fps):
    there, here = (_of(contacts, walk(fps, in_place=p).shot) for p in (False, True))
    for foot in there.planted:
        np.testing.assert_array_equal(there.standing(foot), here.standing(foot))


def test_the_same_anywhere_and_in_any_heading():
    shot = walk().shot
    c, s = np.cos(2.1), np.sin(2.1)
    moved = rigid(shot, np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]), np.array([40.0, -25.0, 3.0]))
    for foot, planted in _of(contacts, shot).planted.items():
        np.testing.assert_array_equal(planted, _of(contacts, moved).planted[foot])


def test_on_twos_feet_in_the_air_are_not_planted():
    made = walk()
    found = _of(contacts, _on_twos(made.shot))
    errors = _errors(made, found, 24.0)
    assert errors.max() <= 2.0                 # a drawing lasts two frames
    for foot in found.planted:
        assert 0.45 < found.standing(foot).mean() < 0.75


@pytest.mark.parametrize("fps", RATES)
def test_belt_reads_the_ground_of_a_walk_in_place(fps):
    found = _of(belt, walk(fps, in_place=True).shot)
    np.testing.assert_allclose(found.velocity, [0, 1.0, 0], atol=0.02)
    assert not found.varies and "1.00 m/s backward" in found.sentence


def test_belt_is_at_rest_under_a_traveling_walk():
    found = _of(belt, walk().shot)
    assert not found.moving and found.sentence == ""


def test_an_uneven_ground_is_said_to_vary():
    uneven = walk(in_place=True, ground=lambda t: t - 0.4 * 1.1 / (4 * np.pi) * np.sin(4 * np.pi * t / 1.1))
    found = _of(belt, uneven.shot)
    assert found.varies and found.spread > 0.15 and "varies by" in found.sentence


def test_a_moving_mesh_carries_the_feet():
    shot = walk(in_place=True).shot
    world = np.tile(np.eye(4), (shot.count, 1, 1))
    world[:, 1, 3] = shot.times                # 1 m/s toward +Y, under the feet of a figure that faces -Y
    plate = np.array([[[-9.0, -9, 0], [9, -9, 0], [9, 9, 0]], [[-9, -9, 0], [9, 9, 0], [-9, 9, 0]]])
    shot = replace(shot, surfaces=(Surface("Conveyor", "marked", plate, world),))
    found = _of(belt, shot)
    assert found.over == ("Conveyor",) and not np.any(found.velocity)
    still = _of(contacts, walk().shot)
    for foot, planted in _of(contacts, shot).planted.items():
        assert (planted.any(1) == still.standing(foot)).mean() > 0.98


def test_exposure_tells_ones_twos_and_stepped():
    shot = walk().shot
    assert (_of(exposure, shot).step, _of(exposure, shot).sentence) == (1, "")
    twos = _of(exposure, _on_twos(shot))
    assert twos.step == 2 and not twos.stepped and "twos" in twos.sentence
    np.testing.assert_array_equal(twos.drawings, np.arange(0, shot.count, 2))
    stepped = _of(exposure, _on_twos(shot, 9))
    assert stepped.stepped and "not judged" in stepped.sentence


def test_a_hold_is_no_exposure():
    shot = walk().shot
    c = shot.characters[0]
    rows = np.concatenate([np.arange(40), np.full(60, 40), np.arange(40, shot.count - 60)])[:shot.count]
    held = replace(shot, characters=(replace(c, heads=c.heads[rows], tails=c.tails[rows], axes=c.axes[rows]),))
    assert _of(exposure, held).step == 1


def test_cost():
    shot = walk(24.0, seconds=42.0).shot
    # with all that they stand on
    spent = cost.seconds(lambda: Study(shot).of(contacts, shot.characters[0])) * 1000 / shot.count
    assert spent < 0.15, f"{spent:.3f} s CPU per 1,000 frames"


@pytest.mark.parametrize(("lower", "speed", "stands"), ((0.1, 0.5, False), (0.1, 0.1, True), (0.03, 0.5, True)))
def test_no_foot_stands_on_a_moving_point_over_a_faster_lower_one(lower, speed, stands):
    """The ball goes at ``speed`` m/s over the ground, the toe tip ``lower`` m under it at 3 m/s."""
    d, n = 24, len(SOLE_POINTS)
    ball, tip = SOLE_POINTS.index("ball"), SOLE_POINTS.index("toe_tip")
    over = np.full((d, n), 0.2)
    over[:, tip] = 0.2 - lower
    height = np.full((d, n), 0.3)
    height[:, ball] = 0.0
    steps = np.zeros((d - 1, n, 3))
    steps[..., 0] = 3.0 / 24
    steps[:, ball, 0] = speed / 24
    tread = Tread(("L",), np.arange(d), np.full(d - 1, 1 / 24), 24.0, np.zeros((d, n, 3)), over, height, steps,
                  np.broadcast_to([0.0, 0, 1], (d, n, 3)), np.array([0.0, 0, 1]), 1.0, 3.1, ())
    assert bool(plant(tread, steps, {"L": 0.04})[:, ball].all()) is stands


def _tread(over, height, steps):
    """A left foot's tread of one point height and step for all points, (D,) and (D - 1,) along X, at 24 drawings."""
    d, n = len(over), len(SOLE_POINTS)
    every = np.zeros((d - 1, n, 3))
    every[..., 0] = steps[:, None]
    return Tread(("L",), np.arange(d), np.full(d - 1, 1 / 24), 24.0, np.zeros((d, n, 3)),
                 np.repeat(over[:, None], n, 1), np.repeat(height[:, None], n, 1), every,
                 np.broadcast_to([0.0, 0, 1], (d, n, 3)), np.array([0.0, 0, 1]), 1.0, 3.1, ())


@pytest.mark.parametrize("late", (1.0, 1.6))
def test_a_belt_is_read_while_the_foot_rolls_up_on_it_too(late):
    """Each stance goes back at 1 m/s, and at ``late`` m/s when it has rolled up by 7 cm on a leg of 1 m."""
    height = np.tile(np.r_[np.zeros(10), np.full(8, 0.07), np.full(10, 0.3)], 4)
    speed = np.tile(np.r_[np.full(10, -1.0), np.full(8, -late), np.full(10, 2.5)], 4)[:-1]
    shot = walk(in_place=True).shot
    found = belt.function(SimpleNamespace(of=lambda *asked: _tread(height, height, speed / 24)), shot.characters[0])
    assert abs(found.velocity @ found.velocity - 1.0) < 0.02
    assert found.varies is (late != 1.0), found.spread


def test_what_lies_as_low_as_a_foots_own_floor_may_carry_the_body():
    """The figure sits with the hips 22 cm over the floor; the right foot is sunk 20 cm into it. The floor under the
    left one is the hips' floor too, that under the right one is not."""
    shot = act({}, np.zeros((49, 3)), 24.0)
    c = carry_root(shot.characters[0], np.broadcast_to([0.0, 0.1, 0.22 - shot.characters[0].head("pelvis")[0, 2]],
                                                       (49, 3)))
    c = reach(c, "leg.R", c.head("foot.R") + [0.0, -0.3, -0.2])
    c = reach(c, "leg.L", c.head("foot.L") + [0.0, -0.3, 0.0])
    assert np.allclose(c.head("foot.L")[:, 2] - c.head("foot.R")[:, 2], 0.2, atol=0.01)
    found = _of(contacts, replace(shot, characters=(c,)))
    assert found.elsewhere["foot.L"].all()
    assert not found.elsewhere["foot.R"].any()
