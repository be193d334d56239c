# SPDX-License-Identifier: GPL-3.0-or-later
"""Many frames' views at once, for what is asked of a few places or lines on every frame."""

from collections.abc import Sequence

import numpy as np

from .camera import View

Array = np.ndarray


class Lenses:
    """The views of F frames as arrays."""

    def __init__(self, views: Sequence[View]) -> None:
        self.turn = np.stack([v.camera_from_world for v in views])
        self.origin = np.stack([v.origin for v in views])
        self.scale = np.array([v.scale for v in views])[:, None]
        self.flat = np.array([v.orthographic for v in views])[:, None]
        self.centre = np.stack([v.centre for v in views])
        self.size = views[0].size

    def boxes(self, lines: Array, radius: float, margin: float) -> Array:
        """Boxes (F, K, 4) in U of capsules (F, K, 2, 3), grown by ``margin`` U, clipped to the picture;
        NaN out of it. radius: meters."""
        f, k = lines.shape[:2]
        local = (lines - self.origin[:, None, None]).reshape(f, 2 * k, 3) @ self.turn.transpose(0, 2, 1)
        depth = -local[..., 2]
        per = np.where(self.flat, self.scale, self.scale / np.maximum(depth, 1e-3))
        places = (local[..., :2] * per[..., None] + self.centre[:, None]).reshape(f, k, 2, 2)
        least, most = depth.reshape(f, k, 2).min(axis=2), depth.reshape(f, k, 2).max(axis=2)
        near = np.where(self.flat, self.scale, self.scale / np.maximum(least - radius, 1e-3))
        grow = (radius * near + margin)[..., None]
        boxes = np.concatenate([places.min(axis=2) - grow, places.max(axis=2) + grow], axis=2)
        boxes[least <= radius] = (-np.inf, -np.inf, np.inf, np.inf)
        boxes[most <= -radius] = np.nan
        boxes[..., :2] = np.maximum(boxes[..., :2], -margin)
        boxes[..., 2:] = np.minimum(boxes[..., 2:], self.size + margin)
        boxes[(boxes[..., 0] > boxes[..., 2]) | (boxes[..., 1] > boxes[..., 3])] = np.nan
        return boxes
