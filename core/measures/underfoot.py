# SPDX-License-Identifier: GPL-3.0-or-later
"""The ground under each foot, where meshes tell it: its height, its slope, and how it moves."""
from dataclasses import dataclass

import numpy as np

from ..need import Need
from ..numeric.cast import Floor
from ..shot import SOLE_POINTS, Character, Surface
from ..study import Study, measure
from .sole import soles

Array = np.ndarray

#: A surface up to this share of the leg over a sole point still counts as under it.
ABOVE = 0.25
# Three casts a foot serve its seven points: heel, ball, toe tip.
_CAST = ("heel", "ball", "toe_tip")
_BALL = _CAST.index("ball")
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


@measure(Need.GROUND, whole=True)
def floors(study: Study, character: None = None) -> dict[int, Floor]:
    """The shot's still surfaces by their number in it, each made ready once for all feet."""
    up = upward(study.shot.gravity)
    return {k: Floor(_world(s, 0), up) for k, s in enumerate(study.shot.surfaces) if tells(s) and not s.moving}


def tells(surface: Surface) -> bool:
    """Whether it is a mesh: a plane guessed from the feet themselves tells nothing here."""
    return surface.name is not None and len(surface.triangles) > 0


def _world(surface: Surface, sample: int) -> Array:
    """The surface's triangles in the world."""
    world = surface.world[sample]
    return np.asarray(surface.triangles @ world[:3, :3].T + world[:3, 3])


@measure(Need.GROUND, uses=(soles, floors))
def underfoot(study: Study, character: Character) -> Underfoot:
    """Casts the soles down on the meshes taken for ground."""
    up = upward(study.shot.gravity)
    places = study.of(soles, character).points
    still: dict[int, Floor] = study.of(floors)
    above = ABOVE * character.leg_length
    f, sides, casts = study.shot.count, len(places), len(_CAST)
    points = np.stack([p.T for p in places.values()]).T if places else np.zeros((f, len(SOLE_POINTS), 3, 0))
    points = points.transpose(0, 3, 1, 2)  # (F, sides, 7, 3)
    cast = points[:, :, [SOLE_POINTS.index(p) for p in _CAST]].reshape(f, -1, 3)
    best = np.full((f, sides, casts), np.nan)
    slope = np.empty((f, sides, 3))
    slope[:] = up
    motion = np.broadcast_to(0.0, (max(0, f - 1), *points.shape[1:]))
    moving = set()
    for k, surface in enumerate(study.shot.surfaces):
        if not tells(surface):
            continue
        under = under_points(cast, surface, still.get(k), up, above)
        found, normals = (a.reshape(f, sides, casts, *a.shape[2:]) for a in under)
        with np.errstate(invalid="ignore"):
            higher = ~np.isnan(found) & ~(found <= best)
        best = np.where(higher, found, best)
        ball = higher[..., _BALL]
        slope[ball] = normals[..., _BALL, :][ball]
        step: Array | float = 0.0
        if surface.moving:
            if higher.any():
                moving.add(str(surface.name))
            step = carried(points.reshape(f, -1, 3), surface).reshape(motion.shape)
        if surface.moving or moving:
            motion = np.where(higher[:-1][..., _SERVES, None], step, motion)
    return Underfoot(
        up,
        {side: best[:, k, _SERVES] for k, side in enumerate(places)},
        {side: slope[:, k] for k, side in enumerate(places)},
        {side: motion[:, k] for k, side in enumerate(places)},
        tuple(sorted(moving)),
    )


def under_points(points: Array, surface: Surface, floor: Floor | None, up: Array, above: float) -> tuple[Array, Array]:
    """Heights (F, C) under points (F, C, 3), NaN where none, and the normals (F, C, 3) there, ``up`` where none; floor:
    the surface made ready, None where it moves."""
    f, c, _ = points.shape
    if floor is not None:
        height, which = floor.under(points.reshape(-1, 3), above)
        normals = floor.normals[which]
        normals[which < 0] = up
        return height.reshape(f, c), normals.reshape(f, c, 3)
    height, normals = np.full((f, c), np.nan), np.empty((f, c, 3))
    normals[:] = up
    for i in range(f):
        now = Floor(_world(surface, i), up)
        height[i], which = now.under(points[i], above)
        normals[i, which >= 0] = now.normals[which[which >= 0]]
    return height, normals


def carried(points: Array, surface: Surface) -> Array:
    """How far (F - 1, S, 3) the moving surface would carry points (F, S, 3) from each sample to the next."""
    world = surface.world
    step = world[1:] @ np.linalg.pinv(world[:-1])
    moved: Array = np.einsum("fij,fsj->fsi", step[:, :3, :3], points[:-1]) + step[:, None, :3, 3] - points[:-1]
    return moved
