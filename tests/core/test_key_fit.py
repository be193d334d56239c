# SPDX-License-Identifier: GPL-3.0-or-later
"""Keys for wanted values: on curves whose slopes are known, and on keys that stand near to each other."""

import numpy as np
import pytest
from plumbline.core import key_fit


def test_slopes_of_a_parabola_are_exact_up_to_the_ends() -> None:
    x = np.arange(6.0)
    assert key_fit.slopes(2 + 3 * x - 0.5 * x**2) == pytest.approx(3 - x)


def test_a_curve_may_leave_its_first_frame_with_another_slope_than_it_came_with() -> None:
    """A stop at full speed: what comes after has the slope that it begins with, not a mean of both."""
    settle = np.array([0.0, 0.35, 0.5, 0.42, 0.26, 0.1, 0.0])
    assert key_fit.slopes(settle)[0] == pytest.approx((-3 * 0 + 4 * 0.35 - 0.5) / 2)


def test_what_changes_nothing_is_cut_off_at_both_ends() -> None:
    change = np.zeros((8, 3))
    change[2:5, 1] = 0.02, 0.0, -0.01
    assert key_fit.changed(change) == (2, 4)
    assert key_fit.changed(np.zeros((4, 3))) is None


def test_keys_come_first_where_the_curve_that_changes_most_turns_back() -> None:
    values = np.array([[0, 1, 2, 1, 0, -3, 0], [0, 0.1, 0, 0.1, 0, 0.1, 0]], float)
    assert key_fit.first_choice(values) == [2, 5]


def test_the_worst_miss_is_told_in_what_each_curve_may_miss() -> None:
    wanted, close = np.zeros((2, 5)), np.array([0.1, 0.001])
    made = wanted.copy()
    made[0, 1], made[1, 3] = 0.15, 0.002
    keyed = np.zeros(5, bool)
    assert key_fit.worst_miss(made, wanted, close, keyed) == 3
    keyed[3] = True
    assert key_fit.worst_miss(made, wanted, close, keyed) == 1
    keyed[1] = True
    assert key_fit.worst_miss(made, wanted, close, keyed) is None


def test_between_the_ends_goes_one_eased_move() -> None:
    values = np.array([1.0, 9.0, -9.0, 9.0, 3.0])
    eased = key_fit.between_ends(values)
    assert eased[[0, -1]] == pytest.approx([1, 3]) and eased[2] == pytest.approx(2)
    assert (np.diff(eased) > 0).all() and np.diff(eased)[0] < np.diff(eased)[1]


def test_delayed_values_wait_at_the_first_one() -> None:
    values = np.array([0.0, 1.0, 4.0, 9.0, 16.0])
    assert key_fit.delayed(values, 2) == pytest.approx([0, 0, 0, 1, 4])
    assert key_fit.delayed(values, 0.5) == pytest.approx([0, 0.5, 2.5, 6.5, 12.5])


@pytest.mark.parametrize(("frames", "moves", "by", "expected"), [
    ((1, 10, 20, 40), (False, True, True, False), 3, (1, 13, 23, 40)),
    ((1, 10, 20, 22), (False, True, True, False), 3, None),     # would pass the key that stays
    ((1, 10, 20, 23), (False, True, True, False), 3, None),     # would stand on it
    ((1, 10, 20, 24), (False, True, True, False), 3, (1, 13, 23, 24)),
    ((10, 10.5, 20), (True, True, False), 2, (12, 12.5, 20)),   # no nearer than they were
])
def test_keys_come_later_where_there_is_room(frames, moves, by, expected) -> None:  # type: ignore[no-untyped-def]
    got = key_fit.later(np.array(frames, float), np.array(moves), by)
    assert got is None if expected is None else got == pytest.approx(np.array(expected, float))
