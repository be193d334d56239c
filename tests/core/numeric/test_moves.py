# SPDX-License-Identifier: GPL-3.0-or-later
"""Moves of speeds known in closed form: their peak to mean, their ends, what belongs to one move and what does not."""
import numpy as np
import pytest
from plumbline.core.numeric.moves import moves, to_rest

Array = np.ndarray
STEP = 1 / 24


def padded(speed: Array, before: int = 6, after: int = 6) -> Array:
    return np.concatenate([np.zeros(before), speed, np.zeros(after)])


def found(speed: Array, rest: int = 3) -> list:
    return moves(speed, STEP, 0.06, 0.25, rest)


def test_a_march_has_its_peak_at_its_mean_and_hard_ends() -> None:
    move, = found(padded(np.full(10, 2.0)))
    assert (move.first, move.last, move.rises, move.stops) == (6, 16, True, True)
    assert move.ratio == pytest.approx(1.0) and move.last_share == 1.0
    assert move.travel == pytest.approx(2.0 * 10 * STEP)
    # the speed falls from all to nothing between the middles of two steps
    assert move.stop == pytest.approx(15.5 + 0.85) and move.start == pytest.approx(6.5 - 0.85)


@pytest.mark.parametrize("count", [8, 20, 200])
def test_the_time_of_a_stop_is_where_a_known_curve_passes_its_share(count: int) -> None:
    middle = (np.arange(count) + 0.5) / count
    move, = found(padded(4 * 16 * middle**2 * (1 - middle) ** 2))      # minimum jerk: 30 s^2 (1 - s)^2 over its peak
    passes = 0.5 + 0.5 * np.sqrt(1 - 4 * np.sqrt(0.15 / 16))
    assert move.stop == pytest.approx(6 + passes * count, abs=0.9 / count)
    assert move.start == pytest.approx(6 + (1 - passes) * count, abs=0.9 / count)


def test_a_lower_peak_on_the_flank_belongs_to_the_move_and_one_after_a_rest_does_not() -> None:
    rise, fall = np.linspace(0.4, 3.0, 6), np.linspace(3.0, 1.0, 5)
    flank = np.concatenate([rise, fall, [1.4, 0.9, 0.5]])
    assert len(found(padded(flank))) == 1
    two = np.concatenate([flank, [0.1, 0.05, 0.02], flank])
    assert [m.stops for m in found(padded(two))] == [True, True]
    # two frames of rest part two moves, but the first does not stop there
    short = np.concatenate([flank, [0.05, 0.02], flank])
    assert [m.stops for m in found(padded(short))] == [False, True]


def test_a_tail_under_a_tenth_of_its_peak_is_no_move_of_its_own() -> None:
    tail = np.concatenate([np.linspace(0, 8.0, 5), np.linspace(8.0, 0.7, 5), [0.7], np.linspace(0.7, 0.3, 12)])
    assert len(found(padded(tail))) == 1


def test_what_the_shot_cuts_neither_rises_nor_stops() -> None:
    move, = found(np.full(12, 1.0))
    assert (move.first, move.last, move.rises, move.stops) == (0, 12, False, False)
    assert found(np.zeros(12)) == [] and found(np.zeros(0)) == [] and found(np.full(12, 0.2)) == []


def test_an_end_is_carried_on_to_stillness_only_where_stillness_comes() -> None:
    v = [0.0, 0.0, 0.0, 0.02, 0.1, 1.0, 0.1, 0.02, 0.0, 0.0, 0.0]
    assert to_rest(v, 6, 1, 1e-3, 3, 4) == 8 and to_rest(v, 5, -1, 1e-3, 3, 4) == 3
    assert to_rest(v, 6, 1, 1e-3, 3, 1) is None                      # farther than may be looked
    assert to_rest(v[:-1], 6, 1, 1e-3, 3, 4) is None                 # the shot ends before it is told
    assert to_rest(v, 6, 1, 0.02, 3, 4) == 7
