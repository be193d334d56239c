# SPDX-License-Identifier: GPL-3.0-or-later
"""Momentum, ground force and pressure point against pinocchio on random states, flight, what airborne and hard-landing
read of it against mujoco, and the margin of balance against shapely.

Their answers are kept in weight.npz and flight.npz and, where a library is at hand, asked again.
"""

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from plumbline.core import body
from plumbline.core.measures.flights import fitted
from plumbline.core.measures.mass import Masses
from plumbline.core.measures.mass_motion import MassMotion, mass_motion_of
from plumbline.core.measures.support import UNSURE, base
from plumbline.core.numeric.local_fit import HALF_WINDOW
from plumbline.core.shot import Character, Shot
from plumbline.core.study import Study
from plumbline.core.testing import edit
from plumbline.core.testing.pivot_walk import smooth
from plumbline.core.testing.puppet import act

Array = np.ndarray
HERE = Path(__file__).parent


def kept(name: str) -> dict[str, Array]:
    with np.load(HERE / f"{name}.npz") as file:
        return {key: file[key] for key in file.files}


def motion(links: dict[str, Array], heads: Array, axes: Array, fps: float, half_window: float) -> MassMotion:
    """Ours, from joints (F, B, 3) and axes (F, B, 3, 3) alone; links: mass, center, inertia."""
    parts = body.PARTS[: heads.shape[1]]
    character = Character(
        name="Links", parts=parts, bones=parts, heads=heads, tails=heads + axes[..., 1] * 0.1, axes=axes,
        rest_heads=heads[0], rest_tails=heads[0] + 0.1, rest_axes=axes[0], scale=np.ones(len(heads)),
        up=np.array([0.0, 0, 1]), forward=np.array([0.0, -1, 0]), height=1.7)
    inertia = links["inertia"]
    moments = np.trace(inertia, axis1=1, axis2=2)[:, None, None] / 2 * np.eye(3) - inertia
    found = Masses(parts, links["mass"], np.eye(len(parts)), links["center"], moments, "the oracle")
    shot = Shot("oracle", np.arange(1.0, len(heads) + 1), fps, (character,))
    return mass_motion_of(shot, character, found, half_window=half_window)


STATES = kept("weight")


@pytest.mark.parametrize("state", range(len(STATES["mass"])))
def test_random_states_are_pinocchios(state):
    told = {name: values[state] for name, values in STATES.items()}
    found = motion(told, told["heads"], told["axes"], 1000.0, 0.0035)
    i = len(told["heads"]) // 2

    def close(what: str, ours: Array, theirs: Array, share: float) -> None:
        off = float(np.abs(ours - theirs).max())
        assert off < share * max(1.0, float(np.abs(theirs).max())), f"{what}: {ours} is not {theirs}"

    close("center of mass", found.center[i], told["com"], 1e-12)
    close("fitted center", found.fitted[i], told["com"], 1e-7)
    close("momentum", found.momentum[i], told["mass"].sum() * told["velocity"], 2e-4)
    close("acceleration", found.acceleration[i], told["acceleration"], 2e-4)
    close("angular momentum", found.spin[i], told["spin"], 2e-4)
    close("its rate", found.spin_rate[i], told["spin_rate"], 2e-4)
    close("force", found.force[i], told["force"], 2e-4)
    close("pressure point", found.pressure_point(told["through"], told["normal"])[i], told["point"], 2e-4)


FLIGHT = kept("flight")


@pytest.mark.parametrize("flight", range(len(FLIGHT["com"])))
def test_every_sample_of_a_flight_is_mujocos(flight):
    """With a window of three samples at 120 a second, what is left is the fit's own error on limbs that turn at up to
    20 rad/s."""
    told = {name: values[flight] for name, values in FLIGHT.items() if name not in ("mass", "center", "inertia")}
    found = motion(FLIGHT, told["heads"], told["axes"], 120.0, 0.0085)
    np.testing.assert_allclose(found.center, told["com"], atol=1e-9)
    inner = slice(1, -1)
    np.testing.assert_allclose(found.velocity[inner], told["velocity"][inner], atol=1e-7)
    size = float(np.linalg.norm(told["spin"], axis=-1).max())
    assert np.abs(found.spin[inner] - told["spin"][inner]).max() < 0.02 * size


