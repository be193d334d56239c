# SPDX-License-Identifier: GPL-3.0-or-later
"""Momentum, pressure point, load, friction, extrapolated center: closed forms, laws, held things, cost."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.core import body
from plumbline.core.card import Card
from plumbline.core.measures.mass import Load, Masses, masses, masses_of
from plumbline.core.measures.mass_motion import MassMotion, mass_motion, mass_motion_of
from plumbline.core.numeric import rotation as rot
from plumbline.core.numeric.local_fit import HALF_WINDOW
from plumbline.core.shot import Character, Shot
from plumbline.core.study import Study
from plumbline.core.testing import cost, edit, puppet

Array = np.ndarray
G = 9.81
UP = np.array([0.0, 0.0, 1.0])
RATES = (24.0, 25.0, 29.97, 30.0, 60.0, 120.0)
LENGTH, KG = 0.9, 6.0


def moving(times: Array, fps: float, heads: Array, axes: Array, mass: float = KG, arm: float = 0.0,
           length: float = 0.0, loads: tuple[Load, ...] = (), half_window: float = HALF_WINDOW) -> MassMotion:
    """One thin rod (a point where length is 0) along its bone's y, its middle ``arm`` from the bone's joint."""
    assert len(times) == len(heads) == len(axes)
    f = len(heads)
    c = Character("Rod", ("pelvis",), ("rod",), heads[:, None], heads[:, None] + axes[:, None, :, 1], axes[:, None],
                  heads[:1], heads[:1] + axes[:1, :, 1], axes[:1], np.ones(f), UP, np.array([0.0, -1, 0]), height=1.75)
    moments = np.zeros((1, 3, 3))
    moments[0, 1, 1] = mass * length**2 / 12
    found = Masses(("pelvis",), np.array([mass]), np.ones((1, 1)), np.array([[0.0, arm, 0.0]]), moments, "a rod")
    shot = Shot("rod", np.arange(1.0, f + 1), fps, (c,))
    return mass_motion_of(shot, c, found, loads, half_window=half_window)


def point(path: Array, fps: float, **more) -> MassMotion:
    """A mass point along a path (F, 3)."""
    return moving(np.arange(len(path)) / fps, fps, path, np.tile(np.eye(3), (len(path), 1, 1)), **more)


def pendulum(angle: float, seconds: float, fps: float) -> tuple[Array, Array]:
    """A rod on a frictionless pin at the origin, let go at an angle from hanging straight down: times and angles, by
    fourth-order Runge-Kutta at 4800 steps a second."""
    times = np.arange(0, seconds, 1 / fps)
    fine = 4800
    state = np.array([angle, 0.0])
    angles = [angle]

    def rate(s: Array) -> Array:
        return np.array([s[1], -1.5 * G / LENGTH * np.sin(s[0])])  # (m g l/2) / (m l^2 / 3)

    per = round(fine / fps)
    h = 1 / fps / per
    for _ in range(len(times) - 1):
        for _ in range(per):
            a = rate(state)
            b = rate(state + h / 2 * a)
            c = rate(state + h / 2 * b)
            state = state + h / 6 * (a + 2 * b + 2 * c + rate(state + h * c))
        angles.append(float(state[0]))
    return times, np.array(angles)


def rod_axes(angles: Array) -> Array:
    """Axes (F, 3, 3) with y along a rod in the x-z plane, ``angles`` from straight down."""
    y = np.stack([np.sin(angles), 0 * angles, -np.cos(angles)], -1)
    x = np.stack([np.cos(angles), 0 * angles, np.sin(angles)], -1)
    return np.stack([x, y, np.cross(x, y)], -1)


# ---- closed forms ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("fps", RATES)
def test_a_free_pendulum_asks_for_no_moment_at_its_pin(fps):
    """Swinging by itself it is held at the pin alone: there is the pressure point, all along."""
    times, angles = pendulum(0.9, 3.0, fps)
    found = moving(times, fps, np.zeros((len(times), 3)), rod_axes(angles), arm=LENGTH / 2, length=LENGTH)
    where = found.pressure_point(np.zeros(3))[found.sure]
    assert np.abs(where).max() < 0.012, "the window's own rounding of a swing of 100 degrees, alike at every rate"
    narrow = moving(times, fps, np.zeros((len(times), 3)), rod_axes(angles), arm=LENGTH / 2, length=LENGTH,
                    half_window=1.5 / fps)
    inner = slice(2, -2)
    assert np.abs(narrow.pressure_point(np.zeros(3))[inner]).max() < 0.003 * (24 / fps) ** 2
    # along the rod the pin bears its weight and its swing, w^2 = 3 g / l (cos a - cos a0)
    radial = KG * (G * np.cos(angles) + 1.5 * G * (np.cos(angles) - np.cos(angles[0])))
    along = -(narrow.force * rod_axes(angles)[..., 1]).sum(-1)
    np.testing.assert_allclose(along[inner], radial[inner], atol=0.01 * KG * G * (24 / fps) ** 2)


@pytest.mark.parametrize("fps", RATES)
def test_free_flight_bears_nothing(fps):
    t = np.arange(0, 0.8, 1 / fps)
    path = np.stack([1.5 * t, -0.4 * t, 1 + 3 * t - G / 2 * t * t], 1)
    found = point(path, fps)
    np.testing.assert_allclose(found.load, 0.0, atol=1e-6)
    np.testing.assert_allclose(found.force, 0.0, atol=1e-5)
    np.testing.assert_allclose(found.momentum, KG * np.stack([0 * t + 1.5, 0 * t - 0.4, 3 - G * t], 1), atol=1e-6)
    assert not found.bears.any()
    assert np.isnan(found.pressure_point(np.zeros(3))).any() or np.isinf(found.friction()).any()


@pytest.mark.parametrize("fps", RATES)
def test_a_spinning_rod_keeps_its_angular_momentum(fps):
    """Thrown, turning end over end at 4 rad/s about y: m l^2 / 12 w, and no rate."""
    t = np.arange(0, 1.0, 1 / fps)
    middle = np.stack([t, 0 * t, 1 + 4 * t - G / 2 * t * t], 1)
    axes = rod_axes(4.0 * t)
    found = moving(t, fps, middle - axes[..., 1] * 0.3, axes, arm=0.3, length=LENGTH)
    np.testing.assert_allclose(found.center, middle, atol=1e-12)
    # about -y: the angle grows from down toward +x
    want = np.array([0.0, -KG * LENGTH**2 / 12 * 4.0, 0.0])
    sure = found.sure
    assert np.abs(found.spin[sure] - want).max() < 0.035 * np.linalg.norm(want)
    assert np.abs(found.spin_rate[sure]).max() < 0.03 * np.linalg.norm(want)
    fine = moving(t, fps, middle - axes[..., 1] * 0.3, axes, arm=0.3, length=LENGTH, half_window=1.5 / fps)
    assert np.abs(fine.spin[2:-2] - want).max() < 0.02 * (24 / fps) ** 2 * np.linalg.norm(want) + 1e-9


def test_standing_still_is_the_plumb_line():
    found = point(np.tile([0.3, -0.2, 0.9], (40, 1)), 24.0)
    where = found.pressure_point(np.array([9.0, 9, 0.1]))
    np.testing.assert_allclose(where, np.tile([0.3, -0.2, 0.1], (40, 1)), atol=1e-9)
    np.testing.assert_allclose(found.load, 1.0)
    np.testing.assert_allclose(found.friction(), 0.0, atol=1e-9)
    np.testing.assert_allclose(found.extrapolated(np.zeros(3)), np.tile([0.3, -0.2, 0.9], (40, 1)), atol=1e-9)
    assert found.bears[6:-6].all() and not found.bears[:2].any()


def test_a_slope_asks_for_its_tangent_of_friction():
    """Standing still on a slope: straight under the center, friction the slope's tangent."""
    angle = 0.3
    normal = np.array([np.sin(angle), 0.0, np.cos(angle)])
    found = point(np.tile([0.0, 0.0, 1.0], (30, 1)), 24.0)
    where = found.pressure_point(np.array([0.0, 5.0, 0.2]), normal)
    np.testing.assert_allclose(where, np.tile([0, 0, 0.2], (30, 1)), atol=1e-9)
    np.testing.assert_allclose(found.friction(normal), np.tan(angle), atol=1e-9)
    # a plane a frame, and one through another place of the same slope, are the same plane
    other = np.tile(np.array([0.5, -3.0, 0.2 - 0.5 * np.tan(angle)]), (30, 1))
    np.testing.assert_allclose(found.pressure_point(other, np.tile(normal, (30, 1))), where, atol=1e-9)


