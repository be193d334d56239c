# SPDX-License-Identifier: GPL-3.0-or-later
"""The base of support: its points, what is outside of it, what is held; the same at every rate."""
import numpy as np
import pytest
from plumbline.core.measures.mass_motion import mass_motion
from plumbline.core.measures.outside import outsides
from plumbline.core.measures.pelvis_path import mended_path
from plumbline.core.measures.support import HOLD, _held, _near, _surrounded, base
from plumbline.core.numeric.hull import smallest_norm
from plumbline.core.study import Study
from plumbline.core.testing import edit
from plumbline.core.testing.jumps import jump
from plumbline.core.testing.pivot_walk import walk


def test_surrounded_is_what_has_its_nearest_point_at_zero():
    rng = np.random.default_rng(3)
    points, there = rng.normal(0.4, 0.6, (4000, 9, 2)), rng.random((4000, 9)) < 0.5
    inside = (smallest_norm(points, there) == 0).all(1)
    found = _surrounded(points, there)
    assert (found == inside).all() and 0.1 < inside.mean() < 0.9


@pytest.mark.parametrize("rate", (24.0, 25.0, 30.0, 60.0, 120.0))
def test_the_same_bump_is_held_alike_at_every_rate(rate):
    t = np.arange(0, 2, 1 / rate)
    for phase in (0.0, 0.3, 0.7):
        level = np.cos(np.clip((t - 1 - phase / rate) * np.pi / 0.5, -np.pi / 2, np.pi / 2))
        assert _held(level, HOLD * rate).max() == pytest.approx(np.cos(HOLD / 2 * np.pi / 0.5), abs=0.06)


def test_a_point_stands_on_a_while_where_it_stood():
    down = np.array([[False], [True], [False], [False], [False]])
    places = np.arange(5.0)[:, None, None] * np.ones((5, 1, 2))
    there, corners = _near(down, places, 2, np.array([0.5, 0.0]))
    assert there[:, 0].tolist() == [True, True, True, True, False]
    assert corners[:4, 0, 0].tolist() == [0.5, 1.0, 1.5, 2.0] and corners[:4, 0, 1].tolist() == [1.0] * 4


def test_a_walk_over_any_ground_is_driven():
    """On the spot as well: the belt carries the places on which it stood."""
    for in_place, most in ((False, 0.04), (True, 0.09)):        # on a belt landings show a frame or two later
        shot = walk(24.0, in_place=in_place).shot
        study = Study(shot)
        found = study.of(base, shot.characters[0])
        assert found.known.mean() > 0.6 and found.held.max() < most
        assert not study.of(outsides, shot.characters[0])


def test_nothing_is_told_around_a_flight():
    shot = jump(60.0)
    found = Study(shot).of(base, shot.characters[0])
    assert not found.known[(shot.times > 0.72) & (shot.times < 1.28)].any() and found.known.any()


def test_the_mended_path_leads_the_point_inside():
    shot = jump(24.0, speed=0.2)
    along = np.clip((shot.times - 1.4) / 0.5, 0, 1)
    along = along**3 * (10 - 15 * along + 6 * along**2)
    c = edit.carry_root(shot.characters[0], along[:, None] * [0.22, 0.0, 0.0])
    shot = type(shot)(shot.name, shot.frames, shot.fps, (c,))
    study = Study(shot)
    (span,) = study.of(outsides, c)
    found, moved = study.of(base, c), study.of(mass_motion, c)
    rows, change = mended_path(study, c, found, (span.first, span.last))
    assert np.abs(change @ moved.up).max() < 1e-9 and np.abs(change).max() < 0.2
    assert np.abs(change[:2]).max() < 0.002 and np.abs(change[-2:]).max() < 0.002
    after = Study(type(shot)(shot.name, shot.frames, shot.fps, (edit.shift(c, np.zeros(3)),)))
    assert after.of(outsides, after.shot.characters[0]), "what is moved by nothing is as it was"
    moved_too = np.zeros((shot.count, 3))
    moved_too[rows] = change / 0.85
    mended = edit.carry_root(c, moved_too)
    again = Study(type(shot)(shot.name, shot.frames, shot.fps, (mended,)))
    assert not again.of(outsides, mended)
