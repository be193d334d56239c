# SPDX-License-Identifier: GPL-3.0-or-later
"""What carries the body: seats, hands on tables, raised feet, and how the weight is shared."""
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.measures.footfalls import footfalls
from plumbline.core.measures.mass_motion import mass_motion
from plumbline.core.measures.supports import supports
from plumbline.core.shot import Surface
from plumbline.core.study import Study
from plumbline.core.testing import cost, edit, pivot_turns
from plumbline.core.testing.pivot_walk import smooth, walk
from plumbline.core.testing.puppet import act

FPS = 30.0
DOWN, UP = 1.5, 3.5      # s: the seat is reached, and left


def _of(shot):
    return Study(shot).of(supports, shot.characters[0])


def _lowered(back, low, seconds=5.0, fps=FPS):
    """A figure that goes down between feet that stay, and up again: ``back`` and ``low`` m."""
    t = np.arange(int(seconds * fps) + 1) / fps
    # hips meet a seat at some speed, and leave it so
    share = np.clip((t - DOWN + 0.8) / 0.8, 0, 1) ** 1.5 * (1 - smooth((t - UP) / 0.8))
    share = np.where(t < UP, share, 1 - np.clip((t - UP) / 0.8, 0, 1) ** 1.5)
    shot = act({}, np.stack([0 * t, back * share, -low * share], 1), fps)
    c = shot.characters[0]
    for side in "LR":
        c = edit.reach(c, f"leg.{side}", np.tile(c.rest_head(f"foot.{side}"), (len(t), 1)))
    return replace(shot, characters=(c,))


def _top(height, middle=(0.0, 0.45), half=0.25, name="Bench"):
    x, y = middle
    a, b, c, d = ([x + half * i, y + half * j, height] for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1)))
    return Surface(name, "marked", np.array([[a, b, c], [a, c, d]]), np.eye(4)[None])


FLOOR = Surface("Floor", "marked", 9 * np.array([[[-1.0, -1, 0], [1, -1, 0], [1, 1, 0]],
                                                  [[-1, -1, 0], [1, 1, 0], [-1, 1, 0]]]), np.eye(4)[None])


@pytest.mark.parametrize("bench", (True, False))
@pytest.mark.parametrize("fps", (24.0, 30.0, 60.0))
def test_a_sit_on_a_bench_and_on_one_that_no_mesh_shows(bench, fps):
    shot = _lowered(0.42, 0.42, fps=fps)
    if bench:
        shot = replace(shot, surfaces=(FLOOR, _top(0.40)))
    found = _of(shot)
    seats = [s for s in found.found if s.part == "seat"]
    assert len(seats) == 1 and seats[0].assumed is not bench
    np.testing.assert_allclose([seats[0].span.on / fps, seats[0].span.off / fps], [DOWN, UP], atol=0.1)
    middle = round((DOWN + UP) / 2 * fps)
    k = found.parts.index("seat")
    assert found.load[k, middle] > 0.25 and not found.touches[k, round(0.5 * fps)]
    for foot in ("foot.L", "foot.R"):
        feet = [s for s in found.found if s.part == foot]
        # it goes on touching, and bears little while the seat does
        assert [(s.span.on, s.span.off) for s in feet] == [(None, None)]
        load = found.load[found.parts.index(foot)]
        assert load[middle] < 0.4 < load[round(0.5 * fps)]


def test_a_squat_is_no_seat():
    found = _of(_lowered(0.04, 0.40))
    assert {s.part for s in found.found} == {"foot.L", "foot.R"}
    assert found.bearing("foot.L").all()


def test_a_raised_foot_is_no_support_and_the_other_bears_all():
    made = pivot_turns.raised(FPS)
    shot = made.shot
    # the body over the right foot, as people do
    t = shot.times
    aside = -0.05 * smooth((t - 0.4) / 0.5) * (1 - smooth((t - 4.1) / 0.5))
    c = edit.carry_root(shot.characters[0], np.stack([aside, 0 * t, 0 * t], 1))
    found = _of(replace(shot, characters=(c,)))
    left = [(s.span.on, s.span.off) for s in found.found if s.part == "foot.L"]
    assert len(left) == 2 and left[0][0] is None and left[1][1] is None
    k = found.parts.index("foot.R")
    np.testing.assert_allclose(found.load[k, round(2.5 * FPS)], 1.0, atol=0.02)
    assert 0.3 < found.load[k, round(0.2 * FPS)] < 0.7