@pytest.mark.parametrize("fps", RATES)
def test_a_sway_at_one_height_moves_the_pressure_point_beyond_the_center(fps):
    """x = A cos wt at height z: pressure at x (1 + z w^2 / g), friction |x| w^2 / g, extrapolated x + v sqrt(z / g)."""
    t = np.arange(0, 4, 1 / fps)
    a, w, z = 0.06, 2 * np.pi * 0.6, 0.95
    found = point(np.stack([a * np.cos(w * t), 0 * t, z + 0 * t], 1), fps)
    sure = found.sure
    x, v = a * np.cos(w * t), -a * w * np.sin(w * t)
    np.testing.assert_allclose(found.pressure_point(np.zeros(3))[sure, 0], (x * (1 + z * w * w / G))[sure], atol=0.004)
    np.testing.assert_allclose(found.friction()[sure], np.abs(x * w * w / G)[sure], atol=0.004)
    np.testing.assert_allclose(found.extrapolated(np.zeros(3))[sure, 0], (x + v * np.sqrt(z / G))[sure], atol=0.003)
    # on ground that goes along, the same body stands otherwise
    drift = found.extrapolated(np.zeros(3), np.array([0.5, 0, 0]))[sure, 0] - found.extrapolated(np.zeros(3))[sure, 0]
    np.testing.assert_allclose(drift, -0.5 * np.sqrt(z / G), atol=2e-4)


