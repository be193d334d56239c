# SPDX-License-Identifier: GPL-3.0-or-later
"""Re-timing: same ends, same poses, speeds that meet those outside."""
import numpy as np
import pytest
from plumbline.core.numeric.ease import EASED, ease_places, ease_rotations, eased_time, end_speeds
from plumbline.core.numeric.rotation import exp, log, relative

X, Y, _ = np.eye(3)


@pytest.mark.parametrize("speeds", ((0, 0), (1, 1), (3, 3), (0, 2.5), (9, 9)))
def test_time_never_runs_back_and_keeps_its_ends(speeds) -> None:
    t = eased_time(200, *speeds)
    assert t[0] == 0 and t[-1] == pytest.approx(200) and np.diff(t).min() > -1e-9
    assert np.diff(t)[0] == pytest.approx(min(speeds[0], 3), abs=0.05)


def test_ends_take_the_speed_outside_only_its_own_way() -> None:
    def steps(before, after):
        return np.array([before, *[X] * 8, after])
    assert end_speeds(steps(0.5 * X, 0 * X), 1, 9) == pytest.approx((0.5, 0.0))
    assert end_speeds(steps(-X, Y), 1, 9) == (0.0, 0.0)
    assert end_speeds(steps(0 * X, 0 * X), 1, 9, ease_out=False) == (0.0, 1.0)
    assert end_speeds(steps(X, X), 1, 9) == (EASED, EASED), "an ease that changes nothing is none"
    assert end_speeds(np.array([X] * 9), 0, 9) == (1.0, 1.0)


def test_places_and_rotations_keep_first_and_last_pose_and_all_outside() -> None:
    way = np.clip(np.arange(30.0) - 8, 0, 12)
    for moved, old in ((ease_places(np.outer(way, X), 8, 20), np.outer(way, X)),
                       (ease_rotations(exp(np.outer(way * 0.1, Y)), 8, 20), exp(np.outer(way * 0.1, Y)))):
        outside = np.r_[0:9, 20:30]
        assert np.allclose(moved[outside], old[outside])
        assert np.abs(moved - old)[9:20].max() > 0.05


def test_rotations_stay_on_their_own_path() -> None:
    turns = exp(np.outer(np.clip(np.arange(30.0) - 8, 0, 12) * 0.1, Y))
    steps = log(relative(ease_rotations(turns, 8, 20)[:-1], ease_rotations(turns, 8, 20)[1:]))
    assert np.abs(steps[:, [0, 2]]).max() < 1e-12 and steps[:, 1].min() > -1e-12
    assert steps[8, 1] < 0.04 < 0.14 < steps[:, 1].max()


def test_what_turns_off_beyond_an_end_sets_out_from_it_softly() -> None:
    """Even to sample 20, then square to that: nothing is left of the corner but the turn."""
    legs = np.concatenate([np.full((21, 3), 0.1 * Y), np.full((19, 3), 0.15 * X)])
    turns = [np.eye(3)]
    for leg in legs[1:]:
        turns.append(turns[-1] @ exp(leg[None])[0])
    old = np.array(turns)
    moved = ease_rotations(old, 8, 20, beyond=6)
    speed = np.linalg.norm(log(relative(moved[:-1], moved[1:])), axis=-1)
    assert speed[19] < 0.03 and speed[20] < 0.06 and speed[20] < speed[21] < speed[22]
    assert np.allclose(moved[26:], old[26:]) and np.allclose(moved[20], old[20]) and np.allclose(moved[:9], old[:9])
    assert np.allclose(ease_rotations(old, 8, 20)[20:], old[20:])
    on = exp(np.outer(np.arange(40) * 0.1, Y))                # straight on: nothing to set out from
    assert np.allclose(ease_rotations(on, 8, 20, beyond=6)[20:], on[20:])
