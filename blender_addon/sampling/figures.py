# SPDX-License-Identifier: GPL-3.0-or-later
"""The things of a shot with their meshes: which vertices each owns, and where these are frame by frame."""

from collections.abc import Generator, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core.kiss import Thing
from ...core.measures.kiss_pairs import height_of, things_of
from ...core.numeric.camera import View
from ...core.numeric.topology import Topology, topology_steps, weld
from ...core.shot import Character, Shot
from .armatures import Member
from .meshes import Evaluated, positions, triangles_of, world_of
from .probe import Probe
from .skins import AT_ONCE, Body, Carriers, group_of_vertices, shown, skins_of, solids

Array = np.ndarray

#: First guess of how far a mesh reaches from its bones, as a share of the height, before one frame was measured.
REACH = 0.35


@dataclass
class _Source:
    """One body whose ``count`` vertices stand at ``offset`` among all; ``now``: the sample that places and world are
    of."""

    body: Body
    offset: int
    count: int
    now: int = -1
    places: Array | None = None
    world: Array | None = None
    broken: bool = False


class Figures:
    """All things of a shot that have an outline. A thing's topology is there once it was built; ``rest``: the bodies
    that belong to no thing; remarks: what cannot be judged."""

    def __init__(self, inside: Probe, scene: Any, shot: Shot, members: Sequence[Member]) -> None:
        self.inside, self.scene, self.shot = inside, scene, shot
        self.unit = float(scene.unit_settings.scale_length)
        self.members = [m for m in members if any(c.name == m.name for c in shot.characters)]
        self.characters: dict[str, Character] = {c.name: c for c in shot.characters}
        self.things = things_of(shot)
        self.remarks: list[str] = []
        self.topologies: dict[Thing, Topology] = {}
        self.graph: Any = None
        self.sample = -1
        self._sources: list[_Source] = []
        self._owned: dict[Thing, list[tuple[_Source, Array]]] = {}
        self._visible = shown(scene)
        self._bodies = {body.key: body for body in self._usable(solids(self._visible.values()))}
        self._props = {prop.name: self._bodies_of(prop.name) for prop in shot.props}
        taken = {body.key for some in self._props.values() for body in some}
        free = [body for key, body in self._bodies.items() if key not in taken]
        self._skins = {m.name: skins_of(m, free) for m in self.members}
        used = taken | {body.key for some in self._skins.values() for body, _ in some}
        self.rest = [body for key, body in self._bodies.items() if key not in used]

    def _usable(self, bodies: Any) -> list[Body]:
        out, hidden = [], []
        for body in bodies:
            if body.object.hide_viewport:
                hidden.append(body.object.name)
            else:
                out.append(body)
        if hidden:
            names = ", ".join(sorted(set(hidden))[:4]) + (" and others" if len(set(hidden)) > 4 else "")
            self.remarks.append(
                f"{names}: hidden in viewports but shown in renders, so Blender does not evaluate the outlines"
            )
        return out

    def _bodies_of(self, name: str) -> list[Body]:
        """The prop's own body, what it instances, and its children that are no props themselves."""
        root = self.scene.objects.get(name)
        if root is None:
            return []
        others = {p.name for p in self.shot.props} - {name}
        objects, waiting = [], [root]
        while waiting:
            object = waiting.pop()
            if object.session_uid in self._visible:
                objects.append(object)
            waiting += [
                child
                for child in object.children
                if child.name not in others and child.type != "ARMATURE" and self.scene.objects.get(child.name) == child
            ]
        return [body for body in solids(objects) if body.key in self._bodies]

    # ---- what is built ---------------------------------------------------------------------------------------------

    def build(self, needed: Iterable[Thing], sample: int) -> Iterator[None]:
        """Links the meshes that these things and the rest of their characters are made of, and finds their topology on
        a sample; a large mesh takes many steps."""
        needed = list(needed)
        characters = sorted({t.character for t in needed if t.character})
        props = sorted({t.name for t in needed if t.kind == "prop"})
        self._link(
            [b for name in characters for b, _ in self._skins.get(name, [])]
            + [b for name in props for b in self._props[name]]
        )
        self._go(sample)
        yield
        for name in characters:
            yield from self._build_character(name)
        for name in props:
            yield from self._build_prop(name)

    def unbuilt(self) -> list[Thing]:
        """What has a surface but was not built: what stood far from every pair."""
        with_skin = {name for name, some in self._skins.items() if some}
        built = {t.character for t in self.topologies if t.character}
        return [
            t
            for t in self.things
            if (t.kind == "part" and t.character in with_skin - built)
            or (t.kind == "prop" and t not in self.topologies and self._props[t.name])
        ]

    def _link(self, bodies: Sequence[Body]) -> None:
        self.inside.link(body.object for body in bodies)
        for body in bodies:
            for carrier, _ in body.carriers:
                self.inside.pull(carrier)

    def _build_character(self, name: str) -> Iterator[None]:
        member = next((m for m in self.members if m.name == name), None)
        if member is None:
            return
        carriers = Carriers(member)
        triangles, groups, places = [], [], []
        for body, bone in self._skins[name]:
            source, local, rest = self._add(body)
            yield
            if source is None or local is None:
                continue
            if bone:
                own = np.full(source.count, carriers.of(*bone.split("/", 1)), float)
                own = np.where(np.isfinite(own), own, -1).astype(int)
            elif body.object.type == "MESH":
                mesh = body.object.evaluated_get(self.graph).data
                armatures = tuple(rig.name for rig in member.rigs)
                own = yield from group_of_vertices(body.object, mesh, carriers, armatures)
            else:
                own = np.full(source.count, -1)
            own = self._nearest_group(name, carriers, source, own)
            groups.append(_majority(own[local]))
            triangles.append(local + source.offset)
            yield
            places.append((source.offset, weld(rest) + source.offset))
            yield
        if not triangles:
            return
        tri, group, welded = np.concatenate(triangles), np.concatenate(groups), self._welded(places)
        for thing in self.things:
            if thing.character != name:
                continue
            if thing.kind == "character":
                yield from self._own(thing, tri, welded)
            elif thing.name in carriers.groups:
                mine = group == carriers.groups.index(thing.name)
                if mine.any():
                    yield from self._own(thing, tri[mine], welded)

    def _build_prop(self, name: str) -> Iterator[None]:
        triangles, places = [], []
        for body in self._props[name]:
            source, local, rest = self._add(body)
            if source is not None and local is not None:
                triangles.append(local + source.offset)
                yield
                places.append((source.offset, weld(rest) + source.offset))
            yield
        if triangles:
            yield from self._own(Thing(name, "prop"), np.concatenate(triangles), self._welded(places))

    def _own(self, thing: Thing, triangles: Array, welded: Array) -> Generator[None, None, None]:
        top = yield from topology_steps(triangles, welded)
        self.topologies[thing] = top
        owned = self._owned[thing] = []
        for source in self._sources:
            low, high = np.searchsorted(top.vertices, (source.offset, source.offset + source.count))
            if high > low:
                owned.append((source, top.vertices[low:high] - source.offset))

    def _welded(self, places: Sequence[tuple[int, Array]]) -> Array:
        out = np.arange(self._sources[-1].offset + self._sources[-1].count)
        for offset, ids in places:
            out[offset : offset + len(ids)] = ids
        return out

    def _add(self, body: Body) -> tuple[_Source | None, Array | None, Array]:
        """A new source, its triangles (t, 3) and the rest places (n, 3) by which doubled vertices are welded."""
        with Evaluated(body.object, self.graph) as mesh:
            count = 0 if mesh is None else len(mesh.vertices)
            triangles = None if mesh is None else triangles_of(mesh)
            if mesh is None or triangles is None or not len(triangles):
                return None, None, np.zeros((0, 3))
            places = positions(mesh)
        base = body.object.data
        if body.object.type == "MESH" and len(base.vertices) == count:
            places = positions(base)
        offset = self._sources[-1].offset + self._sources[-1].count if self._sources else 0
        self._sources.append(_Source(body, offset, count))
        return self._sources[-1], triangles, places

    def _nearest_group(self, name: str, carriers: Carriers, source: _Source, own: Array) -> Array:
        """Vertices that no bone holds go to the group whose bones are nearest now."""
        loose = np.flatnonzero(own < 0)
        if not len(loose):
            return own
        places, world = self._now(source)
        points = places[loose] @ world[:3, :3].T + world[:3, 3]
        best = np.full(len(loose), np.inf)
        own = own.copy()
        for thing in self.things:
            if thing.kind == "part" and thing.character == name and thing.name in carriers.groups:
                d = self._to_bones(thing, points)
                nearer = d < best
                best[nearer], own[loose[nearer]] = d[nearer], carriers.groups.index(thing.name)
        return own

    # ---- frames ----------------------------------------------------------------------------------------------------

    def go(self, sample: int) -> bool:
        """Evaluates the scene on a sample, unless it is there already; whether it was not."""
        goes = sample != self.sample
        if goes:
            self._go(sample)
        return goes

    def _go(self, sample: int) -> None:
        self.graph = self.inside.to(float(self.shot.frames[sample]))
        self.sample = sample
        for source in self._sources:
            source.now = -1

    def flat(self, thing: Thing, seen: View) -> tuple[Array, Array, Array]:
        """Picture x, y and nearness of the vertices of a thing's topology in the frame at hand; NaN where a mesh has
        changed its number of vertices."""
        pieces = []
        for source, rows in self._owned[thing]:
            places, world = self._now(source)
            own = places if len(rows) == source.count else places.take(rows, axis=0)
            pieces.append(seen.project(own, world))
        if len(pieces) == 1:
            return pieces[0]
        x, y, w = (np.concatenate(v) for v in zip(*pieces, strict=True))
        return x, y, w

    def _now(self, source: _Source) -> tuple[Array, Array]:
        """Places (n, 3) of a source's vertices in the frame at hand, in its own space, and that space (4, 4) in world
        meters."""
        if source.now != self.sample or source.places is None or source.world is None:
            source.places, source.world = self._fetch(source)
            source.now = self.sample
        return source.places, source.world

    def _fetch(self, source: _Source) -> tuple[Array, Array]:
        now = source.body.object.evaluated_get(self.graph)
        with Evaluated(source.body.object, self.graph) as mesh:
            if mesh is None or len(mesh.vertices) != source.count:
                if not source.broken:
                    source.broken = True
                    self.remarks.append(
                        f"{source.body.object.name} changes its number of vertices during the shot, "
                        "so its outline is judged only where it has as many as on the first frame looked at"
                    )
                return np.full((source.count, 3), np.nan), np.eye(4)
            return positions(mesh), world_of(source.body, now, self.graph, self.unit)

    # ---- how far meshes reach --------------------------------------------------------------------------------------

    def guesses(self) -> dict[Thing, float]:
        """How far each thing's mesh may reach from its bones or its origin, meters, before any was evaluated."""
        return {t: self.reach_of(t.name) if t.kind == "prop" else REACH * self._height(t) for t in self.things}

    def reaches(self) -> Generator[float, None, dict[Thing, float]]:
        """How far the meshes of what is built reach in the frame at hand, with a tenth of room; the rest guessed. In
        steps of some vertices."""
        found = self.guesses()
        for thing in self.topologies:
            far = 0.0
            for source, rows in self._owned[thing]:
                places, world = self._now(source)
                for begin in range(0, len(rows), AT_ONCE):
                    points = places.take(rows[begin : begin + AT_ONCE], axis=0) @ world[:3, :3].T + world[:3, 3]
                    far = max(far, self._reaches(thing, points))
                    yield 0.0
            found[thing] = far * 1.1 + 0.01
        return found

    def _height(self, thing: Thing) -> float:
        return height_of(self.characters[thing.character])

    def reach_of(self, name: str) -> float:
        """Meters from a prop's origin to the farthest corner of its bodies' boxes, as the person's scene stands now."""
        root = self.scene.objects.get(name)
        far = [0.05]
        for body in self._props[name]:
            if body.carriers:
                continue
            corners = np.array([tuple(c) for c in body.object.bound_box]) @ np.array(body.object.matrix_world)[:3, :3].T
            corners = corners + np.array(body.object.matrix_world.translation)
            far.append(
                float(np.linalg.norm(corners - np.array(root.matrix_world.translation), axis=1).max()) * self.unit
            )
        prop = next(p for p in self.shot.props if p.name == name)
        return max(max(far), prop.size / 2.0)

    def _reaches(self, thing: Thing, points: Array) -> float:
        """Meters from the thing's bones or its origin to the farthest of some of its vertices (n, 3)."""
        if thing.kind == "prop":
            origin = next(p.origin for p in self.shot.props if p.name == thing.name)[self.sample]
            best = np.linalg.norm(points - origin, axis=1)
        else:
            best = self._to_bones(thing, points)
        return float(np.nanmax(best, initial=0.0))

    def _to_bones(self, thing: Thing, points: Array) -> Array:
        """(n,) distances of points (n, 3) to the nearest of the thing's bones on the sample at hand."""
        character = self.characters[thing.character]
        best = np.full(len(points), np.inf)
        for part in thing.parts:
            start, stop = character.head(part)[self.sample], character.end(part)[self.sample]
            best = np.minimum(best, _to_segment(points, start, stop))
        return best


def _to_segment(points: Array, start: Array, stop: Array) -> Array:
    along = stop - start
    t = np.clip((points - start) @ along / max(float(along @ along), 1e-12), 0.0, 1.0)
    out: Array = np.linalg.norm(points - start - t[:, None] * along, axis=1)
    return out


def _majority(corners: Array) -> Array:
    """(t,) the group of most of a triangle's corners (t, 3); the first corner's where all differ."""
    a, b, c = corners.T
    out: Array = np.where(b == c, b, a)
    return out