def test_rates_agree():
    """One motion at six rates: at the same moments the pressure points lie within 4 mm, loads within 0.01."""
    read = []
    for fps in RATES:
        t = np.arange(0, 3, 1 / fps)
        path = np.stack([0.2 * np.sin(3 * t), 0.1 * np.cos(5 * t), 0.9 + 0.03 * np.sin(7 * t)], 1)
        found = point(path, fps)
        at = np.linspace(0.5, 2.5, 9)
        where = found.pressure_point(np.zeros(3))
        read.append([np.interp(at, t, where[:, 0]), np.interp(at, t, where[:, 1]), np.interp(at, t, found.load)])
    spread = np.ptp(np.array(read), axis=0)
    assert spread[:2].max() < 0.006 and spread[2].max() < 0.01


# ---- whole figures -----------------------------------------------------------------------------------------


def acting(fps: float = 30.0, seconds: float = 3.0, size: float = 1.0) -> Shot:
    """The adult with every joint swaying, walking off."""
    t = np.arange(0, seconds, 1 / fps)
    sways = ((0.25 * np.sin(2.1 * t + k), 0.2 * np.cos(1.7 * t + 2 * k), 0.2 * np.sin(2.6 * t - k))
             for k in range(len(body.PARTS)))
    turns = {p: rot.exp(np.stack(sway, 1)) for p, sway in zip(body.PARTS, sways, strict=True)}
    return puppet.act(turns, np.stack([0.8 * t, 0 * t, 0.02 * np.sin(6 * t)], 1) * size, fps, puppet.adult(size))


def told(shot: Shot) -> MassMotion:
    found = Study(shot).of(mass_motion, shot.characters[0])
    assert found is not None
    return found


