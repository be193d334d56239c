# SPDX-License-Identifier: GPL-3.0-or-later
"""The ground under each foot, where meshes tell it: its height, its slope, and how it moves."""
from dataclasses import dataclass

import numpy as np

from ..need import Need
from ..numeric.cast import drop
from ..shot import SOLE_POINTS, Character, Surface
from ..study import Study, measure
from .sole import soles

Array = np.ndarray

#: A surface up to this share of the leg over a sole point still counts as under it.
ABOVE = 0.25
# Three casts a foot serve its seven points: heel, ball, toe tip.
_CAST = ("heel", "ball", "toe_tip")
_SERVES = np.array([_CAST.index("toe_tip" if p == "toe_tip" else p.partition("_")[0]) for p in SOLE_POINTS])


@dataclass(frozen=True)
class Underfoot:
    """Per side 'L', 'R': height (F, 7) of the ground along ``up`` under each sole point, NaN where no mesh tells it;
    normal (F, 3) of the ground under the ball, ``up`` where unknown; motion (F - 1, 7, 3), how the ground under each
    sole point moves from one sample to the next. up (3,) is against gravity. moving: names of moving meshes that feet
    were over.
    """
    up: Array
    height: dict[str, Array]
    normal: dict[str, Array]
    motion: dict[str, Array]
    moving: tuple[str, ...]


def upward(gravity: Array) -> Array:
    """Against gravity, unit (3,); +Z where a scene has none."""
    size = float(np.linalg.norm(gravity))
    return -gravity / size if size > 1e-9 else np.array([0.0, 0.0, 1.0])


@measure(Need.GROUND, uses=(soles,))
def underfoot(study: Study, character: Character) -> Underfoot:
    """Casts the soles down on the meshes taken for ground; a plane guessed from the feet themselves tells nothing
    here."""
    up = upward(study.shot.gravity)
    places = study.of(soles, character).points
    known = [s for s in study.shot.surfaces if s.name is not None and len(s.triangles)]
    above = ABOVE * character.leg_length
    height, normal, motion, moving = {}, {}, {}, set()
    for side, points in places.items():
        f = len(points)
        cast = points[:, [SOLE_POINTS.index(p) for p in _CAST]]
        best = np.full((f, len(_CAST)), -np.inf)
        slope = np.tile(up, (f, 1))
        carried = np.zeros((max(0, f - 1), len(SOLE_POINTS), 3))
        for surface in known:
            found, normals = _under(cast, surface, up, above)
            higher = np.nan_to_num(found, nan=-np.inf) > best
            best = np.where(higher, found, best)
            ball = higher[:, _CAST.index("ball")]
            slope[ball] = normals[ball]
            if surface.moving:
                if higher.any():
                    moving.add(str(surface.name))
                step = _carried(points, surface)
                carried = np.where(higher[:-1, _SERVES, None], step, carried)
            else:
                carried = np.where(higher[:-1, _SERVES, None], 0.0, carried)
        height[side] = np.where(np.isfinite(best), best, np.nan)[:, _SERVES]
        normal[side], motion[side] = slope, carried
    return Underfoot(up, height, normal, motion, tuple(sorted(moving)))


def _under(points: Array, surface: Surface, up: Array, above: float) -> tuple[Array, Array]:
    """Heights (F, C) under points (F, C, 3), NaN where none, and the normal (F, 3) under the second of them."""
    f, c, _ = points.shape
    if not surface.moving:
        world = surface.triangles @ surface.world[0, :3, :3].T + surface.world[0, :3, 3]
        height, which = drop(points.reshape(-1, 3), world, up, above)
        normals = _normals(world, up)
        ball = which.reshape(f, c)[:, 1]
        return height.reshape(f, c), np.where(ball[:, None] >= 0, normals[ball], up)
    height, normal = np.full((f, c), np.nan), np.tile(up, (f, 1))
    for i in range(f):
        world = surface.triangles @ surface.world[i, :3, :3].T + surface.world[i, :3, 3]
        height[i], which = drop(points[i], world, up, above)
        if which[1] >= 0:
            normal[i] = _normals(world[which[1:2]], up)[0]
    return height, normal


def _normals(triangles: Array, up: Array) -> Array:
    """Unit normals (T, 3), all on the upper side."""
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-30)
    upright: Array = normal * np.where(normal @ up < 0, -1.0, 1.0)[:, None]
    return upright


def _carried(points: Array, surface: Surface) -> Array:
    """How far (F - 1, S, 3) the moving surface would carry points (F, S, 3) from each sample to the next."""
    world = surface.world
    step = world[1:] @ np.linalg.pinv(world[:-1])
    moved: Array = np.einsum("fij,fsj->fsi", step[:, :3, :3], points[:-1]) + step[:, None, :3, 3] - points[:-1]
    return moved
