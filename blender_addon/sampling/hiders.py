# SPDX-License-Identifier: GPL-3.0-or-later
"""The rest of the scene, by which a kiss may be hidden: what is far from every kiss is never evaluated as a mesh."""

from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core.numeric.affine import inverse
from ...core.numeric.camera import View
from ...core.numeric.topology import Topology
from .meshes import Evaluated, positions, triangles_of, world_of
from .probe import Probe
from .props import may_move
from .skins import Body

Array = np.ndarray

#: U about a place in the picture within which what stands before it may hide a part of the kiss.
MARGIN = 64.0
#: By how much of its diagonal a mesh may grow beyond the box that it has now, under modifiers of these types.
BOX_SPARE = 0.5
NEAR_MODIFIERS = (
    *("SUBSURF", "MULTIRES", "BEVEL", "SOLIDIFY", "SMOOTH", "CORRECTIVE_SMOOTH", "LAPLACIANSMOOTH", "CAST"),
    *("SIMPLE_DEFORM", "DECIMATE", "TRIANGULATE", "EDGE_SPLIT", "WEIGHTED_NORMAL", "WELD", "REMESH", "WIREFRAME"),
)


@dataclass(frozen=True)
class Asked:
    """What may be hidden in one frame: places (n, 2) U in the picture, and the depth in meters behind which nothing
    hides them."""

    seen: View
    places: Array
    depth: float

    def sight(self) -> tuple[Array, Array, Array]:
        """Where the lines of sight to the places start and end, both (n, 3) world meters, and how far about them, in
        meters (n,), a body still counts."""
        ends = [[self.seen.place(x, y, depth) for x, y in self.places.tolist()] for depth in (0.0, self.depth)]
        start, stop = (np.array(some).reshape(-1, 3) for some in ends)
        return start, stop, np.full(len(start), MARGIN * float(self.seen.meters_per_unit(self.depth)))


def hiders(
    aside: Probe, bodies: Sequence[Body], frames: Array, asked: Mapping[int, Asked], unit: float
) -> Generator[float, None, dict[int, list[Body]]]:
    """Sample -> the bodies that may hide something on it; samples without any are left out. In steps of a body or a
    frame.

    aside: a temporary scene in which nothing is yet. frames (F,): the shot's scene frames. What may grow far beyond its
    box is never ruled out.
    """
    found: dict[int, list[Body]] = {}
    boxed = [body for body in bodies if _keeps_near(body)]
    loose = [body for body in bodies if body not in boxed]
    samples = sorted(asked)
    if loose:
        found = {sample: list(loose) for sample in samples}
    boxes = {}
    for body in boxed:
        box = _box_of(body)
        if box is not None:
            boxes[body.key] = box
        yield 0.0
    boxed = [body for body in boxed if body.key in boxes]
    if not boxed or not samples:
        return found
    sights = [asked[sample].sight() for sample in samples]
    sight = tuple(np.concatenate(some) for some in zip(*sights, strict=True))
    row = np.repeat(np.arange(len(samples)), [len(start) for start, _, _ in sights])
    places = yield from _worlds(aside, boxed, frames[samples], unit)
    for body, worlds in zip(boxed, places, strict=True):
        met = crosses(boxes[body.key], worlds if len(worlds) == 1 else worlds[row], *sight)
        for n in np.unique(row[met]).tolist():
            found.setdefault(samples[n], []).append(body)
        yield 0.0
    return found


def crosses(box: Array, world: Array, start: Array, stop: Array, about: Array) -> Array:
    """(n,) whether lines from start to stop (n, 3), in world meters, come within ``about`` (n,) meters of a box.

    box (2, 3): its low and its high corner in a space of its own, and that space (n or 1, 4, 4) in world meters.
    """
    size = np.linalg.norm(world[:, :3, :3], axis=1)
    if not (np.abs(np.linalg.det(world[:, :3, :3])) > 1e-12 * size.prod(axis=1)).all():
        return np.ones(len(start), bool)  # flattened: nothing can be told
    back = inverse(world)
    a, b = ((back[:, :3, :3] @ p[:, :, None])[..., 0] + back[:, :3, 3] for p in (start, stop))
    room = about[:, None] / size
    low, high, along = box[0] - room - a, box[1] + room - a, b - a
    with np.errstate(divide="ignore", invalid="ignore"):
        one, two = low / along, high / along
    # A line that runs along a pair of sides is between them all the way or nowhere.
    inside = (low <= 0.0) & (high >= 0.0)
    still = np.abs(along) < 1e-12
    enter = np.where(still, np.where(inside, -np.inf, np.inf), np.minimum(one, two)).max(axis=1)
    leave = np.where(still, np.where(inside, np.inf, -np.inf), np.maximum(one, two)).min(axis=1)
    out: Array = np.maximum(enter, 0.0) <= np.minimum(leave, 1.0)
    return out


def _worlds(aside: Probe, bodies: Sequence[Body], frames: Array, unit: float) -> Generator[float, None, list[Array]]:
    """World matrices (F or 1, 4, 4) of the bodies in meters: only places are evaluated, no mesh."""
    moving = [may_move(body.object) for body in bodies]
    out = [np.zeros((len(frames) if moves else 1, 4, 4)) for moves in moving]
    for body in bodies:
        aside.pull(body.object)
    for n, frame in enumerate(frames.tolist() if any(moving) else frames[:1].tolist()):
        graph = aside.to(frame)
        for body, moves, worlds in zip(bodies, moving, out, strict=True):
            if moves or not n:
                worlds[n] = body.object.evaluated_get(graph).matrix_world
        yield 0.0
    for worlds in out:
        worlds[:, :3] *= unit
    return out


def _box_of(body: Body) -> Array | None:
    """Low and high corner (2, 3) of the body's box in its own space, with room for what its modifiers do; None without
    vertices."""
    points = np.empty(3 * len(body.object.data.vertices), np.float32)
    if not len(points):
        return None
    body.object.data.vertices.foreach_get("co", points)
    box = np.array([[extreme(points[k::3]) for k in range(3)] for extreme in (np.min, np.max)], float)
    spare = BOX_SPARE * float(np.linalg.norm(box[1] - box[0])) if len(body.object.modifiers) else 0.0
    return box + np.array([[-spare], [spare]])


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
            corners = np.array([tuple(c) for c in now.bound_box])
            box = np.stack([corners.min(axis=0), corners.max(axis=0)])
            if not crosses(box, world[None], *asked.sight()).any():
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
