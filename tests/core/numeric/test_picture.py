# SPDX-License-Identifier: GPL-3.0-or-later
"""What covers a point in one frame's picture, where a thing lies behind the camera in part."""

from typing import Any

import numpy as np
import pytest
from plumbline.core.numeric.picture import Picture
from plumbline.core.numeric.topology import topology

WINDOW = np.array([0.0, 0.0, 200.0, 200.0])


@pytest.fixture
def picture() -> Picture:
    """Two plates of two triangles; a corner of the second lies behind the camera, which leaves one triangle of it."""
    corners = np.array([[10.0, 10.0], [90.0, 10.0], [90.0, 90.0], [10.0, 90.0]])
    top = topology(np.array([[0, 1, 2], [0, 2, 3]]), np.arange(4))
    view: Any = None  # only asked where places are projected

    def read(thing: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        x, y = corners[top.vertices].T.copy()
        if thing == 1:
            x[3] = y[3] = np.nan
        return x, y, np.ones(4)

    return Picture(view, [top, top], read)


@pytest.mark.parametrize(("thing", "expected"), [(0, [True, True, False]), (1, [True, False, False])])
def test_points_are_covered_by_what_is_before_the_camera(picture: Picture, thing: int, expected: list[bool]) -> None:
    points = np.array([[70.0, 30.0], [30.0, 70.0], [150.0, 50.0]])
    assert picture.covers(thing, points, WINDOW).tolist() == expected


@pytest.mark.parametrize("thing", [0, 1])
def test_no_points_are_no_error(picture: Picture, thing: int) -> None:
    """As where all samples of an outline are hidden by something else, after other places were asked for."""
    picture.covers(thing, np.array([[70.0, 30.0]]), WINDOW)
    assert picture.covers(thing, np.zeros((0, 2)), WINDOW).tolist() == []
    assert picture.nearest(np.zeros((0, 2)), [0, 1], WINDOW, 1.0).tolist() == []
