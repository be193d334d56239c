# SPDX-License-Identifier: GPL-3.0-or-later
"""The second pass over a shot: outlines of evaluated meshes in its camera, reduced at once, never stored.

Few frames are looked at: those at which the poses say that two things may come near each other in the picture, every
third of
them at 24 frames a second, then the frames around a kiss. Only where a kiss holds long enough is the rest of the scene
evaluated as well, to see whether it hides the place.
"""

from collections.abc import Generator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ...core.kiss import Kiss, Kisses, PairKisses, Thing
from ...core.measures.kiss_pairs import Pair, camera_runs, height_of, pairs_of, things_of
from ...core.measures.kisses import first_look, follow, gate, held, second_look, view_of
from ...core.numeric.camera import View
from ...core.numeric.kissing import BEHIND, NEAR_GAP, Picture, kisses
from ...core.numeric.topology import Topology, topology, weld
from ...core.shot import Shot
from .armatures import Member
from .probe import Probe
from .props import may_move
from .skins import Body, Carriers, group_of_vertices, shown, skins_of, solids

Array = np.ndarray

#: Seconds that a kiss must hold before the rest of the scene is asked whether it hides it.
HOLDS = 0.25

#: U around a box within which a place may still lie behind it.
MARGIN = 64.0
#: By how much of its diagonal a mesh may grow beyond the box that it has now, under modifiers of these types.
BOX_SPARE = 0.5
NEAR_MODIFIERS = (
    *("SUBSURF", "MULTIRES", "BEVEL", "SOLIDIFY", "SMOOTH", "CORRECTIVE_SMOOTH", "LAPLACIANSMOOTH", "CAST"),
    *("SIMPLE_DEFORM", "DECIMATE", "TRIANGULATE", "EDGE_SPLIT", "WEIGHTED_NORMAL", "WELD", "REMESH", "WIREFRAME"),
)

#: First guess of how far a mesh reaches from its bones, as a share of the height, before one frame was measured.
REACH = 0.35


def sweep_kisses(inside: Probe, scene: Any, shot: Shot, members: Sequence[Member]) -> Generator[float, None, Kisses]:
    """The kisses of the shot's default pairs; yields the part done, 0 to 1.

    inside: the temporary scene, in which the shot's poses and cameras were read; meshes are linked into it only where a
    pair
    may kiss at all. members: the cast that the shot's characters were made of.
    """
    if shot.camera is None:
        return Kisses((), ())
    stage = _Stage(inside, scene, shot, members)
    return (yield from stage.run())


@dataclass
class _Source:
    """One body whose vertices stand at ``offset`` among all; ``things`` that own some of it."""

    body: Body
    offset: int
    count: int
    now: int = -1
    places: Array | None = None
    flat: tuple[Array, ...] | None = None
    world: Array = field(default_factory=lambda: np.eye(4))
    broken: bool = False


