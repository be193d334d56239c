# SPDX-License-Identifier: GPL-3.0-or-later
"""The ground under the feet, where nobody has marked it: still meshes that casts down from the lower foot meet, else a
level plane where the feet come down."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from mathutils import Vector

from ...core import body
from ...core.numeric.cast import Floor
from ...core.shot import Character, Surface
from .probe import Probe
from .triangles import over, plain, triangles_of

Array = np.ndarray

#: Casts down from the ankle: how far above it they begin and how far below they reach, over leg length.
ABOVE, BELOW = 0.15, 0.4
#: Share of the looked-at frames on which a mesh must be under a foot to be ground, and how many frames are looked at.
UNDER_SHARE, LOOKS = 0.05, 60
#: A plain mesh of up to so many faces is cast at by numpy; beyond, evaluating it costs no more.
PLAIN_FACES = 20_000


class Faces:
    """The faces of meshes, evaluated in a temporary scene only where modifiers or shapes may change them."""

    inside: Probe

    def __init__(self) -> None:
        self._plain: dict[int, Array] = {}

    def plain(self, object: Any) -> Array:
        """Triangles (T, 3, 3) of a plain mesh in its own space, read once."""
        known = self._plain.get(object.session_uid)
        if known is None:
            known = self._plain[object.session_uid] = triangles_of(object.data)
        return known

    def of(self, object: Any, frame: float) -> Array:
        """A mesh's triangles (T, 3, 3) in its own space, what its modifiers make of it on this frame."""
        if plain(object):
            return self.plain(object)
        self.inside.link([object])
        now = object.evaluated_get(self.inside.to(frame))
        try:
            return triangles_of(now.to_mesh())
        finally:
            now.to_mesh_clear()


def under_feet(
    objects: Sequence[Any],
    worlds: Sequence[Array],
    characters: Sequence[Character],
    unit: float,
    faces: Faces,
    frame: float,
) -> list[tuple[int, str]]:
    """Which still meshes the feet stand on, by their places in ``objects``, and why.

    worlds: (4, 4) of each, scene units; unit: meters of one of them; frame: at which those that are not plain are
    evaluated.
    """
    casts = [cast for c in characters for cast in _ankles(c)]
    if not casts or not objects:
        return []
    lo = np.min([p - BELOW * leg for p, leg in casts], axis=0) / unit
    hi = np.max([p + BELOW * leg for p, leg in casts], axis=0) / unit
    near = [k for k, object in enumerate(objects) if _meets(object, worlds[k], lo, hi)]
    if not near:
        return []
    starts = np.array([place / unit + (0.0, 0.0, ABOVE * leg / unit) for place, leg in casts])
    deepest = starts[:, 2] - (ABOVE + BELOW) * np.array([leg for _, leg in casts]) / unit
    heights = np.array(_heights([objects[k] for k in near], [worlds[k] for k in near], starts, faces, frame))
    heights = np.where(heights >= deepest, heights, -np.inf)  # NaN, where nothing is hit, is none as well
    winner = heights.argmax(axis=0)[np.isfinite(heights).any(axis=0)]
    need = max(1, int(UNDER_SHARE * len(casts)))
    return [
        (near[k], f"it stands still under the feet on {100 * n // len(casts)} % of the frames looked at")
        for k, n in enumerate(np.bincount(winner, minlength=len(near)).tolist())
        if n >= need
    ]


