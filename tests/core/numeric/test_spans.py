# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs and sliding extremes against the plain loops that they stand for."""
import numpy as np
import pytest
from plumbline.core.numeric.spans import sliding, spans


def test_runs_have_both_ends_inside():
    assert spans(np.array([1, 1, 0, 1, 0, 0, 1, 1, 1], bool)) == [(0, 1), (3, 3), (6, 8)]
    assert spans(np.zeros(4, bool)) == []
    assert spans(np.zeros(0, bool)) == []


@pytest.mark.parametrize("reach", (0, 1, 2, 3, 7, 40))
@pytest.mark.parametrize("extreme", (np.minimum, np.maximum))
def test_sliding_extreme_is_that_of_the_window(reach, extreme):
    values = np.random.default_rng(1).normal(size=(30, 2))
    told = [extreme.reduce(values[max(0, i - reach):i + reach + 1]) for i in range(30)]
    np.testing.assert_array_equal(sliding(values, reach, extreme), told)