class _Stage:
    """All things of a shot with their meshes, and what is read of them frame by frame."""

    def __init__(self, inside: Probe, scene: Any, shot: Shot, members: Sequence[Member]) -> None:
        self.inside, self.scene, self.shot = inside, scene, shot
        self.unit = float(scene.unit_settings.scale_length)
        self.members = [m for m in members if any(c.name == m.name for c in shot.characters)]
        self.visible = shown(scene)
        self.remarks: list[str] = []
        self.sources: list[_Source] = []
        self.topologies: dict[Thing, Topology] = {}
        self.graph: Any = None
        self.sample = -1
        bodies = self._usable(solids(self.visible.values()))
        self.bodies = {body.key: body for body in bodies}
        self.props = {prop.name: self._bodies_of(prop.name) for prop in shot.props}
        taken = {body.key for some in self.props.values() for body in some}
        free = [body for key, body in self.bodies.items() if key not in taken]
        self.skins = {m.name: skins_of(m, free) for m in self.members}
        used = taken | {body.key for some in self.skins.values() for body, _ in some}
        self.stand = _Stands([body for key, body in self.bodies.items() if key not in used], self.unit)

    # ---- what there is ---------------------------------------------------------------------------------------------

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
            if object.session_uid in self.visible:
                objects.append(object)
            waiting += [
                child
                for child in object.children
                if child.name not in others and child.type != "ARMATURE" and self.scene.objects.get(child.name) == child
            ]
        return [body for body in solids(objects) if body.key in self.bodies]

    # ---- the passes ------------------------------------------------------------------------------------------------

    def run(self) -> Generator[float, None, Kisses]:
        shot = self.shot
        radii = {name: self._reach_of(name, bodies) for name, bodies in self.props.items()}
        pairs: Sequence[Pair] = pairs_of(shot, radii)
        guess = {
            t: radii.get(t.name, 0.1) if t.kind == "prop" else REACH * self._height(t)
            for pair in pairs
            for t in (pair.a, pair.b)
        }
        passed = gate(shot, pairs, guess)
        if not passed.any():
            return self._result(pairs, {})
        yield 0.02
        pairs, passed = yield from self._build(pairs, passed)
        if not passed.any():
            return self._result(pairs, {})
        found: dict[tuple[int, int], list[Kiss]] = {}
        first = first_look(passed, shot.rate)
        for n, sample in enumerate(first.tolist()):
            self._look(pairs, np.flatnonzero(passed[:, sample]), sample, found)
            yield 0.05 + 0.55 * (n + 1) / len(first)
        hits = np.zeros_like(passed)
        for (p, sample), some in found.items():
            hits[p, sample] = bool(some)
        again = second_look(passed, hits, shot.rate)
        second = np.flatnonzero(again.any(axis=0))
        for n, sample in enumerate(second.tolist()):
            self._look(pairs, np.flatnonzero(again[:, sample]), sample, found)
            yield 0.6 + 0.3 * (n + 1) / len(second)
        yield from self._hide(pairs, found)
        return self._result(pairs, found)

    def _look(
        self,
        pairs: Sequence[Pair],
        which: Array,
        sample: int,
        found: dict[tuple[int, int], list[Kiss]],
        sets: "_Sets | None" = None,
    ) -> None:
        assert self.shot.camera is not None
        seen = view_of(self.shot.camera, sample)
        if seen is None:
            return
        self._go(sample)
        self.stand.note(sample, self.graph)
        things = list(self.topologies)
        index = {t: n for n, t in enumerate(things)}
        tops = [self.topologies[t] for t in things]
        if sets is not None:
            extra = sets.at(self.graph, seen, *_asked(pairs, which, sample, found))
            tops = [*tops, *(top for top, _ in extra)]
        else:
            extra = []
        picture = Picture(
            seen, tops, lambda n: self._flat(tops[n], seen) if n < len(things) else extra[n - len(things)][1]
        )
        for p in which.tolist():
            pair = pairs[p]
            if pair.a not in index or pair.b not in index:
                continue
            thirds = [
                index[t] for t in things if t.kind != "character" and not _same(t, pair.a) and not _same(t, pair.b)
            ]
            thirds += range(len(things), len(tops))
            found[p, sample] = [
                k.at(sample) for k in kisses(picture, index[pair.a], index[pair.b], thirds, pair.height)
            ]

    def _hide(self, pairs: Sequence[Pair], found: dict[tuple[int, int], list[Kiss]]) -> Generator[float, None, None]:
        """Looks again, with all the rest of the scene, where a kiss holds."""
        least = max(1, int(np.ceil(HOLDS * self.shot.rate - 1e-3)))
        wanted: dict[int, set[int]] = {}
        assert self.shot.camera is not None
        for p, pair in enumerate(pairs):
            all_ = tuple(k for key in sorted(k for k in found if k[0] == p) for k in found[key])
            for track in follow(PairKisses(pair.a, pair.b, all_), camera_runs(self.shot.camera)):
                for stretch in held(track, NEAR_GAP, least):
                    for k in stretch.kisses:
                        wanted.setdefault(k.sample, set()).add(p)
        if not wanted:
            return
        yield from self._build_all()
        asked = {}
        for sample, some in wanted.items():
            seen = view_of(self.shot.camera, sample)
            if seen is not None:
                asked[sample] = (seen, *_asked(pairs, np.array(sorted(some)), sample, found))
        sets = _Sets(self.inside, self.stand.before(asked), self.unit)
        for n, sample in enumerate(sorted(wanted)):
            self._look(pairs, np.array(sorted(wanted[sample])), sample, found, sets)
            yield 0.9 + 0.1 * (n + 1) / len(wanted)

    def _result(self, pairs: Sequence[Pair], found: Mapping[tuple[int, int], list[Kiss]]) -> Kisses:
        return Kisses(
            tuple(
                PairKisses(
                    pair.a, pair.b, tuple(k for key in sorted(k for k in found if k[0] == p) for k in found[key])
                )
                for p, pair in enumerate(pairs)
            ),
            tuple(dict.fromkeys(self.remarks)),
        )

    # ---- meshes ----------------------------------------------------------------------------------------------------

    def _build(self, pairs: Sequence[Pair], passed: Array) -> Generator[float, None, tuple[list[Pair], Array]]:
        """Links the meshes of the pairs that pass, finds their topology, and gates again by how far they really
        reach."""
        needed = {t for p, pair in enumerate(pairs) if passed[p].any() for t in (pair.a, pair.b)}
        characters = {t.character for t in needed if t.character}
        props = {t.name for t in needed if t.kind == "prop"}
        self._link(
            [b for name in characters for b, _ in self.skins.get(name, [])]
            + [b for name in props for b in self.props[name]]
        )
        self.stand.follow(self.inside)
        self._go(int(np.flatnonzero(passed.any(axis=0))[0]))
        for name in sorted(characters):
            self._build_character(name)
            yield 0.02
        for name in sorted(props):
            self._build_prop(name)
            yield 0.02
        for t in needed:
            if t not in self.topologies:
                what = f"the {t.name} of {t.character}" if t.kind == "part" else t.name
                self.remarks.append(f"{what} has no surface that a render shows, so it has no outline")
        kept = [pair for pair in pairs if pair.a in self.topologies and pair.b in self.topologies]
        radii = {t: self._reaches(t) for pair in kept for t in (pair.a, pair.b)}
        return kept, gate(self.shot, kept, radii)

    def _build_all(self) -> Generator[float, None, None]:
        """The things that were far from every kiss, too: they may hide one."""
        self._link(
            [b for some in self.skins.values() for b, _ in some] + [b for some in self.props.values() for b in some]
        )
        self._go(self.sample, again=True)
        for member in self.members:
            if not any(t.character == member.name for t in self.topologies):
                self._build_character(member.name)
                yield 0.9
        for name in self.props:
            if not any(t.kind == "prop" and t.name == name for t in self.topologies):
                self._build_prop(name)
                yield 0.9

    def _link(self, bodies: Sequence[Body]) -> None:
        self.inside.link(body.object for body in bodies)
        for body in bodies:
            for carrier, _ in body.carriers:
                self.inside.pull(carrier)

    def _build_character(self, name: str) -> None:
        member = next((m for m in self.members if m.name == name), None)
        if member is None:
            return
        carriers = Carriers(member)
        triangles, groups, places = [], [], []
        for body, bone in self.skins[name]:
            source, local, rest = self._add(body)
            if source is None or local is None:
                continue
            if bone:
                own = np.full(source.count, carriers.of(*bone.split("/", 1)), float)
                own = np.where(np.isfinite(own), own, -1).astype(int)
            else:
                mesh = body.object.evaluated_get(self.graph).data
                armatures = tuple(rig.name for rig in member.rigs)
                own = (
                    group_of_vertices(body.object, mesh, carriers, armatures)
                    if body.object.type == "MESH"
                    else np.full(source.count, -1)
                )
            own = self._nearest_group(name, carriers, source, own)
            groups.append(_majority(own[local]))
            triangles.append(local + source.offset)
            places.append((source.offset, weld(rest) + source.offset))
        if not triangles:
            return
        tri, group, welded = np.concatenate(triangles), np.concatenate(groups), self._welded(places)
        for g, label in enumerate(carriers.groups):
            character = next(c for c in self.shot.characters if c.name == name)
            thing = next(
                (
                    t
                    for t in things_of(self.shot)
                    if t.kind == "part" and t.character == character.name and t.name == label
                ),
                None,
            )
            if thing is not None and (group == g).any():
                self.topologies[thing] = topology(tri[group == g], welded)
        whole = next((t for t in things_of(self.shot) if t.kind == "character" and t.character == name), None)
        if whole is not None:
            self.topologies[whole] = topology(tri, welded)

    def _build_prop(self, name: str) -> None:
        triangles, places = [], []
        for body in self.props[name]:
            source, local, rest = self._add(body)
            if source is not None and local is not None:
                triangles.append(local + source.offset)
                places.append((source.offset, weld(rest) + source.offset))
        if triangles:
            self.topologies[Thing(name, "prop")] = topology(np.concatenate(triangles), self._welded(places))

    def _welded(self, places: Sequence[tuple[int, Array]]) -> Array:
        out = np.arange(self.sources[-1].offset + self.sources[-1].count)
        for offset, ids in places:
            out[offset : offset + len(ids)] = ids
        return out

    def _add(self, body: Body) -> tuple[_Source | None, Array | None, Array]:
        """A new source, its triangles (t, 3) and the rest places (n, 3) by which doubled vertices are welded."""
        with _mesh(body.object, self.graph) as mesh:
            count = 0 if mesh is None else len(mesh.vertices)
            triangles = None if mesh is None else triangles_of(mesh)
            if mesh is None or triangles is None or not len(triangles):
                return None, None, np.zeros((0, 3))
            places = positions(mesh)
        base = body.object.data
        if body.object.type == "MESH" and len(base.vertices) == count:
            places = positions(base)
        offset = self.sources[-1].offset + self.sources[-1].count if self.sources else 0
        self.sources.append(_Source(body, offset, count))
        return self.sources[-1], triangles, places

    def _nearest_group(self, name: str, carriers: Carriers, source: _Source, own: Array) -> Array:
        """Vertices that no bone holds go to the group whose bones are nearest now."""
        loose = np.flatnonzero(own < 0)
        if not len(loose):
            return own
        character = next(c for c in self.shot.characters if c.name == name)
        points = self._of(source)[loose]
        best = np.full(len(loose), np.inf)
        own = own.copy()
        for g, label in enumerate(carriers.groups):
            thing = next(
                t for t in things_of(self.shot) if t.kind == "part" and t.character == name and t.name == label
            )
            for part in thing.parts:
                d = _to_segment(points, character.head(part)[self.sample], character.end(part)[self.sample])
                nearer = d < best
                best[nearer], own[loose[nearer]] = d[nearer], g
        return own

    # ---- frames ----------------------------------------------------------------------------------------------------

    def _go(self, sample: int, again: bool = False) -> None:
        if sample != self.sample or again:
            self.graph = self.inside.to(float(self.shot.frames[sample]))
            self.sample = sample
            for source in self.sources:
                source.now = -1

    def _now(self, source: _Source) -> Array:
        """Places (n, 3) of a source's vertices in the frame at hand, in its own space; NaN once these have changed
        number."""
        if source.now != self.sample:
            source.places, source.world = self._fetch(source)
            source.now, source.flat = self.sample, None
        assert source.places is not None
        return source.places

    def _of(self, source: _Source) -> Array:
        """World places (n, 3) in metres of a source's vertices in the frame at hand."""
        return self._now(source) @ source.world[:3, :3].T + source.world[:3, 3]

    def _fetch(self, source: _Source) -> tuple[Array, Array]:
        now = source.body.object.evaluated_get(self.graph)
        with _mesh(source.body.object, self.graph) as mesh:
            if mesh is None or len(mesh.vertices) != source.count:
                if not source.broken:
                    source.broken = True
                    self.remarks.append(
                        f"{source.body.object.name} changes its number of vertices during the shot, "
                        "so its outline is judged only where it has as many as on the first frame looked at"
                    )
                return np.full((source.count, 3), np.nan), np.eye(4)
            return positions(mesh), world_of(source.body, now, self.graph, self.unit)

    def _read(self, top: Topology) -> Array:
        """World places (n, 3) of a topology's vertices."""
        return np.concatenate([self._of(source)[rows] for source, rows in self._rows(top)])

    def _flat(self, top: Topology, seen: View) -> tuple[Array, Array, Array]:
        """Picture x, y and nearness of a topology's vertices: every source is projected once a frame, as a whole."""
        pieces = []
        for source, rows in self._rows(top):
            places = self._now(source)
            if source.flat is None:
                source.flat = seen.project(places, source.world)
            pieces.append(source.flat if len(rows) == source.count else tuple(v[rows] for v in source.flat))
        if len(pieces) > 1:
            pieces = [tuple(np.concatenate(v) for v in zip(*pieces, strict=True))]
        x, y, w = pieces[0]
        return x, y, w

    def _rows(self, top: Topology) -> list[tuple[_Source, Array]]:
        """The sources of a topology's vertices, in their order, each with its own vertices that take part."""
        found = []
        for source in self.sources:
            low, high = np.searchsorted(top.vertices, (source.offset, source.offset + source.count))
            if high > low:
                found.append((source, top.vertices[low:high] - source.offset))
        return found

    def _height(self, thing: Thing) -> float:
        return height_of(next(c for c in self.shot.characters if c.name == thing.character))

    def _reach_of(self, name: str, bodies: Sequence[Body]) -> float:
        """Metres from a prop's origin to the farthest corner of its bodies' boxes, as the person's scene stands now."""
        root = self.scene.objects.get(name)
        far = [0.05]
        for body in bodies:
            if body.carriers:
                continue
            corners = np.array([tuple(c) for c in body.object.bound_box]) @ np.array(body.object.matrix_world)[:3, :3].T
            corners = corners + np.array(body.object.matrix_world.translation)
            far.append(
                float(np.linalg.norm(corners - np.array(root.matrix_world.translation), axis=1).max()) * self.unit
            )
        prop = next(p for p in self.shot.props if p.name == name)
        return max(max(far), prop.size / 2.0)

    def _reaches(self, thing: Thing) -> float:
        """How far the thing's mesh reaches from its bones or origin in the frame at hand, with a tenth of room."""
        points = self._read(self.topologies[thing])
        best = np.full(len(points), np.inf)
        if thing.kind == "prop":
            origin = next(p.origin for p in self.shot.props if p.name == thing.name)[self.sample]
            best = np.linalg.norm(points - origin, axis=1)
        else:
            character = next(c for c in self.shot.characters if c.name == thing.character)
            for part in thing.parts:
                best = np.minimum(
                    best, _to_segment(points, character.head(part)[self.sample], character.end(part)[self.sample])
                )
        return float(np.nanmax(best, initial=0.0)) * 1.1 + 0.01


