# SPDX-License-Identifier: GPL-3.0-or-later
"""From world places to the picture, as Blender's cameras do it.

The picture is measured in U: the picture as it is shown (pixels made square), scaled so that its shorter side is 1080,
x to the right and y upward from the lower left corner. At 1920 x 1080 with square pixels one U is one pixel. A gap is
a
matter of the eye, so it scales with the picture and not with its number of pixels.

Oracle: ``bpy_extras.object_utils.world_to_camera_view`` (tests/blender/test_projection.py).
"""

from dataclasses import dataclass

import numpy as np

from .affine import linear_inverse

Array = np.ndarray

#: Shorter side of the picture in U.
SHORT_SIDE = 1080.0

#: Places nearer to the camera's plane than this, in meters, or behind it, have no place in the picture.
NEAR = 1e-3


@dataclass(frozen=True, slots=True)
class View:
    """One frame's camera.

    camera_from_world (3, 3) and origin (3,) world meters: camera places are ``camera_from_world @ (place - origin)``,
    the
    camera looks along -Z. scale: U per unit of X / depth (perspective) or per meter (orthographic). center (2,): where
    the
    optical axis meets the picture, U. size (2,): width and height of the picture, U.
    """

    camera_from_world: Array
    origin: Array
    scale: float
    centre: Array
    size: Array
    orthographic: bool

    def project(self, places: Array, world: Array | None = None) -> tuple[Array, Array, Array]:
        """Picture x and y in U and nearness w of places (N, 3) in world meters; three arrays (N,).

        world (4, 4): where the places are given in a space of their own, that space in the world; single floats are
        then answered in single floats. w is linear along
        straight lines in the picture and larger for what is nearer: 1 / depth in perspective, minus the depth in an
        orthographic view. Places behind the camera's plane get NaN in all three.
        """
        m, origin = self.camera_from_world, -self.origin
        if world is None:
            cam_x, cam_y, cam_z = m @ (np.asarray(places, float) + origin).T
        else:
            kind = np.float32 if places.dtype == np.float32 else np.float64
            turn, offset = (m @ world[:3, :3]).astype(kind), (m @ (world[:3, 3] + origin)).astype(kind)
            cam_x, cam_y, cam_z = turn @ places.T + offset[:, None]
        depth = -cam_z
        ahead = depth > NEAR
        if not ahead.all():
            depth = np.where(ahead, depth, np.nan)
        w = -depth if self.orthographic else 1.0 / depth
        k = np.where(ahead, self.scale, np.nan).astype(w.dtype) if self.orthographic else w * self.scale
        x, y = self.centre.tolist()
        return cam_x * k + x, cam_y * k + y, w

    def depth(self, w: Array | float) -> Array:
        """Meters before the camera's plane, from nearness."""
        w = np.asarray(w, float)
        with np.errstate(divide="ignore"):
            return -w if self.orthographic else 1.0 / w

    def meters_per_unit(self, depth: Array | float) -> Array:
        """World meters across the view that one U covers at this depth."""
        depth = np.asarray(depth, float)
        return np.full_like(depth, 1.0 / self.scale) if self.orthographic else depth / self.scale

    def across(self, direction: Array) -> Array:
        """World direction (3,), of unit length in the camera's own axes, of a direction (2,) in the picture."""
        d = np.asarray(direction, float)
        axes = linear_inverse(self.camera_from_world)
        out: Array = axes[:, 0] * d[0] + axes[:, 1] * d[1]
        return out

    def place(self, x: float, y: float, depth: float) -> Array:
        """World place (3,) that is seen at (x, y) U at this depth in meters."""
        per = float(self.meters_per_unit(depth))
        local = np.array([(x - self.centre[0]) * per, (y - self.centre[1]) * per, -depth])
        out: Array = linear_inverse(self.camera_from_world) @ local + self.origin
        return out


def picture_size(resolution: Array, pixel_aspect: Array) -> Array:
    """Width and height (2,) in U of a picture of ``resolution`` pixels of shape ``pixel_aspect``."""
    shown = np.asarray(resolution, float) * np.asarray(pixel_aspect, float)
    out: Array = shown * (SHORT_SIDE / shown.min())
    return out


def view(
    world_from_camera: Array,
    *,
    kind: str,
    fit: str,
    lens_mm: float,
    ortho_scale: float,
    sensor_mm: Array,
    shift: Array,
    resolution: Array,
    pixel_aspect: Array,
) -> View:
    """The view of a camera at world_from_camera (4, 4): see ``views``."""
    return views(
        np.asarray(world_from_camera, float)[None],
        kind=kind,
        fit=fit,
        lens_mm=np.array([lens_mm], float),
        ortho_scale=np.array([ortho_scale], float),
        sensor_mm=np.asarray(sensor_mm, float)[None],
        shift=np.asarray(shift, float)[None],
        resolution=resolution,
        pixel_aspect=pixel_aspect,
    )[0]


def views(
    world_from_camera: Array,
    *,
    kind: str,
    fit: str,
    lens_mm: Array,
    ortho_scale: Array,
    sensor_mm: Array,
    shift: Array,
    resolution: Array,
    pixel_aspect: Array,
) -> list[View]:
    """The views of one camera on F frames, at world_from_camera (F, 4, 4), with Blender's meanings of the lens.

    kind 'PERSP' or 'ORTHO'; fit 'AUTO', 'HORIZONTAL' or 'VERTICAL'; lens_mm, ortho_scale (F,); sensor_mm (F, 2) width
    and height; shift (F, 2); resolution (2,) pixels; pixel_aspect (2,). Raises ValueError for other kinds of lens.

    The sensor's height counts only where the fit is set to vertical: AUTO measures by the width both ways. The inverse
    of the camera's normalized axes is taken, not their transpose, since a camera under an unevenly scaled parent is
    sheared.
    """
    if kind not in ("PERSP", "ORTHO"):
        raise ValueError(f"no projection for a camera of kind {kind}")
    matrix = np.asarray(world_from_camera, float)
    axes = matrix[:, :3, :3] / np.linalg.norm(matrix[:, :3, :3], axis=1)[:, None]
    (width, height), (ax, ay) = np.asarray(resolution, float), np.asarray(pixel_aspect, float)
    horizontal = fit == "HORIZONTAL" or (fit == "AUTO" and ax * width >= ay * height)
    sensor = sensor_mm[:, 1 if fit == "VERTICAL" else 0]
    across = width if horizontal else height * ay / ax
    to_units = SHORT_SIDE / min(width * ax, height * ay)
    side = to_units * ax * across
    size = picture_size(resolution, pixel_aspect)
    scale = side / ortho_scale if kind == "ORTHO" else side * lens_mm / sensor
    turns, origins, centres = linear_inverse(axes), matrix[:, :3, 3].copy(), size / 2.0 - side * shift
    return [
        View(turn, origin, one, centre, size, kind == "ORTHO")
        for turn, origin, one, centre in zip(turns, origins, scale.tolist(), centres, strict=True)
    ]
