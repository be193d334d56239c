# SPDX-License-Identifier: GPL-3.0-or-later
"""Flights: found where nothing touches, read by the curve of the mass, whatever the limbs do meanwhile."""
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.measures.flights import flights, unfit
from plumbline.core.measures.mass import masses_of
from plumbline.core.numeric.rotation import exp
from plumbline.core.study import Study
from plumbline.core.tables.segments import MALE
from plumbline.core.testing import edit
from plumbline.core.testing.jumps import jump
from plumbline.core.testing.pivot_walk import walk

RATES = (24.0, 30.0, 60.0, 120.0)
TAKE_OFF = 0.8


def _found(shot):
    return Study(shot).of(flights, shot.characters[0])


def _kicking(shot, table):
    """The jump with arms and legs flung about in the air, its mass on the same path by this table."""
    c = shot.characters[0]
    air = 5.6 / 9.81
    s = np.clip((shot.times - TAKE_OFF) / air, 0, 1)
    swing = np.sin(np.pi * s) ** 2

    def center(character):
        found = masses_of(character, table)
        return np.tensordot(found.centers(character), found.mass / found.total, ([1], [0])).T

    new = c
    for part, axis, angle in (("upper_arm.L", 0, 2.2), ("upper_arm.R", 1, -1.4), ("thigh.L", 0, -1.2),
                              ("shin.L", 0, 1.6), ("chest", 2, 0.6)):
        turn = np.zeros((shot.count, 3))
        turn[:, axis] = angle * swing
        new = edit.turn(new, part, exp(turn))
    return replace(shot, characters=(edit.shift(new, center(c) - center(new)),))


@pytest.mark.parametrize("fps", RATES)
def test_its_moments_and_its_gravity(fps):
    (flight,) = _found(jump(fps)).found
    assert abs(flight.begins / fps - TAKE_OFF) < 0.033 and abs(flight.ends / fps - TAKE_OFF - 4 / 9.81) < 0.033
    assert abs(flight.pull - 1) < 1e-6 and flight.push < 1e-6
    assert flight.first > flight.begins and flight.last < flight.ends
    top = flight.place(np.array(TAKE_OFF + 2 / 9.81)) - flight.place(np.array(TAKE_OFF))
    assert abs(top[2] - 4 / (2 * 9.81)) < 1e-6
    assert abs(flight.velocity(np.array(TAKE_OFF))[2] - 2.0) < 1e-6


@pytest.mark.parametrize("fps", RATES)
def test_what_the_limbs_do_changes_nothing(fps):
    (flight,) = _found(_kicking(jump(fps, speed=2.8), MALE)).found
    assert abs(flight.pull - 1) < 0.03 and flight.push < 0.03
    hips = Study(_kicking(jump(fps, speed=2.8), MALE)).shot.characters[0].head("pelvis")[flight.rows]
    bend = np.polyfit(flight.rows / fps, hips[:, 2], 2)[0]
    assert abs(-2 * bend / 9.81 - 1) > 0.1, "the hips alone would say another gravity"


def test_the_doubt_is_that_of_a_parabola():
    """Closed form for even steps: r sqrt(720 / (N (N^2 - 1) (N^2 - 4))) / (g dt^2), r a millimeter at least."""
    (flight,) = _found(jump(24.0)).found
    n, r = len(flight.rows), 0.0012 * 0.8406
    assert n == 9
    told = r * np.sqrt(720 / (n * (n**2 - 1) * (n**2 - 4))) / (9.81 / 24**2)
    assert abs(flight.doubt - told) < 0.02 * told


def test_a_walk_has_none():
    assert not _found(walk(24.0).shot).found


def test_a_foot_that_slides_fast_has_not_left_the_ground():
    """The whole figure glides 4 m at 5 m/s, its feet on the floor: too fast to count as planted, yet no flight."""
    shot = jump(24.0, speed=0.2)
    glide = np.clip((shot.times - 1.2) / 0.8, 0, 1)[:, None] * [0.0, -4.0, 0.0]
    found = _found(replace(shot, characters=(edit.shift(shot.characters[0], glide),)))
    assert not found.found and not found.carried


def test_the_feet_may_come_to_rest_at_the_top():
    """A throw so slow that the feet all but stand in the air for four frames is one flight and no step on nothing."""
    shot = jump(24.0, flight=1.6)
    assert len(_found(shot).found) == 1


def test_what_the_shot_cuts_has_no_such_end():
    shot = jump(24.0)
    c = shot.characters[0]
    rows = slice(23, None)
    cut = replace(shot, frames=shot.frames[rows], first=None, last=None, characters=(replace(
        c, heads=c.heads[rows], tails=c.tails[rows], axes=c.axes[rows], twist_axes=c.twist_axes[rows],
        scale=c.scale[rows]),))
    (flight,) = _found(cut).found
    assert flight.off is None and flight.on is not None and flight.first == 0
    assert abs(flight.pull - 1) < 1e-6


def test_without_a_trunk_it_says_why():
    shot = jump(24.0)
    c = shot.characters[0]
    legs = [i for i, part in enumerate(c.parts) if part.partition(".")[0] in ("thigh", "shin", "foot", "toe")]
    bare = replace(c, parts=tuple(c.parts[i] for i in legs), bones=tuple(c.bones[i] for i in legs),
                   heads=c.heads[:, legs], tails=c.tails[:, legs], axes=c.axes[:, legs],
                   twist_axes=c.twist_axes[:, legs], rest_heads=c.rest_heads[legs], rest_tails=c.rest_tails[legs],
                   rest_axes=c.rest_axes[legs], reasons=())
    study = Study(replace(shot, characters=(bare,)))
    assert "trunk is mapped" in unfit(study, bare) and not study.of(flights, bare).found