class _Stands:
    """Where the rest of the scene stands while only places are evaluated, so that what is far from every kiss in the
    picture need not be evaluated as a mesh. What may grow far beyond its box is never ruled out."""

    def __init__(self, bodies: Sequence[Body], unit: float) -> None:
        self.unit = unit
        self._always = [body for body in bodies if not _keeps_near(body)]
        self._boxed = [body for body in bodies if _keeps_near(body)]
        self._moving = [body for body in self._boxed if may_move(body.object)]
        self._worlds: dict[int, dict[tuple[int, ...], Any]] = {}
        self._still: dict[tuple[int, ...], Any] = {}

    def follow(self, inside: Probe) -> None:
        for body in self._boxed:
            inside.pull(body.object)

    def note(self, sample: int, graph: Any) -> None:
        if not self._worlds:
            self._still = {b.key: b.object.evaluated_get(graph).matrix_world.copy() for b in self._boxed}
        if sample not in self._worlds:
            self._worlds[sample] = {b.key: b.object.evaluated_get(graph).matrix_world.copy() for b in self._moving}

    def before(self, asked: Mapping[int, tuple[View, Sequence[Array], float]]) -> list[Body]:
        """The bodies that may cover a place on some sample: sample -> view, places and depth as in ``_Sets.at``."""
        found = list(self._always)
        for body in self._boxed:
            points = np.empty(3 * len(body.object.data.vertices), np.float32)
            if not len(points):
                continue
            body.object.data.vertices.foreach_get("co", points)
            low, high = (extreme(points.reshape(-1, 3), axis=0) for extreme in (np.min, np.max))
            box = np.array([[(low, high)[i >> k & 1][k] for k in range(3)] for i in range(8)], float)
            spare = BOX_SPARE * float(np.linalg.norm(high - low)) if len(body.object.modifiers) else 0.0
            corners = box + np.where(box > (low + high) / 2.0, spare, -spare)
            for sample, (seen, places, depth) in asked.items():
                world = np.array(self._worlds[sample].get(body.key, self._still[body.key]), float)
                world[:3] *= self.unit
                if _may_cover(seen, corners @ world[:3, :3].T + world[:3, 3], places, depth):
                    found.append(body)
                    break
        return found


