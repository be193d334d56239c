# SPDX-License-Identifier: GPL-3.0-or-later
"""Spans with hysteresis, joining, and the level that is held."""

import numpy as np
import pytest
from plumbline.core.numeric.spans import HELD_SECONDS, beyond, held, joined, samples


def test_a_level_that_hovers_is_one_span_with_ends_beyond_the_limit():
    level = np.array([0, 3, 6, 8, 4, 7, 3, 1, 0, 6, 0], float)
    assert beyond(level, 5, 2) == [(2, 5), (9, 9)]
    assert beyond(level, 5, 5) == [(2, 3), (5, 5), (9, 9)]
    assert beyond(level, 5, 5, gap=2) == [(2, 5), (9, 9)]
    assert beyond(level, 5, 2, gap=4) == [(2, 9)]
    assert beyond(np.full(4, np.nan), 5, 2) == []


def test_joined_is_by_the_samples_between():
    assert joined([(0, 1), (4, 5)], 2) == [(0, 1), (4, 5)]
    assert joined([(0, 1), (4, 5)], 3) == [(0, 5)]
    assert joined([(4, 5), (0, 9)], 0) == [(0, 9)]


@pytest.mark.parametrize("count", (1, 2, 5))
def test_held_is_what_some_window_does_not_fall_below(count):
    level = np.random.default_rng(2).normal(size=40)
    told = [
        max(level[k : k + count].min() for k in range(max(0, i - count + 1), min(i, 40 - count) + 1)) for i in range(40)
    ]
    np.testing.assert_array_equal(held(level, count), told)


def test_unknown_samples_hold_nothing():
    assert held(np.array([1, np.nan, 3, 4]), 2).tolist() == [-np.inf, -np.inf, 3, 3]
    assert held(np.ones(3), 5).tolist() == [-np.inf] * 3


@pytest.mark.parametrize(("rate", "count"), ((24, 2), (25, 2), (29.97, 2), (30, 2), (60, 5), (120, 10), (8, 1)))
def test_two_frames_of_24_at_every_rate(rate, count):
    assert samples(HELD_SECONDS, rate) == count
