# SPDX-License-Identifier: GPL-3.0-or-later
"""The camera in use on every frame, cuts by markers included."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ...core.shot import Camera

Array = np.ndarray

#: A camera that turns or travels more than this in one frame, and five times more than in the frames beside it, has cut
#: without a marker. Common practice, no source.
JUMP_DEGREES, JUMP_METRES, JUMP_OVER = 20.0, 0.5, 5.0


def camera_at(scene: Any, frame: float) -> Any:
    """The camera object that the scene shows through at a scene frame, or None.

    Blender's rule: of the markers bound to a camera that is not hidden in renders, the last at or before the frame
    (looked up
    at the remapped frame), of two on one frame the one made first; before the first of them, the earliest. Else the
    scene's.
    """
    render = scene.render
    played = frame * render.frame_map_old / render.frame_map_new
    before = earliest = None
    for marker in scene.timeline_markers:
        if marker.camera is None or marker.camera.hide_render:
            continue
        if marker.frame <= played + 1e-6 and (before is None or marker.frame > before.frame):
            before = marker
        if earliest is None or marker.frame < earliest.frame:
            earliest = marker
    chosen = before or earliest
    camera = scene.camera if chosen is None else chosen.camera
    return camera if camera is not None and camera.type == "CAMERA" else None


class CameraReader:
    """Reads the cameras of a scene frame by frame, out of the temporary scene that its ``objects`` were linked into.

    frames (F,): the scene frames that will be read.
    """

    def __init__(self, scene: Any, frames: Sequence[float]) -> None:
        self._scene = scene
        if any(marker.camera is not None for marker in scene.timeline_markers):
            self._used = [camera_at(scene, float(frame)) for frame in frames]
        else:
            self._used = [camera_at(scene, float(frame)) for frame in frames[:1]] * len(frames)
        self._uids = np.array([-1 if camera is None else camera.session_uid for camera in self._used])
        rows = np.unique(self._uids, return_index=True)[1].tolist()
        self._objects = [self._used[i] for i in sorted(rows) if self._used[i] is not None]
        f = len(self._used)
        self._matrices: Array = np.zeros((f, 4, 4))
        self.filled = False
        self._optics = np.zeros((f, 6))
        self._known: dict[int, tuple[float, ...] | None] = {}

    def objects(self) -> list[Any]:
        """All camera objects in use, each once."""
        return self._objects

    @property
    def missing(self) -> bool:
        """Whether some frame has no camera: then the shot has none."""
        return not self._used or any(camera is None for camera in self._used)

    def read(self, i: int, graph: Any) -> None:
        """Reads frame ``i`` of the evaluated camera; lens, shift and scale may be animated."""
        used = self._used[i]
        if used is None:
            return
        now = used.evaluated_get(graph)
        self._matrices[i] = now.matrix_world
        uid = used.session_uid
        if uid not in self._known:  # most lenses are not animated: they are read once
            self._known[uid] = _optics(now.data) if used.data.animation_data is None else None
        self._optics[i] = self._known[uid] or _optics(now.data)

    def still_lens(self) -> bool:
        """Whether nothing but the places of the cameras may change from frame to frame."""
        return all(camera.data.animation_data is None for camera in self.objects())

    def fill(self, worlds: Mapping[int, Array], graph: Any) -> None:
        """Takes the world matrices (F or 1, 4, 4) of all frames by session_uid from elsewhere, and the lenses, which
        must be still, from any frame."""
        for camera in self.objects():
            mine = self._uids == camera.session_uid
            world = worlds[camera.session_uid]
            self._matrices[mine] = world if len(world) == 1 else world[mine]
            self._optics[mine] = _optics(camera.evaluated_get(graph).data)
        self.filled = True

    def camera(self) -> Camera | None:
        """The sampled camera in meters, or None where some frame has none."""
        if self.missing:
            return None
        unit = self._scene.unit_settings.scale_length
        world = self._matrices.copy()
        length = np.linalg.norm(world[:, :3, :3], axis=1, keepdims=True)
        if not np.isfinite(world).all() or length.min() < 1e-9:
            return None
        world[:, :3, :3] /= length
        world[:, :3, 3] *= unit
        changed = self._uids[1:] != self._uids[:-1]
        cut = np.concatenate([[False], changed | _jumps(world)])
        firsts = [self._used[i] for i in (0, *np.flatnonzero(cut).tolist())]
        render = self._scene.render
        return Camera(
            names=tuple(str(c.name) for c in firsts),
            run=np.cumsum(cut),
            kind=tuple(str(c.data.type) for c in firsts),
            fit=tuple(str(c.data.sensor_fit) for c in firsts),
            world_from_camera=world,
            lens_mm=self._optics[:, 0],
            ortho_scale=self._optics[:, 1] * unit,
            sensor_mm=self._optics[:, 2:4],
            shift=self._optics[:, 4:6],
            resolution=np.array([render.resolution_x, render.resolution_y], float),
            pixel_aspect=np.array([render.pixel_aspect_x, render.pixel_aspect_y], float),
        )


def _optics(data: Any) -> tuple[float, ...]:
    return (data.lens, data.ortho_scale, data.sensor_width, data.sensor_height, data.shift_x, data.shift_y)


def _jumps(world: Array) -> Array:
    """(F - 1,) where an unmarked cut lies between two samples."""
    if len(world) < 2:
        return np.zeros(0, bool)
    turn = np.einsum("fji,fjk->fik", world[:-1, :3, :3], world[1:, :3, :3])
    angle = np.degrees(np.arccos(np.clip((np.trace(turn, axis1=1, axis2=2) - 1.0) / 2.0, -1.0, 1.0)))
    step = np.linalg.norm(np.diff(world[:, :3, 3], axis=0), axis=1)
    return _stands_out(angle, JUMP_DEGREES) | _stands_out(step, JUMP_METRES)


def _stands_out(steps: Array, least: float) -> Array:
    padded = np.concatenate([steps[:1] * 0.0, steps, steps[:1] * 0.0])
    beside = np.maximum(padded[:-2], padded[2:])
    out: Array = (steps > least) & (steps > JUMP_OVER * beside)
    return out
