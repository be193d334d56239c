# SPDX-License-Identifier: GPL-3.0-or-later
"""The proof, a few frames that are looked at, catches what moves otherwise than its keys say."""

from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.sampling import curves

from .watching import Watch, same, stepped


@pytest.mark.parametrize("off", [2e-4, -0.02])
def test_the_proof_catches_a_wrong_curve(
    scene: Any, rig: Any, watch: Watch, monkeypatch: pytest.MonkeyPatch, off: float
) -> None:
    good = stepped(scene)
    evaluate = curves.evaluate_channels

    def wrong(keys: Any, channels: np.ndarray, frames: np.ndarray, extrapolation: str) -> np.ndarray:
        out = evaluate(keys, channels, frames, extrapolation)
        for row, channel in enumerate(channels.tolist()):
            if keys.channels[channel].bone == "thigh.L" and keys.channels[channel].index == 1:
                out[row] += off
        return out

    monkeypatch.setattr(curves, "evaluate_channels", wrong)
    shot = watch.sweep(scene)
    assert watch.reasons == {"Keeper": "moves otherwise than its keys say"}
    same(shot, good, atol=0)


def test_the_proof_looks_where_most_changes(
    scene: Any, rig: Any, watch: Watch, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A curve that is wrong on one frame alone: it jumps there, so the proof looks there."""
    good = stepped(scene)
    evaluate = curves.evaluate_channels

    def wrong(keys: Any, channels: np.ndarray, frames: np.ndarray, extrapolation: str) -> np.ndarray:
        out = evaluate(keys, channels, frames, extrapolation)
        out[[keys.channels[c].bone == "pelvis" for c in channels.tolist()], 21] += 0.3
        return out

    monkeypatch.setattr(curves, "evaluate_channels", wrong)
    shot = watch.sweep(scene)
    assert watch.reasons == {"Keeper": "moves otherwise than its keys say"}
    same(shot, good, atol=0)


def test_a_handler_that_moves_the_figure_is_caught(scene: Any, rig: Any, watch: Watch) -> None:
    def move(scene: Any, *_: Any) -> None:
        rig.pose.bones["toe.L"].location.x = 0.01 * scene.frame_current

    bpy.app.handlers.frame_change_pre.append(move)
    try:
        shot = watch.sweep(scene)
        assert watch.reasons == {"Keeper": "moves otherwise than its keys say"}
        same(shot, stepped(scene), atol=0)
    finally:
        bpy.app.handlers.frame_change_pre.remove(move)
