# SPDX-License-Identifier: GPL-3.0-or-later
"""Paths as marks: a tick for each frame, shaded by speed in space, and where an offending frame should land."""

import numpy as np
import pytest
from plumbline.core import marks
from plumbline.core.evidence import Polyline, places
from plumbline.core.numeric.camera import View
from plumbline.core.palette import KEY, LANE_COLORS, PAPER
from plumbline.core.testing.cost import seconds

LANE = LANE_COLORS["Arcs"]
#: Looks along -Y, a meter is 100 pixels.
FRONT = View(np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]]), np.array([0.0, -5.0, 0.0]), 100.0,
             np.array([500.0, 400.0]), np.array([1000.0, 800.0]), True)


def frame_at(number: int) -> marks.Frame:
    return marks.Frame(FRONT, number, (1000, 800))


def path_of(steps: list[tuple[float, float, float]], role: str = "found") -> Polyline:
    path = np.cumsum(np.array([(0.0, 0.0, 0.0), *steps]), axis=0)
    return Polyline(role, (10, 10 + len(steps)), places(path), ticks=True, dashed=role != "found")


def ticks(shape: Polyline) -> list[marks.Mark]:
    """The ticks alone, without their dark edges: lines of two ends."""
    found = [m for m in marks.shape_marks([shape], LANE, frame_at(12)) if m.width == pytest.approx(1.5)]
    return [m for m in found if all(len(line) == 2 for line in m.lines)] if shape.role == "found" else found


def test_each_frame_has_one_tick_and_a_faster_one_is_brighter() -> None:
    slow, fast = (0.02, 0.0, 0.0), (0.10, 0.0, 0.0)
    shape = path_of([slow] * 4 + [fast] * 4)
    drawn = [(float(line[:, 0].mean()), sum(m.color)) for m in ticks(shape) for line in m.lines]
    assert len(drawn) == 9
    by_place = [light for _, light in sorted(drawn)]
    assert by_place == sorted(by_place) and by_place[0] < by_place[4] < by_place[-1]
    assert by_place[-1] == pytest.approx(sum(LANE)) and by_place[0] > sum(KEY)


def test_speed_is_told_in_space_not_in_the_picture() -> None:
    """A path toward the viewer hardly moves in the picture."""
    path = np.cumsum(np.array([(0.0, 0.0, 0.0), *[(0.001, 0.1, 0.0)] * 3, *[(0.02, 0.0, 0.0)] * 3]), axis=0)
    shades = marks.speed_shades(path)
    assert shades[0] == shades[2] == shades.max() and shades[-1] < shades[0]


def test_a_path_that_stands_has_ticks_of_the_slowest_shade() -> None:
    assert marks.speed_shades(np.zeros((5, 3))).tolist() == [0] * 5


def test_what_the_path_is_held_against_stays_white() -> None:
    shape = path_of([(0.02, 0, 0)] * 3 + [(0.2, 0, 0)] * 3, "held_against")
    assert {m.color for m in marks.shape_marks([shape], LANE, frame_at(12))} == {PAPER, KEY}


def test_twenty_paths_of_five_hundred_frames_are_laid_out_sixty_times_a_second() -> None:
    wave = np.linspace(0, 60, 500)
    path = np.stack([np.sin(wave), np.cos(wave / 3), np.sin(wave / 7)], axis=1)
    shapes = [Polyline("found", (1, 500), places(path + k / 20), ticks=True) for k in range(20)]
    frame = frame_at(250)
    assert seconds(lambda: marks.shape_marks(shapes, LANE, frame)) < 1 / 60
