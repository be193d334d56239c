# SPDX-License-Identifier: GPL-3.0-or-later
"""Departures from a smooth path: exact for cubics, and what one drawing and a corner leave in them."""

import numpy as np
import pytest
from plumbline.core.numeric.spacing import CORNER, SPIKE, agitation, departures, largest_near, matched, white_noise

T = np.linspace(0, 1, 25)
CUBIC = np.stack([T**3 - T, 2 * T**2, 0.3 * T], -1)
OFF = np.array([0.02, -0.01, 0.03])


def test_a_cubic_departs_nowhere_and_a_drawing_by_what_it_is_off() -> None:
    assert np.nanmax(np.abs(departures(CUBIC))) < 1e-12
    path = CUBIC.copy()
    path[12] += OFF
    found = departures(path)
    assert np.isnan(found[:2]).all() and np.isnan(found[-2:]).all()
    assert found[12] == pytest.approx(OFF) and found[11] == pytest.approx(-4 / 6 * OFF)
    assert departures(np.zeros((2, 4, 3))).shape == (2, 4, 3)


def test_each_shape_is_told_from_the_other() -> None:
    spiked = CUBIC.copy()
    spiked[12] += OFF
    turned = CUBIC + np.maximum(0, np.arange(25) - 12)[:, None] * OFF
    for path, shape, amount in ((spiked, SPIKE, OFF), (turned, CORNER, OFF)):
        off = departures(path[None])
        fit, share = matched(off, shape)
        assert fit[0, 12] == pytest.approx(amount) and share[0, 12] == pytest.approx(1.0)
        other = CORNER if shape is SPIKE else SPIKE
        assert matched(off, other)[1][0, 12] < 0.96


def test_white_noise_is_told_by_the_calmest_stretches() -> None:
    rng = np.random.default_rng(7)
    path = np.zeros((600, 3))
    path[:, 0] = 0.3 * np.sin(np.arange(600) / 40)
    for size in (1e-4, 1e-3):
        noisy = path + rng.normal(scale=size, size=path.shape)
        found = white_noise(np.linalg.norm(departures(noisy), axis=-1))
        assert 0.6 * size < found < 1.05 * size
    assert white_noise(np.linalg.norm(departures(path), axis=-1)) < 1e-5 and white_noise(np.zeros(1)) == 0.0


def test_a_fault_does_not_hide_behind_itself() -> None:
    sizes = np.full(40, 1.0)
    sizes[18:23] = 50.0
    sizes[30] = 7.0
    assert agitation(sizes, 20, 20, 15) == 1.0
    assert largest_near(sizes, 20, 15) == 7.0 and largest_near(sizes, 20, 5) == 1.0
    assert agitation(np.full(5, np.nan), 2, 2, 9) == 0.0 and largest_near(np.zeros(3), 1, 4) == 0.0
