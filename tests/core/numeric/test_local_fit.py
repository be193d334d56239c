# SPDX-License-Identifier: GPL-3.0-or-later
"""The local fit: exact on parabolas, the same at every rate, on drawings of uneven times, equal to an outside fit."""

import numpy as np
import pytest
from plumbline.core.numeric.local_fit import HALF_WINDOW, LocalFit

RATES = (8.0, 12.0, 23.976, 24.0, 25.0, 29.97, 30.0, 60.0, 120.0)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("count", (3, 4, 9, 60, 1000))
def test_a_parabola_is_reproduced_exactly_up_to_the_ends(rate, count):
    t = np.arange(count) / rate
    path = np.stack([2 - 3 * t + 4.905 * t**2, 0.5 * t, np.ones_like(t)])
    value, velocity, acceleration = LocalFit(t)(path)
    np.testing.assert_allclose(value, path, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(velocity[0], -3 + 9.81 * t, rtol=1e-7, atol=1e-7)
    np.testing.assert_allclose(acceleration, np.tile([[9.81], [0], [0]], (1, count)), atol=1e-5)


@pytest.mark.parametrize("rate", RATES[2:])
def test_each_sample_is_the_weighted_fit_of_its_window(rate):
    """numpy's own weighted polynomial, asked sample by sample."""
    rng = np.random.default_rng(3)
    y = rng.normal(size=(2, 131))
    t = np.arange(131) / rate
    found = np.array(LocalFit(t)(y))
    for i in (0, 1, 20, 47, 48, 49, 95, 96, 129, 130):  # blocks of 48 meet there
        near = np.flatnonzero(np.abs(t - t[i]) < HALF_WINDOW)
        if len(near) < 3:
            near = np.arange(3) if i < 65 else np.arange(128, 131)
        weight = np.maximum(1 - ((t[near] - t[i]) / HALF_WINDOW) ** 2, 0.03)
        for row in range(2):
            c = np.polynomial.polynomial.polyfit(t[near] - t[i], y[row, near], 2, w=weight)
            np.testing.assert_allclose(found[:, row, i], (c[0], c[1], 2 * c[2]), rtol=1e-6, atol=1e-6)


def test_the_fit_means_the_same_at_every_rate():
    """A sway of 1.5 Hz: its acceleration is read alike from 24 to 120 fps, and 29.97 fps reads as 30 does."""
    read = {}
    for rate in (24.0, 25.0, 29.97, 30.0, 48.0, 59.94, 60.0, 120.0):
        t = np.arange(int(2 * rate) + 1) / rate
        sway = np.stack([np.sin(2 * np.pi * 1.5 * t), np.cos(2 * np.pi * 1.5 * t)])
        second = LocalFit(t)(sway)[2]
        middle = (t > 0.5) & (t < 1.5)
        read[rate] = float(np.hypot(*second)[middle].mean())
    true = (2 * np.pi * 1.5) ** 2
    assert all(0.9 < value / true < 1.0 for value in read.values()), read
    assert np.ptp(list(read.values())) < 0.015 * true, read
    assert abs(read[29.97] - read[30.0]) < 1e-4 * true
    assert abs(read[59.94] - read[60.0]) < 1e-4 * true


def test_drawings_at_uneven_times_are_fitted_at_their_own():
    """On twos with a hold of a second between: a parabola is still a parabola."""
    t = np.concatenate([np.arange(12) / 12, 2 + np.arange(12) / 12, 2.95 + np.arange(3) / 24])
    y = 1 + t - 2 * t**2
    value, velocity, acceleration = LocalFit(t)(y)
    np.testing.assert_allclose(value, y, atol=1e-9)
    np.testing.assert_allclose(velocity, 1 - 4 * t, atol=1e-8)
    np.testing.assert_allclose(acceleration, -4, atol=1e-6)


def test_only_whole_windows_are_sure():
    fit = LocalFit(np.arange(50) / 24)
    assert not fit.sure[:4].any() and not fit.sure[-4:].any() and fit.sure[4:-4].all()


def test_what_cannot_be_fitted_is_refused():
    for times, word in ((np.arange(2.0), "at least 3"), (np.array([0.0, 1, 1]), "rise"), (np.zeros((3, 1)), "shape")):
        with pytest.raises(ValueError, match=word):
            LocalFit(times)
    with pytest.raises(ValueError, match="half-window"):
        LocalFit(np.arange(4.0), 0.0)
    with pytest.raises(ValueError, match="5 samples"):
        LocalFit(np.arange(5.0))(np.zeros((2, 4)))
