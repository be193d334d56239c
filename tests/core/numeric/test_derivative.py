# SPDX-License-Identifier: GPL-3.0-or-later
"""The local quadratic: exact on parabolas, the same at every rate, and equal to an outside weighted least squares."""
import numpy as np
import pytest
from plumbline.core.numeric.derivative import HALF_WINDOW, local_quadratic

RATES = (24.0, 25.0, 29.97, 30.0, 60.0, 120.0)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("count", (3, 4, 9, 60))
def test_a_parabola_is_reproduced_exactly_up_to_the_ends(rate, count):
    t = np.arange(count) / rate
    path = np.stack([2 - 3 * t + 4.905 * t**2, 0.5 * t, np.ones_like(t)], 1)
    value, velocity, acceleration = local_quadratic(path, rate)
    np.testing.assert_allclose(value, path, atol=1e-9)
    np.testing.assert_allclose(velocity[:, 0], -3 + 9.81 * t, atol=1e-7)
    np.testing.assert_allclose(acceleration, np.tile([9.81, 0, 0], (count, 1)), atol=1e-5)


@pytest.mark.parametrize("rate", RATES)
def test_each_frame_is_the_weighted_fit_of_its_window(rate):
    rng = np.random.default_rng(3)
    y = rng.normal(size=50)
    value, velocity, acceleration = local_quadratic(y, rate)
    reach = int(np.floor(HALF_WINDOW * rate + 1e-6))
    for i in (0, 1, 20, 25, 48, 49):
        rows = np.arange(max(0, i - reach), min(50, i + reach + 1))
        t = (rows - i) / rate
        weight = 1 - np.abs(t) / (HALF_WINDOW + 1 / rate)
        c = np.polynomial.polynomial.polyfit(t, y[rows], 2, w=np.sqrt(weight))
        np.testing.assert_allclose((value[i], velocity[i], acceleration[i]), (c[0], c[1], 2 * c[2]),
                                   rtol=1e-6, atol=1e-6)


def test_the_filter_means_the_same_at_every_rate():
    read = []
    for rate in (24.0, 30.0, 60.0, 120.0):
        t = np.arange(int(2 * rate) + 1) / rate
        read.append(local_quadratic(np.sin(2 * np.pi * 2 * t), rate)[1][int(rate)])   # at t = 1 s
    assert np.ptp(read) < 0.06 * abs(read[0])


def test_too_few_samples_and_no_rate_are_refused():
    with pytest.raises(ValueError, match="at least 3"):
        local_quadratic(np.zeros(2), 24)
    with pytest.raises(ValueError, match="rate"):
        local_quadratic(np.zeros(5), 0)