@pytest.mark.parametrize("fps", (24, 30, 60, 120))
@pytest.mark.parametrize("flight", range(len(FLIGHT["com"])))
def test_nothing_pushes_a_flying_body_at_any_rate(flight, fps):
    """As checks read it, with the usual window: gravity, no load, and an angular momentum that stays. The fit rounds
    turns off, alike at every rate and all along: 3 percent of the momentum, and its rate by no more than would move the
    pressure point of a standing body by 1.2 cm."""
    step = 120 // fps
    heads, axes = FLIGHT["heads"][flight, ::step], FLIGHT["axes"][flight, ::step]
    found = motion(FLIGHT, heads, axes, float(fps), HALF_WINDOW)
    sure = found.sure
    assert sure.sum() >= 0.45 * len(sure)
    np.testing.assert_allclose(found.acceleration[sure], np.tile([0, 0, -9.81], (int(sure.sum()), 1)), atol=1e-5)
    assert np.abs(found.load[sure]).max() < 1e-6 and not found.bears.any()
    told = FLIGHT["spin"][flight, 0]
    assert np.linalg.norm(found.spin[sure] - told, axis=1).max() < 0.03 * np.linalg.norm(told)
    weight = 9.81 * float(found.mass[0])
    assert np.linalg.norm(found.spin_rate[sure], axis=1).max() < 0.012 * weight


@pytest.mark.parametrize("fps", (24, 30, 60, 120))
@pytest.mark.parametrize("flight", range(len(FLIGHT["com"])))
def test_what_airborne_and_hard_landing_read_of_a_flight_is_mujocos(flight, fps):
    """Gravity, push, straying and the speed at the end of the parabola, over the whole flight and over its last third.
    The fit is that of the center of mass that mujoco tells, to rounding. That center strays from free fall by the error
    of its integrator: with steps of 1/9600 s 4e-7 g and a push of 9e-7 g at most over the last third; with steps of
    1/2400 s it was a hundred times as much."""
    step = 120 // fps
    heads, axes = FLIGHT["heads"][flight, ::step], FLIGHT["axes"][flight, ::step]
    moved = motion(FLIGHT, heads, axes, float(fps), HALF_WINDOW)
    velocity = FLIGHT["velocity"][flight, ::step]
    times, last = np.arange(len(heads)) / fps, len(heads) - 1
    for first in (0, 2 * last // 3 - 1):
        rows = np.arange(first, last + 1)
        found = fitted(moved, times, rows, first, last, None, None, 1.0, 1e-4)
        basis = np.vander(times[rows] - found.start, 3, increasing=True)
        theirs = np.linalg.lstsq(basis, FLIGHT["com"][flight, ::step][rows], rcond=None)[0]
        np.testing.assert_allclose(found.fit, theirs, atol=1e-11)
        assert abs(found.pull - 1.0) < 1e-6 and found.push < 2e-6 and found.astray.max() < 1e-7
        _, speed, half = found.fit
        np.testing.assert_allclose(speed + 2 * half * (times[last] - found.start), velocity[last], atol=2e-6)


def test_the_margin_of_balance_is_shapelys():
    """How far outside the base the pressure point lies, and the way back, on a body that is carried beyond its feet."""
    shapely = pytest.importorskip("shapely")
    from shapely.ops import nearest_points
    shot = act({}, np.zeros((60, 3)), 24.0)
    sway = smooth((shot.times - 0.6) / 0.5)[:, None] * [0.30, -0.12, -0.05]
    c = edit.carry_root(shot.characters[0], sway)
    found = Study(replace(shot, characters=(c,))).of(base, c)
    outside = 0
    for i in np.flatnonzero(found.known):
        hull = shapely.MultiPoint(found.corners[i][found.there[i]]).convex_hull
        point = shapely.Point(found.point[i])
        told = hull.distance(point)
        assert abs(float(np.hypot(*found.away[i])) - told) < 1e-9
        sure = UNSURE * float(np.hypot(*(found.point[i] - found.center[i])))
        assert abs(found.excess[i] - (told - sure)) < 1e-9
        if told > 1e-6:
            outside += 1
            nearest = np.array(nearest_points(hull, point)[0].coords[0])
            np.testing.assert_allclose(found.point[i] + found.away[i], nearest, atol=1e-9)
    assert outside > 8 and outside < int(found.known.sum())


@pytest.mark.parametrize(("name", "library"), (("weight", "pinocchio"), ("flight", "mujoco")))
def test_the_libraries_still_say_what_was_kept(name, library):
    pytest.importorskip(library, reason=f"{library} is not installed here: its kept answers were used")
    spec = importlib.util.spec_from_file_location(f"{name}_oracle", HERE / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for key, values in module.ask().items():
        np.testing.assert_allclose(kept(name)[key], values, rtol=1e-6, atol=1e-9, err_msg=key)
