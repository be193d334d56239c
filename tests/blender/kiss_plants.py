# SPDX-License-Identifier: GPL-3.0-or-later
"""Things brought to an outline at a gap that is set in the picture: by convex hulls of what the matrix projects that
Blender itself gives for its camera."""

from collections.abc import Callable
from typing import Any

import bpy
import numpy as np
from plumbline.core.testing.hulls import hull, signed_gap

Array = np.ndarray


def seen(scene: Any, camera: Any, points: Array) -> Array:
    """Pixels (n, 2) of a picture with a shorter side of 1080, y up, of world places (n, 3)."""
    render = scene.render
    size = np.array([render.resolution_x, render.resolution_y])
    lens = camera.calc_matrix_camera(bpy.context.evaluated_depsgraph_get(), x=size[0], y=size[1],
                                     scale_x=render.pixel_aspect_x, scale_y=render.pixel_aspect_y)
    whole = np.array(lens @ camera.matrix_world.normalized().inverted())
    placed = points @ whole[:, :3].T + whole[:, 3]
    share = 0.5 + 0.5 * placed[:, :2] / placed[:, 3:]
    return np.asarray(share * size * (1080.0 / size.min()))


def brought(
    outline: Array, points: Array, see: Callable[[Array], Array], way: tuple[Array, Array], gap: float, reach: float
) -> Array:
    """Where a thing of these points (n, 3) about its origin stands with its hull ``gap`` px from an outline (k, 2).

    see: world places -> pixels. way: where the thing starts, inside the outline, and the direction (3,) in which it is
    moved away, at most by ``reach``.
    """
    start, across = way
    low, high = 0.0, reach
    for _ in range(16):  # to a hundredth of a pixel
        half = (low + high) / 2
        apart = signed_gap(outline, hull(see(points + start + across * half)))
        low, high = (half, high) if apart < gap else (low, half)
    return np.asarray(start + across * high)