def test_the_sums_are_those_of_plain_loops():
    """Segment by segment, as a textbook writes it."""
    shot = acting()
    c = shot.characters[0]
    found, weights = told(shot), masses_of(c)
    from plumbline.core.numeric.local_fit import LocalFit

    fit = LocalFit(shot.times)
    centers, axes = weights.centers(c), weights.axes(c)
    total = weights.total
    place, speed, push = (rows.transpose(1, 2, 0) for rows in fit(centers))
    turned, turning, more = (rows.transpose(2, 3, 0, 1) for rows in fit(axes))
    raw = axes.transpose(2, 3, 0, 1)
    at, v, a = ((rows * weights.mass[:, None, None]).sum(0) / total for rows in (place, speed, push))
    spin, rate = np.zeros_like(at), np.zeros_like(at)
    for s in range(len(weights.parts)):
        spin += weights.mass[s] * np.cross(place[s] - at, speed[s] - v)
        rate += weights.mass[s] * np.cross(place[s] - at, push[s] - a)
        for j in range(3):
            for k in range(3):
                share = weights.moments[s, j, k]
                spin += share * np.cross(raw[s][..., j], turning[s][..., k])
                rate += share * np.cross(raw[s][..., j], more[s][..., k])
    np.testing.assert_allclose(found.fitted, at, atol=1e-9)
    np.testing.assert_allclose(found.velocity, v, atol=1e-9)
    np.testing.assert_allclose(found.acceleration, a, atol=1e-9)
    np.testing.assert_allclose(found.spin, spin, atol=1e-9)
    np.testing.assert_allclose(found.spin_rate, rate, atol=1e-8)


def test_the_figure_is_told_alike_anywhere():
    """Moved, turned about the plumb line, mirrored, grown with its card, its bones rolled: the same shot."""
    shot = acting()
    base = told(shot)
    where = base.pressure_point(np.zeros(3))
    turn, offset = rot.exp(np.array([0.0, 0.0, 2.2])), np.array([4.0, -3.0, 0.0])
    moved = told(edit.rigid(shot, turn, offset))
    np.testing.assert_allclose(moved.pressure_point(np.zeros(3)), where @ turn.T + offset, atol=1e-4)
    np.testing.assert_allclose(moved.load, base.load, atol=1e-4)
    mirrored = told(edit.mirrored(shot))
    np.testing.assert_allclose(mirrored.pressure_point(np.zeros(3)), where * [-1, 1, 1], atol=1e-9)
    np.testing.assert_allclose(mirrored.spin, base.spin * [1, -1, -1], atol=1e-9)


@pytest.mark.parametrize("size", (0.05, 12.0))
def test_a_figure_that_stands_for_another_height_feels_that_ones_gravity(size):
    shot, grown = acting(), edit.scaled(acting(), size)
    c = grown.characters[0]
    grown = replace(grown, characters=(replace(c, card=Card(height=c.height / size)),))
    base, other = told(shot), told(grown)
    np.testing.assert_allclose(other.load, base.load, atol=1e-9)
    np.testing.assert_allclose(other.pressure_point(np.zeros(3)), base.pressure_point(np.zeros(3)) * size,
                               atol=1e-7 * size)
    np.testing.assert_allclose(other.friction(), base.friction(), atol=1e-9)


def test_declared_needs_suffice():
    shot = acting(seconds=1.0)
    less = shot.only(mass_motion.needs())
    np.testing.assert_array_equal(told(less).spin, told(shot).spin)
    without = shot.only(mass_motion.needs() & ~masses.own_needs)
    with pytest.raises(ValueError, match="without rotations"):
        masses_of(without.characters[0]).centers(without.characters[0])


def test_motion_on_twos_is_judged_by_its_drawings():
    """Held for two frames, the acting reads as the same drawings shot at half the rate; frames between hang halfway."""
    ones = acting(12.0, 4.0)
    c = ones.characters[0]
    again = np.repeat(np.arange(len(c.heads)), 2)
    held = replace(c, heads=c.heads[again], tails=c.tails[again], axes=np.asarray(c.axes)[again],
                   twist_axes=np.asarray(c.twist_axes)[again], scale=c.scale[again])
    twos = puppet.shot_of(held, 24.0)
    a, b = told(ones), told(twos)
    # a bare foot's sole is guessed from its slow frames, of which there are twice as many
    np.testing.assert_allclose(b.load[::2], a.load, atol=2e-4)
    np.testing.assert_allclose(b.pressure_point(np.zeros(3))[::2], a.pressure_point(np.zeros(3)), atol=5e-4)
    np.testing.assert_allclose(b.center[1:-1:2], (b.center[:-2:2] + b.center[2::2]) / 2, atol=1e-9)
    # read frame by frame it would stamp
    c2 = twos.characters[0]
    stamping = mass_motion_of(twos, c2, masses_of(c2))
    rough = [float(np.abs(np.diff(found.load[found.sure], 2)).mean()) for found in (stamping, b)]
    assert rough[0] > 2 * rough[1]


