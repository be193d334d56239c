# SPDX-License-Identifier: GPL-3.0-or-later
"""How places share a load: against scipy's bounded least squares, and laws."""
import numpy as np
import pytest
from plumbline.core.numeric.shares import load_shares
from scipy.optimize import nnls


def _random(count, moments, seed):
    rng = np.random.default_rng(seed)
    places = rng.normal(0, 0.5, (2, count, moments))
    present = rng.random((count, moments)) < 0.7
    return places, present, rng.normal(0, 0.3, (2, moments))


@pytest.mark.parametrize("count", (1, 2, 3, 6))
def test_against_bounded_least_squares(count):
    places, present, point = _random(count, 60, count)
    shares = load_shares(places, present, point)
    assert (shares >= 0).all() and not shares[~present].any()
    np.testing.assert_allclose(shares.sum(0), present.any(0), atol=1e-9)
    for k in range(shares.shape[1]):
        rows = np.flatnonzero(present[:, k])
        if len(rows) < 2:
            continue
        away = places[:, rows, k] - point[:, None, k]
        even = np.sqrt(0.02 * (away**2).sum() / len(rows))
        # the sum as one more, heavy equation
        system = np.vstack([away, even * np.eye(len(rows)), 1e4 * np.ones(len(rows))])
        best, _ = nnls(system, np.concatenate([np.zeros(2 + len(rows)), [1e4]]))
        np.testing.assert_allclose(shares[rows, k], best, atol=0.02)


def test_a_point_over_one_place_loads_that_alone_and_between_two_both():
    places = np.array([[[0.0] * 3, [1.0] * 3], [[0.0] * 3] * 2])
    shares = load_shares(places, np.ones((2, 3), bool), np.array([[-0.2, 0.5, 0.75], [0.0, 0.3, 0.0]]))
    np.testing.assert_allclose(shares[:, 0], [1, 0], atol=0.01)
    np.testing.assert_allclose(shares[:, 1], [0.5, 0.5])
    np.testing.assert_allclose(shares[:, 2], [0.25, 0.75], atol=0.02)


def test_unknown_points_share_evenly_and_shapes_are_checked():
    shares = load_shares(np.zeros((2, 4, 1)), np.array([[True], [False], [True], [True]]), np.full((2, 1), np.nan))
    np.testing.assert_allclose(shares[:, 0], [1 / 3, 0, 1 / 3, 1 / 3])
    with pytest.raises(ValueError, match="expected"):
        load_shares(np.zeros((2, 3, 4)), np.ones((3, 5), bool), np.zeros((2, 4)))