def test_a_foot_on_a_box_is_a_support():
    made = pivot_turns.raised(FPS)
    box = _top(0.3, (0.05, -0.17), 0.2, "Box")
    found = _of(replace(made.shot, surfaces=(FLOOR, box)))
    left = [s for s in found.found if s.part == "foot.L"]
    assert len(left) == 3
    np.testing.assert_allclose([left[1].span.on / FPS, left[1].span.off / FPS], [1.5, 3.5], atol=0.033)


def test_a_hand_on_a_table_bears_what_the_lean_puts_on_it():
    t = np.arange(121) / FPS
    lean = 0.25 * smooth((t - 0.5) / 1.0)
    shot = act({}, np.stack([0 * t, -lean, -0.02 * lean], 1), FPS)
    c = shot.characters[0]
    for side in "LR":
        c = edit.reach(c, f"leg.{side}", np.tile(c.rest_head(f"foot.{side}"), (len(t), 1)))
    place = np.tile([-0.23, -0.45, 1.2], (len(t), 1)) + smooth((t - 0.9) / 0.4)[:, None] * [0, 0, -0.21]
    c = edit.reach(c, "arm.R", place)
    found = _of(replace(shot, characters=(c,), surfaces=(FLOOR, _top(0.82, (-0.23, -0.65), 0.3, "Table"))))
    hands = [s for s in found.found if s.part == "hand.R"]
    assert len(hands) == 1 and hands[0].span.off is None and 0.5 < hands[0].span.on / FPS < 1.4
    k = found.parts.index("hand.R")
    assert not [s for s in found.found if s.part == "hand.L"]
    late = slice(round(2.0 * FPS), round(3.5 * FPS))
    assert (found.load[k, late] > 0.08).all()


def test_loads_sum_to_the_bodys_vertical_force():
    found = _of(walk(FPS).shot)
    total = found.load.sum(0)
    down = found.touches.any(0) & np.isfinite(total)
    assert down.sum() > 100
    assert 0.6 < total[down].min() < total[down].max() < 1.5


def test_cost_of_the_whole_contact_model():
    """Against what the body's motion costs, on which forces stand; what footfalls stand on is its own."""
    shot = walk(24.0, seconds=42.0).shot
    c = shot.characters[0]
    under = cost.seconds(lambda: [study.of(used, c) for study in [Study(shot)] for used in footfalls.uses])
    body = cost.seconds(lambda: Study(shot).of(mass_motion, c))
    assert cost.seconds(lambda: Study(shot).of(supports, c)) < under + 4.0 * body


def _rows(c, rows):
    return replace(c, heads=c.heads[rows], tails=c.tails[rows], axes=c.axes[rows], twist_axes=c.twist_axes[rows],
                   scale=c.scale[rows])


def _parts(c, keep):
    rows = [i for i, p in enumerate(c.parts) if keep(p)]
    return replace(c, parts=tuple(c.parts[i] for i in rows), bones=tuple(c.bones[i] for i in rows),
                   heads=c.heads[:, rows], tails=c.tails[:, rows], axes=c.axes[:, rows],
                   twist_axes=c.twist_axes[:, rows], rest_heads=c.rest_heads[rows], rest_tails=c.rest_tails[rows],
                   rest_axes=c.rest_axes[rows])


@pytest.mark.parametrize("count", (1, 2, 3, 4))
def test_shots_of_a_few_frames(count):
    shot = walk(FPS).shot
    found = _of(replace(shot, frames=shot.frames[:count], last=None,
                        characters=(_rows(shot.characters[0], slice(count)),)))
    assert found.touches.shape == (len(found.parts), count) and found.place.shape == (count, len(found.parts), 3)


@pytest.mark.parametrize("keep", (lambda p: p[:3] not in ("foo", "toe"), lambda p: p[:3] in ("foo", "shi", "thi"),
                                  lambda p: p == "pelvis"))
def test_figures_that_lack_parts(keep):
    shot = walk(FPS).shot
    found = _of(replace(shot, characters=(_parts(shot.characters[0], keep),)))
    assert len(found.found) == sum(s.part in found.parts for s in found.found)


def test_without_gravity_nothing_is_said_to_bear_less():
    shot = replace(walk(FPS).shot, gravity=np.zeros(3))
    found = _of(shot)
    assert len(found.found) >= 8 and all(s.bears for s in found.found)


def test_declared_needs_suffice():
    shot = replace(_lowered(0.42, 0.42), surfaces=(FLOOR, _top(0.40)))
    whole, bare = _of(shot), _of(shot.only(supports.needs()))
    assert whole.found == bare.found
    np.testing.assert_array_equal(whole.load, bare.load)


def test_poses_without_motion_between_them():
    shot = walk(FPS).shot
    found = _of(replace(shot, characters=(_rows(shot.characters[0], np.arange(shot.count) // 9 * 9),)))
    assert np.isnan(found.point).all()
