# SPDX-License-Identifier: GPL-3.0-or-later
"""Where each part stands on every drawing: legs, phases above 36 a second, and what is left out."""

import numpy as np
import pytest
from plumbline.core.measures.ticks import Ticks, held_paths, ticks
from plumbline.core.numeric import rotation as rot
from plumbline.core.study import Study
from plumbline.core.testing.puppet import act

X = np.eye(3)[0]


def shot(fps: float, legs: float = 1.0):
    t = np.arange(round(2 * fps) + 1) / fps
    return act({}, legs * 0.843 * np.outer(t, X), fps)


@pytest.mark.parametrize(("fps", "stride"), [(24.0, 1), (30.0, 1), (60.0, 2), (120.0, 5)])
def test_steps_are_legs_and_fast_rates_have_phases(fps: float, stride: int) -> None:
    made = shot(fps)
    known: Ticks = Study(made).of(ticks, made.characters[0])
    assert known.stride == stride and len(known.rows) == (1 if stride == 1 else 1 + stride)
    k = known.parts.index("hand.L")
    for row in known.rows:
        assert np.linalg.norm(row.steps[k], axis=-1) * row.rate == pytest.approx(1.0, rel=0.01)
        assert np.nanmax(row.sizes[k]) < 1e-9
        assert row.drawing(3) == row.phase + 3 * row.stride


def test_parts_of_another_exposure_are_left_out() -> None:
    t = np.arange(49) / 24
    held = rot.exp(np.outer(np.sin(3 * t[np.arange(49) // 2 * 2]), X))
    made = act({"forearm.L": held, "head": rot.exp(np.outer(0.2 * np.sin(4 * t), X))}, np.outer(t, X), 24.0)
    why, off = held_paths(Study(made), made.characters[0])
    assert off == frozenset({"hand.L"}) and "left forearm" in why
    assert held_paths(Study(shot(24.0)), shot(24.0).characters[0]) == ("", frozenset())
