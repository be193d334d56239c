# SPDX-License-Identifier: GPL-3.0-or-later
"""Moves and stops of known keys, to the frame, at every rate; closed forms; twos; noise; overshoot and settle."""
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.measures.moves import Moves, moves, settle, stride_of
from plumbline.core.measures.paths import paths, where
from plumbline.core.measures.turn import Motion, lever, turn
from plumbline.core.numeric import rotation as rot
from plumbline.core.shot import Shot, with_character
from plumbline.core.study import Study
from plumbline.core.testing.posing import pose_to_pose
from plumbline.core.testing.puppet import act

Array = np.ndarray
RATES = (24.0, 25.0, 30000 / 1001, 30.0, 60.0)
X = np.array([1.0, 0, 0])


def measured(shot: Shot) -> tuple[Moves, Study]:
    study = Study(shot)
    return study.of(moves, shot.characters[0]), study


def turning(part: str, way: Array, fps: float = 24.0) -> Shot:
    return act({part: rot.exp(np.outer(way, X))}, np.zeros((len(way), 3)), fps)


@pytest.mark.parametrize("fps", RATES)
def test_moves_of_known_keys_begin_and_stop_on_their_own_frames(fps: float) -> None:
    rng = np.random.default_rng(7)
    right = asked = extra = 0
    for part, end in (("upper_arm.L", "forearm.L"), ("head", "head"), ("chest", "chest"), ("thigh.R", "thigh.R")):
        way, known = pose_to_pose(rng, fps, 40.0)
        found, _ = measured(turning(part, way, fps))
        for kind, seen in (("turn", part), ("path", end)):
            told = [(m.first, m.last) for m in found.of(seen, kind)]
            fast = [k for k in known if abs(way[k[1]] - way[k[0]]) * lever(part) * fps / (k[1] - k[0]) * 1.5 > 0.3]
            asked += len(fast)
            right += len(set(fast) & set(told))
            extra += len(set(told) - set(known))
            assert all(m.rises and m.stops for m in found.of(seen, kind))
    assert asked > 150 and right >= 0.95 * asked and extra <= 0.02 * asked, (asked, right, extra)


@pytest.mark.parametrize("fps", [24.0, 30.0, 60.0])
def test_under_a_millimeter_of_noise_stops_stay_within_a_frame_of_24(fps: float) -> None:
    rng = np.random.default_rng(3)
    near = asked = 0
    for _ in range(3):
        way, known = pose_to_pose(rng, fps, 30.0)
        shot = turning("upper_arm.L", 1.5 * way, fps)
        who = shot.characters[0]
        shaken = replace(who, heads=who.heads + rng.normal(0, 0.0005, who.heads.shape))
        found, _ = measured(with_character(shot, who, shaken))
        stops = np.array([m.last for m in found.of("forearm.L", "path") if m.stops])
        asked += len(known)
        near += sum(bool((np.abs(stops - b) <= fps / 24 + 1e-9).any()) for _, b in known)
    assert near >= 0.95 * asked, (near, asked)


@pytest.mark.parametrize("fps", [24.0, 60.0])
@pytest.mark.parametrize("shape, ratio", [
    (lambda s: s**3 * (10 - 15 * s + 6 * s**2), 1.875), (lambda s: (1 - np.cos(np.pi * s)) / 2, np.pi / 2),
    (lambda s: s, 1.0)])
def test_peak_to_mean_of_closed_forms(fps: float, shape, ratio: float) -> None:
    t = np.arange(round(3 * fps) + 1) / fps
    found, _ = measured(turning("upper_arm.R", 1.4 * shape(np.clip(t - 1, 0, 1)), fps))
    for part, kind in (("upper_arm.R", "turn"), ("forearm.R", "path")):
        move, = found.of(part, kind)
        # the middle steps of an even count straddle the peak
        assert move.ratio == pytest.approx(ratio, rel=0.006)
        assert (move.first, move.last) == (round(fps), round(2 * fps))