def _heights(
    objects: Sequence[Any], worlds: Sequence[Array], starts: Array, faces: Faces, frame: float
) -> list[Array]:
    """For each mesh the heights (N,) at which it is met straight below ``starts`` (N, 3), scene units, NaN where it is
    not. A plain mesh of few faces is cast at as it is; others are evaluated."""
    simple_ones = [plain(object) and len(object.data.polygons) <= PLAIN_FACES for object in objects]
    faces.inside.link(object for object, simple in zip(objects, simple_ones, strict=True) if not simple)
    graph = None if all(simple_ones) else faces.inside.to(frame)
    out = []
    for object, world, simple in zip(objects, worlds, simple_ones, strict=True):
        if simple:
            triangles = over(faces.plain(object), world, starts)
            out.append(Floor(triangles, np.array([0.0, 0.0, 1.0])).under(starts, 0.0)[0])
            continue
        now = object.evaluated_get(graph)
        found = np.full(len(starts), np.nan)
        if now.type == "MESH" and len(now.data.polygons):
            inverse = now.matrix_world.inverted_safe()
            for i, start in enumerate(map(Vector, starts.tolist())):
                origin = inverse @ start
                direction = (inverse @ (start - Vector((0.0, 0.0, 1.0)))) - origin
                hit, where, _, _ = now.ray_cast(origin, direction)
                if hit:
                    found[i] = (now.matrix_world @ where).z
        out.append(found)
    return out


def _ankles(character: Character) -> list[tuple[Array, float]]:
    """Places (3,) of the lower foot on up to LOOKS frames, meters, each with the leg's length."""
    feet = [character.head(f"foot.{s}") for s in body.SIDES if character.has(f"foot.{s}")]
    if not feet:
        return []
    places = np.stack(feet)
    rows = np.unique(np.linspace(0, places.shape[1] - 1, LOOKS).astype(int))
    low = np.argmin(places[:, rows, 2], axis=0)
    return [(places[k, i], character.leg_length) for k, i in zip(low, rows, strict=True)]


def _meets(object: Any, world: Array, lo: Array, hi: Array) -> bool:
    """Whether an object's box comes near the box from lo to hi, scene units."""
    corners = np.array(object.bound_box, float) @ world[:3, :3].T + world[:3, 3]
    slack = 0.1 * float(np.max(hi - lo))
    return bool((corners.min(0) - slack <= hi).all() and (corners.max(0) + slack >= lo).all())


def near_feet(triangles: Array, world: Array, characters: Sequence[Character], unit: float) -> Array:
    """The triangles that come within a leg of the way of the feet, seen from above; all where there are no feet."""
    casts = [cast for c in characters for cast in _ankles(c)]
    if not casts or len(triangles) < 2000:
        return triangles
    leg = max(length for _, length in casts)
    places = np.array([p for p, _ in casts])[:, :2]
    lo, hi = (places.min(0) - 2 * leg) / unit, (places.max(0) + 2 * leg) / unit
    keep = np.ones(len(triangles), bool)
    columns = triangles.reshape(-1, 3).T
    for axis in range(2):
        place = world[axis, 0] * columns[0] + world[axis, 1] * columns[1] + world[axis, 2] * columns[2]
        a, b, c = (place[k::3] + world[axis, 3] for k in range(3))
        keep &= np.minimum(np.minimum(a, b), c) <= hi[axis]
        keep &= np.maximum(np.maximum(a, b), c) >= lo[axis]
    return triangles[keep] if keep.any() else triangles


def level_plane(characters: Sequence[Character]) -> list[Surface]:
    """A plane at the height at which the feet of the lowest character come down."""
    heights = []
    for c in characters:
        low = [
            np.minimum(c.head(p)[:, 2], c.end(p)[:, 2])
            for s in body.SIDES
            for p in (f"toe.{s}", f"foot.{s}")
            if c.has(p)
        ]
        if low:
            drop = min(
                (
                    float(s.points[:, 2].min())
                    - min(float(c.rest_head(f"foot.{s.side}")[2]), float(c.rest_end(f"foot.{s.side}")[2]))
                    for s in c.soles
                    if c.has(f"foot.{s.side}")
                ),
                default=0.0,
            )
            heights.append(float(np.percentile(np.min(low, axis=0), 10)) + min(drop, 0.0))
    if not heights:
        return []
    z, wide = min(heights), 1000.0
    a, b, c_, d = ([-wide, -wide, z], [wide, -wide, z], [wide, wide, z], [-wide, wide, z])
    return [
        Surface(
            None,
            f"no mesh is under the feet: a level plane where they come down, at {z:.3f} m",
            np.array([[a, b, c_], [a, c_, d]]),
            np.eye(4)[None],
        )
    ]
