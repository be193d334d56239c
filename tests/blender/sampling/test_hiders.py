# SPDX-License-Identifier: GPL-3.0-or-later
"""What may hide a kiss is asked by lines of sight: what stands elsewhere is never evaluated as a mesh."""

from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.sampling.hiders import Asked, crosses, hiders
from plumbline.blender_addon.sampling.probe import probe
from plumbline.blender_addon.sampling.skins import Body
from plumbline.core.numeric.camera import view
from plumbline.core.steps import finished
from plumbline.core.testing.pods import block

from ..skinned import solid

Array = np.ndarray


def seen() -> Any:
    """A camera 6 m before the origin, at eye height, looking along +Y."""
    world = np.eye(4)
    world[:3, :3] = [[1, 0, 0], [0, 0, -1], [0, 1, 0]]
    world[:3, 3] = (0.0, -6.0, 1.5)
    return view(
        world,
        kind="PERSP",
        fit="AUTO",
        lens_mm=50.0,
        ortho_scale=1.0,
        sensor_mm=np.array([36.0, 24.0]),
        shift=np.zeros(2),
        resolution=np.array([1920, 1080]),
        pixel_aspect=np.ones(2),
    )


def test_a_line_crosses_a_box_where_one_of_its_points_lies_in_it() -> None:
    rng = np.random.default_rng(7)
    box = np.array([[-0.5, -0.8, -0.2], [0.7, 0.4, 0.9]])
    start, stop = rng.uniform(-3, 3, (400, 3)), rng.uniform(-3, 3, (400, 3))
    stop[:20, 1:] = start[:20, 1:]  # along an axis
    along = np.linspace(0, 1, 4001)[None, :, None]
    points = start[:, None] * (1 - along) + stop[:, None] * along
    inside = ((points >= box[0]) & (points <= box[1])).all(axis=2).any(axis=1)
    assert 0.02 < inside.mean() < 0.6
    for scale in (1.0, 2.5):
        world = np.eye(4)
        world[:3, :3] = np.linalg.qr(rng.normal(size=(3, 3)))[0] * scale
        world[:3, 3] = (4.0, -2.0, 1.0)
        placed = [p @ world[:3, :3].T + world[:3, 3] for p in (start, stop)]
        for many in (world[None], np.repeat(world[None], 400, axis=0)):
            assert (crosses(box, many, *placed, np.zeros(400)) != inside).mean() < 0.01
        assert (crosses(box, world[None], *placed, np.full(400, 0.3)) >= inside).all()
    assert crosses(box, np.diag([1.0, 1.0, 0.0, 1.0])[None], start, stop, np.zeros(400)).all()


def hidden(scene: Any, bodies: list[Body], frames: np.ndarray, asked: dict[int, Asked]) -> dict[int, list[Body]]:
    with probe(scene) as aside:
        return finished(hiders(aside, bodies, frames, asked, 1.0))


@pytest.mark.parametrize(
    "size,place,hides",
    [
        ((40.0, 40.0, 0.1), (0.0, 0.0, -0.05), False),  # the ground, which reaches behind the camera
        ((8.0, 0.1, 6.0), (0.0, 3.0, 1.5), False),  # a wall behind the kiss
        ((8.0, 0.1, 6.0), (0.0, -3.0, 1.5), True),  # a wall before it
        ((0.1, 30.0, 6.0), (2.5, 0.0, 1.5), False),  # a wall along the way
        ((12.0, 30.0, 6.0), (0.0, 0.0, 2.0), True),  # a room about everything: its box tells nothing
        ((0.2, 0.2, 0.2), (0.12, -3.0, 1.75), True),  # just beside the line of sight
    ],
)
def test_what_may_hide_a_kiss(size: tuple[float, float, float], place: tuple[float, float, float], hides: bool) -> None:
    scene = bpy.context.scene
    made = solid(scene, "Thing", block(*size))
    made.location = place
    eye = seen()
    x, y, w = eye.project(np.array([[0.0, 0.0, 1.7]]))
    asked = {3: Asked(eye, np.array([[x[0], y[0]]]), float(eye.depth(w[0])) + 0.05)}
    found = hidden(scene, [Body(made)], np.arange(1.0, 9.0), asked)
    assert found == ({3: [Body(made)]} if hides else {})
    assert len(bpy.data.scenes) == 1


def test_what_moves_is_asked_where_it_stands_then() -> None:
    scene = bpy.context.scene
    made = solid(scene, "Gull", block(0.3, 0.3, 0.3))
    for frame, x in ((1, -4.0), (5, 0.0), (9, 4.0)):
        made.location = (x, -3.0, 1.6)
        made.keyframe_insert("location", frame=frame)
    eye = seen()
    asked = {n: Asked(eye, np.array([[960.0, 540.0]]), 6.0) for n in (0, 4, 8)}
    assert list(hidden(scene, [Body(made)], np.arange(1.0, 10.0), asked)) == [4]


def test_what_grows_is_never_ruled_out() -> None:
    scene = bpy.context.scene
    made = solid(scene, "Sail", block(0.3, 0.3, 0.3))
    made.location = (9.0, 9.0, 9.0)
    made.modifiers.new("Many", "ARRAY")
    asked = {0: Asked(seen(), np.zeros((1, 2)), 6.0)}
    assert list(hidden(scene, [Body(made)], np.ones(1), asked)) == [0]