class _Sets:
    """All the rest of the scene, by which a kiss may be hidden: read only where a box lies before the place."""

    def __init__(self, inside: Probe, bodies: Sequence[Body], unit: float) -> None:
        self.bodies, self.unit = list(bodies), unit
        inside.link(body.object for body in bodies)
        for body in bodies:
            for carrier, _ in body.carriers:
                inside.pull(carrier)
        self._triangles: dict[tuple[int, ...], tuple[int, Array]] = {}

    def at(self, graph: Any, seen: View, places: Sequence[Array], depth: float) -> list[tuple[Topology, Array]]:
        """Those in the frame at hand that may cover one of the picture's places (2,) U nearer than ``depth`` metres."""
        out: list[tuple[Topology, Array]] = []
        for body in self.bodies if places else ():
            now = body.object.evaluated_get(graph)
            world = world_of(body, now, graph, self.unit)
            corners = np.array([tuple(c) for c in now.bound_box]) @ world[:3, :3].T + world[:3, 3]
            if not _may_cover(seen, corners, places, depth):
                continue
            with _mesh(body.object, graph) as mesh:
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


# ---- reading Blender's meshes --------------------------------------------------------------------------------------


class _mesh:
    """The evaluated mesh of a solid object as a context, None where it has none."""

    def __init__(self, object: Any, graph: Any) -> None:
        self._now = object.evaluated_get(graph)
        self._made = object.type != "MESH"

    def __enter__(self) -> Any:
        if not self._made:
            return self._now.data
        try:
            return self._now.to_mesh()
        except RuntimeError:  # no geometry, as in an empty text
            return None

    def __exit__(self, *_: object) -> None:
        if self._made:
            self._now.to_mesh_clear()


