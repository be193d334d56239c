# SPDX-License-Identifier: GPL-3.0-or-later
"""A region of a 3D viewport as the view of core's projection, and back to the depth buffer."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core.marks import Frame
from ...core.numeric.affine import linear_inverse
from ...core.numeric.camera import SHORT_SIDE, View, picture_size

Array = np.ndarray

#: Meters that an orthographic view is moved back, since it also shows what lies behind its origin.
_BACK = 1e4
#: Marks that lie on a surface are brought nearer by this share of their distance, so that they are not lost in it.
_LIFT = 2e-3


@dataclass(frozen=True)
class Seen:
    """A region of a viewport. frame: for core's marks; camera: it looks through the shot's camera; depth: from marks'
    corners (n, 3), pixels and nearness, to normalized device coordinates (n, 3); flat: to pixels, y up, at z = 0."""

    frame: Frame
    camera: bool
    depth: Callable[[Array], Array]
    flat: Callable[[Array], Array]


def seen(context: Any, number: int) -> Seen:
    """The region of this context at scene frame ``number``."""
    region, region_3d, scene = context.region, context.region_data, context.scene
    meters = scene.unit_settings.scale_length or 1.0
    width, height = region.width, region.height
    matrix, window = np.array(region_3d.view_matrix), np.array(region_3d.window_matrix)
    orthographic = not region_3d.is_perspective
    turn = matrix[:3, :3]
    origin = -np.linalg.solve(turn, matrix[:3, 3]) * meters
    shift = _BACK * meters if orthographic else 0.0
    if orthographic:
        origin = origin + linear_inverse(turn)[:, 2] * shift
    scale = window[0, 0] * width / 2 / (meters if orthographic else 1.0)
    middle = window[:2, 3] if orthographic else -window[:2, 2]
    view = View(
        camera_from_world=turn,
        origin=origin,
        scale=float(scale),
        centre=np.array([width, height]) * (1 + middle) / 2,
        size=np.array([width, height], float),
        orthographic=orthographic,
    )
    unit = context.preferences.system.ui_scale or 1.0
    camera, corner, per_unit = None, None, 0.0
    if region_3d.view_perspective == "CAMERA":
        camera = scene.camera if not context.space_data.use_local_camera else context.space_data.camera
    through = camera is not None and camera == scene.camera and camera.type == "CAMERA"
    if through:
        corner, per_unit = _picture(scene, camera, view, meters, (width, height))

    def depth(marks: Array) -> Array:
        w = marks[:, 2]
        z = (
            window[2, 2] * ((w + shift) / meters) + window[2, 3]
            if orthographic
            else window[2, 3] * w * meters * (1 + _LIFT) - window[2, 2]
        )
        return np.stack([marks[:, 0] * 2 / width - 1, 1 - marks[:, 1] * 2 / height, z], axis=1)

    def flat(marks: Array) -> Array:
        return np.stack([marks[:, 0], height - marks[:, 1], np.zeros(len(marks))], axis=1)

    return Seen(Frame(view, number, (width, height), unit, corner, per_unit), through, depth, flat)


def _picture(
    scene: Any, camera: Any, view: View, meters: float, size: tuple[int, int]
) -> tuple[tuple[float, float], float]:
    """Where the camera's picture lies in the region: pixel of its lower left corner, y down, and pixels a unit."""
    local = np.array([tuple(corner) for corner in camera.data.view_frame(scene=scene)])
    world = np.array(camera.matrix_world)
    axes = world[:3, :3] / np.linalg.norm(world[:3, :3], axis=0)
    x, y, _ = view.project((local @ axes.T + world[:3, 3]) * meters)
    render = scene.render
    units = picture_size(
        np.array([render.resolution_x, render.resolution_y], float),
        np.array([render.pixel_aspect_x, render.pixel_aspect_y], float),
    )
    assert min(units) == SHORT_SIDE
    return (float(x.min()), float(size[1] - y.min())), float(np.ptp(x) / units[0])
