# SPDX-License-Identifier: GPL-3.0-or-later
"""The timing chart against known keys: moves, holds, moving holds, poses, the still tail, what was not animated."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.chart import HOLD, MOVE, MOVING_HOLD, POSE, Chart, Row, Stretch, chart, spoken
from plumbline.core.measures.turn import lever
from plumbline.core.need import Need
from plumbline.core.numeric import rotation as rot
from plumbline.core.shot import Shot, with_character
from plumbline.core.study import Study
from plumbline.core.testing import edit
from plumbline.core.testing.posing import pose_to_pose
from plumbline.core.testing.puppet import act

Array = np.ndarray
X = np.array([1.0, 0, 0])


def charted(shot: Shot) -> Chart:
    found = Study(shot).of(chart, shot.characters[0])
    assert isinstance(found, Chart)
    return found


def row(found: Chart, part: str, signal: str = "turn") -> Row:
    (one,) = [r for r in found.rows if (r.part, r.signal) == (part, signal)]
    return one


def turning(ways: dict[str, Array], fps: float = 24.0) -> Shot:
    count = len(next(iter(ways.values())))
    return act({p: rot.exp(np.outer(way, X)) for p, way in ways.items()}, np.zeros((count, 3)), fps)


def eased(count: int, first: int, last: int) -> Array:
    s = np.clip((np.arange(count) - first) / (last - first), 0, 1)
    return np.asarray(s**2 * (3 - 2 * s))


def told(one: Row) -> list[tuple[str, int, int]]:
    return [(s.kind, s.first, s.last) for s in one.stretches]


def test_starts_and_stops_are_those_of_the_keys() -> None:
    """Moves of 6 to 14 frames with holds of 8 to 21 between them, keyed part by part as Blender eases them."""
    rng = np.random.default_rng(11)
    asked = starts = stops = extra = 0
    for _ in range(4):
        parts = ("chest", "head", "upper_arm.L", "forearm.L", "upper_arm.R", "forearm.R")
        keyed = {part: pose_to_pose(rng, 24.0, 40.0) for part in parts}
        count = max(len(way) for way, _ in keyed.values())
        ways = {part: np.append(way, np.full(count - len(way), way[-1])) for part, (way, _) in keyed.items()}
        found = charted(turning(ways))
        for part, (way, known) in keyed.items():
            moves = row(found, part).of(MOVE)
            # slower ones are moving holds: peak of an eased move against the least speed of a move
            fast = [k for k in known if abs(way[k[1]] - way[k[0]]) * lever(part) * 24 / (k[1] - k[0]) * 1.5 > 0.3]
            asked += len(fast)
            starts += len({a + 1 for a, _ in fast} & {m.first for m in moves})
            stops += len({b + 1 for _, b in fast} & {m.last for m in moves})
            extra += sum((m.first - 1, m.last - 1) not in known for m in moves)
    assert asked >= 380, asked
    assert starts >= 0.95 * asked and stops >= 0.95 * asked and extra <= 0.02 * asked, (asked, starts, stops, extra)


@pytest.mark.parametrize("fps", [24.0, 25.0, 30.0, 60.0])
def test_moves_and_holds_fill_the_shot_with_their_lengths(fps: float) -> None:
    k = round(fps / 24)
    count = 72 * k + 1
    way = 1.2 * (eased(count, 10 * k, 20 * k) - eased(count, 40 * k, 52 * k))
    found = charted(turning({"upper_arm.L": way}, fps))
    one = row(found, "upper_arm.L")
    assert told(one) == [(HOLD, 1, 10 * k + 1), (MOVE, 10 * k + 1, 20 * k + 1), (HOLD, 20 * k + 1, 40 * k + 1),
                         (MOVE, 40 * k + 1, 52 * k + 1), (HOLD, 52 * k + 1, count)]
    assert [s.frames for s in one.stretches] == [10 * k, 10 * k, 20 * k, 12 * k, 20 * k]
    assert (found.tail, found.ends, found.step) == (20 * k, ("upper_arm.L",), 1)


def test_a_hold_that_is_kept_alive_is_a_moving_one() -> None:
    drift = 0.12 * eased(73, 20, 60)
    held = row(charted(turning({"upper_arm.L": 1.2 * eased(73, 8, 20)})), "upper_arm.L")
    alive = row(charted(turning({"upper_arm.L": 1.2 * eased(73, 8, 20) + drift})), "upper_arm.L")
    assert [s.kind for s in held.stretches] == [HOLD, MOVE, HOLD]
    assert [s.kind for s in alive.stretches] == [HOLD, MOVE, MOVING_HOLD]


def test_scene_frames_and_the_shots_own_count() -> None:
    shot = turning({"head": 1.2 * eased(73, 30, 40)})
    late = replace(shot, frames=shot.frames + 100, first=111, last=160)
    found = charted(late)
    assert told(row(found, "head")) == [(HOLD, 111, 131), (MOVE, 131, 141), (HOLD, 141, 160)]
    assert [found.own(f) for f in (111, 131, 160)] == [1, 21, 50] and found.tail == 19


def test_a_margin_around_the_range_shows_no_move_outside_it() -> None:
    shot = turning({"head": 1.2 * (eased(73, 10, 20) - eased(73, 50, 60))})
    found = charted(replace(shot, first=30, last=45))
    assert told(row(found, "head")) == [(HOLD, 30, 45)]
    assert (found.ends, found.tail) == ((), 15)


def test_paths_of_pelvis_and_goals_have_rows_of_their_own() -> None:
    travel = np.zeros((73, 3))
    travel[:, 1] = -0.8 * eased(73, 24, 48)
    shot = act({}, travel)
    who = edit.with_goals(shot.characters[0], ("leg.L",))
    found = charted(with_character(shot, who, who))
    assert told(row(found, "pelvis", "path")) == [(HOLD, 1, 25), (MOVE, 25, 49), (HOLD, 49, 73)]
    assert told(row(found, "foot.L", "goal")) == told(row(found, "pelvis", "path"))
    assert spoken(row(found, "foot.L", "goal")) == "goal of the left foot"
    assert [r.part for r in found.rows] == ["pelvis", "foot.L"]


def test_poses_that_stand_are_charted_with_what_each_is_shown_for() -> None:
    at = np.array([0, 12, 18, 30, 48])
    way = np.array([0.0, 0.5, 0.2, 0.9, 0.4])[np.searchsorted(at, np.arange(60), side="right") - 1]
    found = charted(turning({"head": way, "upper_arm.L": way}))
    assert found.step == -1
    assert told(row(found, "head")) == [(POSE, 1, 12), (POSE, 13, 18), (POSE, 19, 30), (POSE, 31, 48), (POSE, 49, 60)]
    assert [s.frames for s in row(found, "head").stretches] == [12, 6, 12, 18, 12]
    assert found.tail == 11 and set(found.ends) == {"head", "upper_arm.L"}


def test_on_twos_lengths_are_frames_between_drawings() -> None:
    way = 1.2 * eased(73, 10, 30)[np.arange(73) // 2 * 2]
    alive = 0.05 * np.sin(9 * (np.arange(73) // 2 * 2) / 24)
    found = charted(turning({"upper_arm.L": way, "head": alive}))
    assert found.step == 2 and row(found, "upper_arm.L").step == 2
    assert told(row(found, "upper_arm.L"))[1] == (MOVE, 11, 31)


def test_what_never_turns_or_is_held_while_it_is_carried_is_told() -> None:
    t = np.arange(97) / 24
    swing = 0.4 * np.sin(5 * t)
    ways = {"upper_arm.L": swing, "forearm.L": np.where(t < 0.4, swing, swing[9]), "chest": swing}
    found = charted(turning(ways))
    assert "forearm.L" in found.dead and "hand.L" in found.still and "hand.L" not in found.dead
    assert "upper_arm.L" not in found.dead
    resting = charted(turning({"upper_arm.L": np.where(t < 0.4, swing, swing[9])}))
    assert resting.dead == (), "what nothing carries may rest"


def test_without_turns_only_paths_are_charted_and_that_is_said() -> None:
    travel = np.zeros((73, 3))
    travel[:, 1] = -0.8 * eased(73, 24, 48)
    found = charted(act({"head": rot.exp(np.outer(eased(73, 5, 9), X))}, travel).only(Need.JOINTS))
    assert [(r.part, r.signal) for r in found.rows] == [("pelvis", "path")] and "only paths" in found.why


def test_a_shot_in_which_nothing_moves_and_one_of_a_frame() -> None:
    for count in (1, 2, 48):
        found = charted(act({}, np.zeros((count, 3))))
        assert found.rows == () and found.ends == () and found.dead == ()


def test_a_stretch_counts_frames() -> None:
    assert Stretch(MOVE, 10, 18).frames == 8 and Stretch(POSE, 10, 18).frames == 9