def positions(mesh: Any) -> Array:
    """(n, 3) vertex places in the object's own space, single floats as Blender keeps them."""
    buffer = np.empty(3 * len(mesh.vertices), np.float32)
    if len(buffer):
        mesh.attributes["position"].data.foreach_get("vector", buffer)
    return buffer.reshape(-1, 3)


def triangles_of(mesh: Any) -> Array:
    """(t, 3) vertex indices of the mesh's triangles."""
    mesh.calc_loop_triangles()
    buffer = np.empty(3 * len(mesh.loop_triangles), np.int32)
    mesh.loop_triangles.foreach_get("vertices", buffer)
    return buffer.reshape(-1, 3).astype(np.int64)


def world_of(body: Body, now: Any, graph: Any, unit: float) -> Array:
    """(4, 4) from the object's own space to world metres."""
    world = np.array(now.matrix_world, float)
    for carrier, offset in reversed(body.carriers):
        shift = np.eye(4)
        shift[:3, 3] = -np.array(offset)
        world = np.array(carrier.evaluated_get(graph).matrix_world, float) @ shift @ world
    world[:3] *= unit
    return world


def _asked(
    pairs: Sequence[Pair], which: Array, sample: int, found: Mapping[tuple[int, int], list[Kiss]]
) -> tuple[list[Array], float]:
    """The places of a sample's kisses, and the depth in metres behind which nothing can cover them."""
    some = [k for p in which for k in found.get((int(p), sample), [])]
    depth = max((max(k.depth_a, k.depth_b) for k in some), default=0.0)
    return [np.array(k.place) for k in some], depth + BEHIND * max(pair.height for pair in pairs)


def _may_cover(seen: View, corners: Array, places: Sequence[Array], depth: float) -> bool:
    """Whether a box of these corners (8, 3) may lie before one of the picture's places, within ``depth`` metres."""
    x, y, w = seen.project(corners)
    if not np.isfinite(w).all():
        return bool(np.isfinite(w).any())
    if seen.depth(float(w.max())) > depth:
        return False
    low, high = (x.min() - MARGIN, y.min() - MARGIN), (x.max() + MARGIN, y.max() + MARGIN)
    return any(low[0] <= p[0] <= high[0] and low[1] <= p[1] <= high[1] for p in places)


def _keeps_near(body: Body) -> bool:
    """Whether a mesh stays near its own box whatever its modifiers do."""
    object = body.object
    return (
        not body.carriers
        and object.type == "MESH"
        and object.data.shape_keys is None
        and all(m.type in NEAR_MODIFIERS for m in object.modifiers)
    )


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


def _same(third: Thing, thing: Thing) -> bool:
    """Whether ``third`` is ``thing`` or lies in it."""
    return third == thing or (thing.kind == "character" and third.character == thing.character)
