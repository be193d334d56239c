# SPDX-License-Identifier: GPL-3.0-or-later
"""The rest of the scene, by which a kiss may be hidden: what is far from every kiss is never evaluated as a mesh."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core.numeric.camera import View
from ...core.numeric.lenses import Lenses
from ...core.numeric.topology import Topology
from .meshes import Evaluated, positions, triangles_of, world_of
from .probe import Probe, probe
from .props import may_move
from .skins import Body

Array = np.ndarray

#: U around a box within which a place may still lie behind it.
MARGIN = 64.0
#: By how much of its diagonal a mesh may grow beyond the box that it has now, under modifiers of these types.
BOX_SPARE = 0.5
NEAR_MODIFIERS = (
    *("SUBSURF", "MULTIRES", "BEVEL", "SOLIDIFY", "SMOOTH", "CORRECTIVE_SMOOTH", "LAPLACIANSMOOTH", "CAST"),
    *("SIMPLE_DEFORM", "DECIMATE", "TRIANGULATE", "EDGE_SPLIT", "WEIGHTED_NORMAL", "WELD", "REMESH", "WIREFRAME"),
)


@dataclass(frozen=True)
class Asked:
    """What may be hidden in one frame: places (n, 2) U in the picture, and the depth in metres behind which nothing
    hides them."""

    seen: View
    places: Array
    depth: float

    def behind(self, corners: Array) -> bool:
        """Whether a box of these corners (8, 3), world metres, may lie before one of the places."""
        lens = Lenses([self.seen])
        return bool(_before(lens.corners(corners[None]), [self])[0])


def hiders(
    scene: Any, bodies: Sequence[Body], frames: Array, asked: Mapping[int, Asked], unit: float
) -> dict[int, list[Body]]:
    """Sample -> the bodies that may hide something on it; samples without any are left out.

    frames (F,): the shot's scene frames. What may grow far beyond its box is never ruled out.
    """
    found: dict[int, list[Body]] = {}
    boxed = [body for body in bodies if _keeps_near(body)]
    loose = [body for body in bodies if body not in boxed]
    samples = sorted(asked)
    if loose:
        found = {sample: list(loose) for sample in samples}
    boxes = {body.key: box for body in boxed if (box := _box_of(body)) is not None}
    boxed = [body for body in boxed if body.key in boxes]
    if not boxed or not samples:
        return found
    lens, wanted = Lenses([asked[sample].seen for sample in samples]), [asked[sample] for sample in samples]
    for body, worlds in zip(boxed, _worlds(scene, boxed, frames[samples], unit), strict=True):
        corners = np.einsum("fij,kj->fki", worlds[:, :3, :3], boxes[body.key]) + worlds[:, None, :3, 3]
        for n in np.flatnonzero(_before(lens.corners(corners), wanted)):
            found.setdefault(samples[n], []).append(body)
    return found


def _worlds(scene: Any, bodies: Sequence[Body], frames: Array, unit: float) -> list[Array]:
    """World matrices (F or 1, 4, 4) of the bodies in metres: only places are evaluated, no mesh."""
    moving = [may_move(body.object) for body in bodies]
    out = [np.zeros((len(frames) if moves else 1, 4, 4)) for moves in moving]
    with probe(scene) as inside:
        for body in bodies:
            inside.pull(body.object)
        for n, frame in enumerate(frames.tolist() if any(moving) else frames[:1].tolist()):
            graph = inside.to(frame)
            for body, moves, worlds in zip(bodies, moving, out, strict=True):
                if moves or not n:
                    worlds[n] = body.object.evaluated_get(graph).matrix_world
    for worlds in out:
        worlds[:, :3] *= unit
    return out


def _box_of(body: Body) -> Array | None:
    """Corners (8, 3) of the body's box in its own space, with room for what its modifiers do; None without vertices."""
    points = np.empty(3 * len(body.object.data.vertices), np.float32)
    if not len(points):
        return None
    body.object.data.vertices.foreach_get("co", points)
    low, high = (np.array([extreme(points[k::3]) for k in range(3)], float) for extreme in (np.min, np.max))
    box = np.array([[(low, high)[i >> k & 1][k] for k in range(3)] for i in range(8)])
    spare = BOX_SPARE * float(np.linalg.norm(high - low)) if len(body.object.modifiers) else 0.0
    return box + np.where(box > (low + high) / 2.0, spare, -spare)


def _before(corners: tuple[Array, Array, Array], asked: Sequence[Asked]) -> Array:
    """(F,) whether a box may lie before one of the places; corners: x, y U and depth in metres, each (F, 8)."""
    x, y, depth = corners
    out = np.zeros(len(asked), bool)
    ahead = np.isfinite(x)
    low_x, high_x = x.min(axis=1) - MARGIN, x.max(axis=1) + MARGIN
    low_y, high_y = y.min(axis=1) - MARGIN, y.max(axis=1) + MARGIN
    for n, one in enumerate(asked):
        if not ahead[n].all():  # it reaches behind the camera: only what is wholly there is ruled out
            out[n] = ahead[n].any()
        elif depth[n].min() <= one.depth:
            px, py = one.places.T
            out[n] = ((px >= low_x[n]) & (px <= high_x[n]) & (py >= low_y[n]) & (py <= high_y[n])).any()
    return out


def _keeps_near(body: Body) -> bool:
    """Whether a mesh stays near its own box whatever its modifiers do."""
    object = body.object
    return (
        not body.carriers
        and object.type == "MESH"
        and object.data.shape_keys is None
        and all(m.type in NEAR_MODIFIERS for m in object.modifiers)
    )


class Sets:
    """The bodies that may hide a kiss, read as meshes only where a box lies before the place."""

    def __init__(self, inside: Probe, bodies: Sequence[Body], unit: float) -> None:
        self.bodies, self.unit = list(bodies), unit
        inside.link(body.object for body in bodies)
        for body in bodies:
            for carrier, _ in body.carriers:
                inside.pull(carrier)
        self._triangles: dict[tuple[int, ...], tuple[int, Array]] = {}

    def at(self, graph: Any, asked: Asked) -> list[tuple[Topology, Array]]:
        """Those in the frame at hand that may hide one of the places, with the world places (n, 3) of their
        vertices."""
        out: list[tuple[Topology, Array]] = []
        for body in self.bodies if len(asked.places) else ():
            now = body.object.evaluated_get(graph)
            world = world_of(body, now, graph, self.unit)
            corners = np.array([tuple(c) for c in now.bound_box]) @ world[:3, :3].T + world[:3, 3]
            if not asked.behind(corners):
                continue
            with Evaluated(body.object, graph) as mesh:
                if mesh is None or not len(mesh.vertices):
                    continue
                count, triangles = self._triangles.get(body.key, (-1, np.zeros((0, 3), int)))
                if count != len(mesh.vertices):
                    triangles = triangles_of(mesh)
                    self._triangles[body.key] = (len(mesh.vertices), triangles)
                points = positions(mesh) @ world[:3, :3].T + world[:3, 3]
            none = np.zeros((0, 2), int)
            out.append(
                (Topology(np.arange(len(points)), triangles, none, none, np.zeros(0, bool), np.zeros(0, bool)), points)
            )
        return out
