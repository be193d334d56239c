# SPDX-License-Identifier: GPL-3.0-or-later
"""A camera for pictures of a shot that has none: from the figure's front, half to its side, all of it and the
evidence in view."""

import numpy as np

from ..evidence import Arc, Arrow, Label, Patch, Point, Polyline
from ..note import Note
from ..shot import Camera, Character, Shot

Array = np.ndarray

#: Lens and sensor width in millimeters, and how much of the picture's shorter side stays free.
LENS, SENSOR, FREE = 50.0, 36.0, 0.18


def framed(shot: Shot, note: Note, resolution: tuple[int, int] = (1280, 720)) -> Camera:
    """A perspective camera of one frame that holds the note's character at its worst frame, and its evidence there."""
    i = int(np.argmin(np.abs(shot.frames - note.worst)))
    who = next((c for c in shot.characters if c.name == note.character), None)
    places = [p for e in note.evidence if e.frames[0] <= note.worst <= e.frames[1] for p in _places(e)]
    points = [np.array(places, float).reshape(-1, 3)]
    for character in [who] if who is not None else shot.characters:
        points += [character.heads[i], character.tails[i]]
    cloud = np.concatenate(points)
    cloud = cloud[np.isfinite(cloud).all(axis=1)]
    if not len(cloud):
        cloud = np.zeros((1, 3))
    first = who or (shot.characters[0] if shot.characters else None)
    return _camera(cloud, *_directions(first, i), resolution)


def _directions(character: Character | None, i: int) -> tuple[Array, Array]:
    """Up, and the direction that the figure faces in this frame."""
    up = np.array([0.0, 0.0, 1.0])
    if character is None:
        return up, np.array([0.0, -1.0, 0.0])
    up = character.up
    forward = character.forward
    if character.has("thigh.L", "thigh.R"):  # the hips turn with the figure, the rest pose does not
        right = character.head("thigh.R")[i] - character.head("thigh.L")[i]
        faced = np.cross(up, right)
        if np.linalg.norm(faced) > 1e-6:
            forward = faced
    forward = forward - forward @ up * up
    length = np.linalg.norm(forward)
    return up, forward / length if length > 1e-9 else np.array([0.0, -1.0, 0.0])


def _camera(cloud: Array, up: Array, forward: Array, resolution: tuple[int, int]) -> Camera:
    side = np.cross(forward, up)
    back = forward * 0.8 + side * 0.55 + up * 0.18  # toward the camera
    back /= np.linalg.norm(back)
    x = np.cross(up, back)
    x /= np.linalg.norm(x)
    axes = np.stack([x, np.cross(back, x), back], axis=1)
    center = (cloud.min(0) + cloud.max(0)) / 2
    radius = max(float(np.linalg.norm(cloud - center, axis=1).max()), 0.05)
    half = SENSOR / 2 / LENS * min(1.0, resolution[1] / resolution[0])
    matrix = np.eye(4)
    matrix[:3, :3] = axes
    matrix[:3, 3] = center + back * radius / (half * (1 - FREE))
    return Camera(
        names=("framed",),
        run=np.zeros(1, int),
        kind=("PERSP",),
        fit=("AUTO",),
        world_from_camera=matrix[None],
        lens_mm=np.array([LENS]),
        ortho_scale=np.array([1.0]),
        sensor_mm=np.array([[SENSOR, 24.0]]),
        shift=np.zeros((1, 2)),
        resolution=np.array(resolution, float),
        pixel_aspect=np.ones(2),
    )


def _places(shape: object) -> tuple[tuple[float, float, float], ...]:
    if isinstance(shape, Point | Polyline | Patch):
        return shape.places
    if isinstance(shape, Arrow):
        return shape.start, shape.end
    if isinstance(shape, Arc):
        return (shape.centre,)
    return (shape.place,) if isinstance(shape, Label) else ()
