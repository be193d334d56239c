# SPDX-License-Identifier: GPL-3.0-or-later
"""Motion from pose to pose whose keys are known: what moves, holds and stops are measured against."""

import numpy as np

from ..numeric.fcurve import BEZIER, evaluate
from ..shot import Channel, Keys

Array = np.ndarray


def clamped_curve(frames: Array, values: Array, at: Array) -> Array:
    """What Blender makes of bezier keys with auto-clamped handles: flat at the ends of holds and at extremes."""
    third = np.diff(frames, prepend=frames[0]) / 3, np.diff(frames, append=frames[-1]) / 3
    co = np.stack([frames, values], 1)
    left, right = co - np.stack([third[0], 0 * values], 1), co + np.stack([third[1], 0 * values], 1)
    n = len(frames)
    keys = Keys((Channel("rig", "act", "x", 0, "b"),), np.zeros(n, int), frames, frames, values, left, right,
                np.full(n, BEZIER), plain=(True,))
    return evaluate(keys, 0, at)


def pose_to_pose(rng: np.random.Generator, fps: float, seconds: float) -> tuple[Array, list[tuple[int, int]]]:
    """A value (F,) that moves from pose to pose in 6 to 14 frames of 24 with holds of 8 to 21, and the keys of its
    moves."""
    frames, values, known = [0], [0.0], []
    while frames[-1] < seconds * fps:
        start = frames[-1] + round(rng.integers(8, 22) * fps / 24)
        end = start + round(rng.integers(6, 15) * fps / 24)
        reached = values[-1] + rng.choice([-1, 1]) * rng.uniform(0.3, 1.2)
        frames += [start, end]
        values += [values[-1], reached]
        known.append((start, end))
    last = frames[-1] + round(fps / 2)
    return clamped_curve(np.array(frames, float), np.array(values), np.arange(last + 1.0)), known
