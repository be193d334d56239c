# SPDX-License-Identifier: GPL-3.0-or-later
"""Rows read between their samples: on curves and on straight lines."""

import numpy as np
import pytest
from plumbline.core.numeric.between import between, hermite, straight


def test_straight_lines_between_frames_and_held_beyond() -> None:
    rows = np.arange(24.0).reshape(4, 3, 2) ** 2
    at = np.array([1.0, 2.0, 4.0, 4.5])
    out = straight(rows, at, np.array([0.0, 1.0, 3.0, 4.25, 9.0]))
    assert out.shape == (5, 3, 2)
    assert np.array_equal(out[0], rows[0]) and np.array_equal(out[1], rows[0]) and np.array_equal(out[4], rows[3])
    assert out[2] == pytest.approx((rows[1] + rows[2]) / 2) and out[3] == pytest.approx((rows[2] + rows[3]) / 2)
    assert straight(rows[:, 0, 0], at, at) == pytest.approx(rows[:, 0, 0])


def test_a_cubic_keeps_its_samples_and_a_straight_run() -> None:
    rows = np.linspace(0, 9, 10)[:, None] * [1.0, -2.0]
    at = np.array([0.0, 2.5, 4.25, 9.0, 12.0])
    assert between(rows, at[1:3]) == pytest.approx(at[1:3, None] * [1.0, -2.0])
    assert np.array_equal(between(rows, at[[0, 3]]), rows[[0, 9]]) and np.array_equal(between(rows, at[4:])[0], rows[9])


def test_a_hermite_cubic_is_scipys() -> None:
    """Against scipy.interpolate.CubicHermiteSpline."""
    interpolate = pytest.importorskip("scipy.interpolate")
    start, end, leaving, coming = np.random.default_rng(3).normal(size=(4, 3))
    t = np.linspace(0, 1, 9)
    told = interpolate.CubicHermiteSpline([0, 1], [start, end], [leaving, coming])(t)
    assert hermite(start, end, leaving, coming, t[:, None]) == pytest.approx(told)
