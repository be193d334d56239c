# SPDX-License-Identifier: GPL-3.0-or-later
"""The recipes that checks are compared with find what they were made for on a bare path, and nothing on a clean one."""

import numpy as np
import pytest
from plumbline.core.measures.ticks import Row
from plumbline.core.numeric.rotation import about

from .first_recipes import RECIPES

N, AT, STEP = 60, 30, 0.04


def path() -> np.ndarray:
    """A gentle arc, legs, 24 places a second."""
    angle = np.linspace(0, 0.8, N)
    return np.cumsum(STEP * np.stack([np.cos(angle), np.sin(angle), 0 * angle], -1), axis=0)


def broken(check: str) -> np.ndarray:
    places = path()
    if check == "jitter":
        places[AT : AT + 8, 2] += 0.02 * (-1.0) ** np.arange(8)
    elif check == "uneven-spacing":
        places[AT] += 0.6 * (places[AT + 1] - places[AT])
    else:
        turn = about(np.array([0.0, 0, 1]), np.radians(60))
        places[AT:] = places[AT] + (places[AT:] - places[AT]) @ turn.T
    return places


@pytest.mark.parametrize("check", RECIPES)
def test_each_finds_its_own_fault_and_no_clean_path(check: str) -> None:
    at = RECIPES[check](Row(0, 1, broken(check)[None], 24.0), 0)
    assert len(at) and (np.abs(at - AT) <= (9 if check == "jitter" else 1)).all()
    assert not len(RECIPES[check](Row(0, 1, path()[None], 24.0), 0))
