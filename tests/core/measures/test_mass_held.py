# SPDX-License-Identifier: GPL-3.0-or-later
"""Which things a character carries: a lantern picked up from a table, carried, set down, and one that stays there."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.measures.mass import masses_of
from plumbline.core.measures.mass_held import held, held_loads, loads
from plumbline.core.measures.mass_motion import mass_motion_of, told
from plumbline.core.numeric import rotation as rot
from plumbline.core.shot import Prop, Shot
from plumbline.core.study import Study
from plumbline.core.testing import edit, puppet

Array = np.ndarray
RATES = (24.0, 29.97, 60.0, 120.0)


def ease(t: Array, first: float, last: float) -> Array:
    s = np.clip((t - first) / (last - first), 0, 1)
    return s * s * (3 - 2 * s)


def carrying(fps: float, drift: float = 0.0) -> Shot:
    """The keeper walks on from 1 to 3 s with a lantern in the left hand, which it grips at 1 s and sets down at 3 s.
    A second lantern stands beside the hand at the start; the right hand is empty. drift: m/s that it slides away."""
    t = np.arange(0, 4, 1 / fps)
    swing = rot.exp(np.outer(0.5 * np.sin(2.0 * t) * ease(t, 0.5, 1.5), [1.0, 0, 0]))
    shot = puppet.act({"upper_arm.L": swing}, np.outer(1.2 * ease(t, 1.0, 3.0), [0, -1.0, 0]), fps)
    c = shot.characters[0]
    wrist, hand = c.head("hand.L"), np.asarray(c.axes)[:, c.index["hand.L"]]
    first, last = np.searchsorted(t, [1.0, 3.0])
    rows = np.clip(np.arange(len(t)), first, last)  # it stays where it is gripped, and where it is set down
    slides = np.outer(drift * (t - 1.0), [0, 1.0, 0])
    place = (wrist + rot.turned(hand, np.array([0.02, 0.1, 0.0]) + slides))[rows]
    table = np.tile(place[0] + [0.1, 0.1, 0], (len(t), 1))
    turned = (hand @ rot.exp(np.array([0.3, 0.2, 1.0])))[rows]
    still = np.tile(np.eye(3) * 2.0, (len(t), 1, 1))
    return replace(shot, props=(Prop("lantern", "it moves", place, turned * 0.5, 0.25),
                                Prop("other lantern", "test", table, still, 0.25)))


@pytest.mark.parametrize("fps", RATES)
def test_a_lantern_is_held_while_it_goes_with_the_hand(fps):
    shot = carrying(fps)
    found = Study(shot).of(held, shot.characters[0])
    assert set(found) == {"lantern"}
    rows = np.flatnonzero(found["lantern"])
    assert rows[0] / fps == pytest.approx(1.0, abs=0.1) and rows[-1] / fps == pytest.approx(3.0, abs=0.1)
    assert found["lantern"][rows[0] : rows[-1] + 1].all()


def test_a_thing_that_slides_out_of_the_hand_is_not_held():
    shot = carrying(24.0, drift=0.6)
    assert "lantern" not in Study(shot).of(held, shot.characters[0])


def test_a_hand_at_rest_holds_nothing():
    shot = carrying(24.0)
    rows = slice(0, 12)
    c = shot.characters[0]
    early = replace(shot, frames=shot.frames[rows], last=None, characters=(replace(
        c, heads=c.heads[rows], tails=c.tails[rows], axes=np.asarray(c.axes)[rows], scale=c.scale[rows],
        twist_axes=np.asarray(c.twist_axes)[rows]),), props=tuple(
            replace(p, origin=p.origin[rows], axes=p.axes[rows]) for p in shot.props))
    assert Study(early).of(held, early.characters[0]) == {}


def test_it_is_told_alike_in_any_size_and_on_declared_needs():
    shot = carrying(24.0)
    c = shot.characters[0]
    base = Study(shot).of(held, c)["lantern"]
    for other in (edit.scaled(shot, 20.0), edit.rigid(shot, rot.exp(np.array([0, 0, 2.0])), np.array([1.0, 2, 3])),
                  shot.only(held.needs())):
        grown = other.characters[0].height / c.height
        props = tuple(replace(p, size=p.size * grown) for p in other.props)
        other = replace(other, props=props)
        np.testing.assert_array_equal(Study(other).of(held, other.characters[0])["lantern"], base)


def test_what_is_carried_moves_the_plumb_line():
    """5 kg in the left hand: the pressure point goes to the left by their share of the whole, while they are held."""
    shot = carrying(24.0)
    c = shot.characters[0]
    found = Study(shot).of(held, c)
    carried = loads(shot, found, {"lantern": 5.0, "other lantern": 50.0})
    assert [load.name for load in carried] == ["lantern"]
    assert loads(shot, found, {}) == []
    assert told(Study(shot), c) == ""
    weighed = replace(shot, props=tuple(replace(p, mass=5.0) for p in shot.props))
    assert told(Study(weighed), c) == "; with lantern (5 kg) held"
    weights = masses_of(c)
    with_it, without = (mass_motion_of(shot, c, weights, some) for some in (carried, ()))
    i = int(2.0 * 24)
    gap = (with_it.pressure_point(np.zeros(3)) - without.pressure_point(np.zeros(3)))[:, 0]
    share = 5.0 / (5.0 + weights.total)
    assert gap[i] == pytest.approx(share * (carried[0].place[i, 0] - without.center[i, 0]), abs=0.003)
    assert gap[i] > 0.01 and abs(gap[5]) < 1e-9
    ahead = replace(shot, props=tuple(replace(p, mass=5.0, center=p.origin + [0, -0.3, 0]) for p in shot.props))
    rotated = edit.rigid(ahead, rot.exp(np.array([0, 0, np.pi / 2])), np.zeros(3))
    moved = Study(rotated).of(held_loads, rotated.characters[0])
    np.testing.assert_allclose(moved[0].place[i], rot.exp(np.array([0, 0, np.pi / 2])) @ (
        carried[0].place[i] + [0, -0.3, 0]), atol=1e-9)
    assert with_it.mass[i] == pytest.approx(weights.total + 5.0)