def test_what_does_not_move_or_has_no_mass_is_not_measured():
    still = puppet.act({}, np.zeros((2, 3)))
    assert Study(still).of(mass_motion, still.characters[0]) is None
    hand = puppet.adult()
    rows = [hand.parts.index(p) for p in ("upper_arm.L", "forearm.L", "hand.L")]
    arm = puppet.Puppet(tuple(hand.parts[i] for i in rows), hand.heads[rows], hand.tails[rows], hand.axes[rows],
                        hand.up, hand.forward)
    t = np.arange(20) / 24
    shot = puppet.act({"hand.L": rot.exp(np.outer(np.sin(9 * t), UP))}, np.outer(t, UP), puppet=arm)
    assert Study(shot).of(mass_motion, shot.characters[0]) is None


def test_a_scene_without_gravity_bears_nothing():
    shot = replace(acting(seconds=1.0), gravity=np.zeros(3))
    found = told(shot)
    assert np.isnan(found.load).all() and not found.bears.any() and np.isnan(found.extrapolated(np.zeros(3))).all()


# ---- held things -------------------------------------------------------------------------------------------


def test_a_held_thing_counts_while_it_is_held():
    """A lantern of 6 kg at arm's length beside 6 kg of body: the plumb line stands halfway between them, and back."""
    f = 60
    held = np.zeros(f)
    held[20:40] = 1.0
    lantern = Load("lantern", KG, np.tile([0.5, 0.0, 0.7], (f, 1)), held)
    found = point(np.tile([0.0, 0.0, 0.9], (f, 1)), 24.0, loads=(lantern,))
    where = found.pressure_point(np.zeros(3))
    np.testing.assert_allclose(where[20:40, 0], 0.25, atol=1e-9)
    np.testing.assert_allclose(where[[0, 19, 40, 59], 0], 0.0, atol=1e-9)
    np.testing.assert_allclose(found.mass[[19, 20]], (KG, 2 * KG))
    np.testing.assert_allclose(found.velocity, 0.0, atol=1e-9, err_msg="taking it up moves nothing")
    np.testing.assert_allclose(found.force[25], (0, 0, 2 * KG * G), atol=1e-9)


def test_a_swung_thing_is_a_part_of_the_body():
    """A rod held as a load is the rod of a segment."""
    t = np.arange(0, 2, 1 / 30)
    axes = rod_axes(0.8 * np.sin(3 * t))
    still = np.tile([0.0, 0.0, 1.0], (len(t), 1))
    moments = np.diag([0.0, KG * LENGTH**2 / 12, 0.0])
    load = Load("staff", KG, still + axes[..., 1] * LENGTH / 2, np.ones(len(t)), axes, moments)
    alone = moving(t, 30.0, still, axes, arm=LENGTH / 2, length=LENGTH)
    found = point(still, 30.0, mass=1e-9, loads=(load,))
    for name in ("momentum", "spin", "spin_rate", "force"):
        np.testing.assert_allclose(getattr(found, name), getattr(alone, name), atol=1e-6, err_msg=name)


def test_loads_that_cannot_be_are_refused():
    with pytest.raises(ValueError, match="zero or more"):
        Load("hole", -1.0, np.zeros((3, 3)), np.ones(3))
    with pytest.raises(ValueError, match="together"):
        Load("stick", 1.0, np.zeros((3, 3)), np.ones(3), moments=np.eye(3))


# ---- cost --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("fps", (24.0, 120.0))
def test_a_thousand_frames_cost_little(fps):
    """40 ms of a core were asked for; here with half as much again, since the timing swings."""
    shot = acting(fps, 1000 / fps)
    c = shot.characters[0]
    assert len(c.axes_rows) and len(c.head_rows)  # laid once for every measure

    def work():
        found = mass_motion_of(shot, c, masses_of(c))
        assert found.pressure_point(np.zeros(3)).shape == (shot.count, 3) and len(found.load) == shot.count

    assert cost.seconds(work) < 0.06