def test_travel_is_the_lever_times_the_angle_or_the_length_of_the_path() -> None:
    t = np.arange(73) / 24
    shot = turning("upper_arm.L", 0.8 * np.clip(t - 1, 0, 1), 24.0)
    found, study = measured(shot)
    who = shot.characters[0]
    assert found.of("upper_arm.L")[0].travel == pytest.approx(0.8 * lever("upper_arm.L"), rel=1e-6)
    wrist = where(who, "forearm.L")
    length = np.linalg.norm(np.diff(wrist, axis=0), axis=1).sum() / who.leg_length
    assert found.of("forearm.L", "path")[0].travel == pytest.approx(length, rel=1e-6)
    carried: Motion = study.of(paths, who)
    still = carried.of("pelvis", "path")
    assert still is not None and still.speed.max() == 0 and found.of("pelvis", "path") == ()


def test_on_twos_moves_are_told_by_the_drawings() -> None:
    t = np.arange(97) // 2 * 2 / 24
    way = np.clip(t - 1, 0, 1)
    shot = turning("upper_arm.L", 1.2 * way**2 * (3 - 2 * way), 24.0)
    who = shot.characters[0]
    alive = rot.exp(np.outer(0.05 * np.sin(9 * t), [0, 0, 1.0]))         # a hold has no exposure of its own
    shot = act({"upper_arm.L": rot.exp(np.outer(1.2 * way**2 * (3 - 2 * way), X)), "head": alive},
               np.zeros((97, 3)), 24.0)
    found, study = measured(shot)
    move, = found.of("upper_arm.L")
    taken = study.of(turn, shot.characters[0]).drawings
    assert (taken[move.first], taken[move.last]) == (24, 48) and found.stride == 1
    assert who.leg_length > 0


def test_strides_bring_every_rate_to_24_to_35_a_second() -> None:
    for fps, stride in ((12, 1), (24, 1), (25, 1), (30, 1), (48, 2), (50, 2), (60, 2), (120, 5)):
        assert stride_of(np.arange(10) / fps) == stride, fps
    assert stride_of(np.zeros(1)) == 1


def test_overshoot_and_settle_are_shares_of_the_travel() -> None:
    t = np.arange(97) / 24

    def way(over: float) -> Array:
        there, back = np.clip((t - 1) / 0.4, 0, 1), np.clip((t - 1.4) / 0.2, 0, 1)
        s = there**2 * (3 - 2 * there), back**2 * (3 - 2 * back)
        return (1 + over) * s[0] - over * s[1]

    for over in (0.0, 0.04, 0.08):
        shot = turning("forearm.L", 1.5 * way(over), 24.0)
        found, study = measured(shot)
        signal = found.signal("forearm.L")
        assert signal is not None
        move = found.of("forearm.L")[0]
        # the move has arrived where it turns back, or where it goes back so slowly that it rests
        beyond, moved = settle(signal, move)
        assert beyond == pytest.approx(0.0, abs=0.012) and moved == pytest.approx(over / (1 + over), abs=0.012)
    # an arrival that goes softly on beyond its stop
    more = np.clip((t - 1.4) / 0.25, 0, 1)
    march = np.clip((t - 1) / 0.4, 0, 1)
    shot = turning("forearm.L", 1.5 * (march + 0.015 * more), 24.0)
    found, _ = measured(shot)
    signal = found.signal("forearm.L")
    assert signal is not None
    beyond, moved = settle(signal, found.of("forearm.L")[0])
    assert beyond == pytest.approx(0.015, abs=0.004) and moved == pytest.approx(beyond, rel=1e-6)


def test_a_longer_leg_changes_nothing_and_a_shot_of_one_frame_has_no_moves() -> None:
    way = np.clip(np.arange(73) / 24 - 1, 0, 1)
    small, _ = measured(turning("upper_arm.L", way))
    shot = turning("upper_arm.L", way)
    who = shot.characters[0]
    grown = replace(who, heads=2 * who.heads, tails=2 * who.tails, rest_heads=2 * who.rest_heads,
                    rest_tails=2 * who.rest_tails)
    big, _ = measured(with_character(shot, who, grown))
    for kind, part in (("turn", "upper_arm.L"), ("path", "forearm.L")):
        a, b = small.of(part, kind)[0], big.of(part, kind)[0]
        assert (a.first, a.last) == (b.first, b.last) and a.speed == pytest.approx(b.speed)
    lone, _ = measured(turning("head", np.zeros(1)))
    assert lone.of("head") == () and lone.of("head", "path") == () and lone.stride == 1
