# SPDX-License-Identifier: GPL-3.0-or-later
"""Things brought to an outline at a gap that is set in the picture: by convex hulls of what Blender itself projects."""

from collections.abc import Callable
from typing import Any

import numpy as np
from bpy_extras.object_utils import world_to_camera_view
from mathutils import Vector
from plumbline.core.testing.hulls import hull, signed_gap

Array = np.ndarray


def seen(scene: Any, camera: Any, points: Array) -> Array:
    """Pixels (n, 2) of a picture with a shorter side of 1080, y up, of world places (n, 3)."""
    size = np.array([scene.render.resolution_x, scene.render.resolution_y])
    share = np.array([tuple(world_to_camera_view(scene, camera, Vector(p)))[:2] for p in points])
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
    for _ in range(24):
        half = (low + high) / 2
        apart = signed_gap(outline, hull(see(points + start + across * half)))
        low, high = (half, high) if apart < gap else (low, half)
    return np.asarray(start + across * high)
