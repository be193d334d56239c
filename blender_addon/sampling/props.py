# SPDX-License-Identifier: GPL-3.0-or-later
"""Props and ground: what the person has marked, else what moves, and what the feet stand on.

Marks are plain custom properties of the object: ``plumbline_prop`` and ``plumbline_ground``, true or false. A thing
whose weight ``plumbline_mass`` tells, in kilograms, is a prop.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from mathutils import Vector

from ...core import body
from ...core.need import Need
from ...core.numeric.cast import Floor
from ...core.shot import Character, Prop, Surface
from .character import unscaled
from .keys import keys_of
from .presence import seen, simulated
from .probe import Probe
from .reach import Judged
from .readers import PlaceReader
from .skeleton import armatures_of
from .stands import Stands
from .triangles import over, plain, spreads, triangles_of
from .weights import MASS, center_of, told_mass

Array = np.ndarray

PROP, GROUND = "plumbline_prop", "plumbline_ground"
#: What moves less than this (share of its size; radians) stands still.
STILL_SHARE, STILL_TURN = 1e-3, 1e-3
#: Casts down from the ankle: how far above it they begin and how far below they reach, over leg length.
ABOVE, BELOW = 0.15, 0.4
#: Share of the looked-at frames on which a mesh must be under a foot to be ground, and how many frames are looked at.
UNDER_SHARE, LOOKS = 0.05, 60
#: A plain mesh of up to so many faces is cast at by numpy; beyond, evaluating it costs no more.
PLAIN_FACES = 20_000


@dataclass(frozen=True)
class _Thing:
    object: Any
    marked_prop: bool | None
    marked_ground: bool | None
    moves: bool
    body: bool


class Things:
    """The props and the ground of one sweep. Only places are evaluated during it, never a mesh."""

    inside: Probe

    def __init__(self, scene: Any, needs: Need, stands: Stands) -> None:
        self.scene, self.stands = scene, stands
        self.wants_props, self.wants_ground = Need.PROPS in needs, Need.GROUND in needs
        self.remarks: list[str] = []
        self._things = list(_things(scene, self.remarks)) if self.wants_props or self.wants_ground else []
        self._readers: dict[int, PlaceReader] = {}
        self._triangles: dict[int, Array] = {}

    def enter(self, inside: Probe) -> None:
        """Has the places evaluated in a temporary scene from now on."""
        self.inside = inside
        for thing in self._things:
            if thing.moves:
                inside.pull(thing.object)

    def readers(self, frames: int) -> list[PlaceReader]:
        self._readers = {t.object.session_uid: PlaceReader(t.object, frames) for t in self._things if t.moves}
        return list(self._readers.values())

    def found(
        self, characters: Sequence[Character], unit: float, frames: int, judged: Judged
    ) -> tuple[tuple[Prop, ...], tuple[Surface, ...]]:
        """Props and surfaces, after the sweep."""
        props: list[Prop] = []
        still: list[_Thing] = []
        grounds: list[tuple[_Thing, str]] = []
        for thing in self._things:
            world = self._world(thing)
            moving = self._moving(thing, world)
            if thing.moves and simulated(thing.object):
                self.remarks.append(
                    f"{thing.object.name} is moved by rigid-body simulation, which the sweep cannot show; "
                    "bake the simulation to keys to have it measured"
                )
                continue
            if not np.isfinite(world).all():
                self.remarks.append(f"{thing.object.name} is left out: its place, turn or scale is not a number")
                continue
            if thing.marked_ground:
                grounds.append((thing, "it is marked as ground"))
            if thing.marked_prop or (
                thing.marked_prop is None and moving and not thing.body and not thing.marked_ground
            ):
                props.append(self._prop(thing, world, unit, frames, judged.first))
            elif not moving and not thing.body and thing.marked_ground is None and thing.object.type == "MESH":
                still.append(thing)
        if not self.wants_ground:
            return tuple(props), ()
        if not grounds:
            grounds = self._underfoot(still, characters, unit, judged)
        surfaces = [s for s in (self._surface(t, why, characters, unit, judged) for t, why in grounds) if s is not None]
        if not surfaces:
            surfaces = _plane(characters)
        return tuple(props) if self.wants_props else (), tuple(surfaces)

    def _world(self, thing: _Thing) -> Array:
        reader = self._readers.get(thing.object.session_uid)
        return np.array(self.stands.of(thing.object), float)[None] if reader is None else reader.matrices()

    @staticmethod
    def _moving(thing: _Thing, world: Array) -> bool:
        if len(world) == 1:
            return False
        size = max(
            float(np.abs(np.array(thing.object.bound_box)).max() if thing.object.type == "MESH" else 0.0)
            * float(np.abs(world[0, :3, :3]).max()),
            1e-6,
        )
        travel = float(np.ptp(world[:, :3, 3], axis=0).max())
        turn = float(np.ptp(world[:, :3, :3], axis=0).max()) / max(float(np.abs(world[0, :3, :3]).max()), 1e-12)
        return travel > STILL_SHARE * size or turn > STILL_TURN

    def _prop(self, thing: _Thing, world: Array, unit: float, frames: int, first: float) -> Prop:
        object = thing.object
        corners = np.array(object.bound_box, float)
        size = np.ptp(corners, axis=0) * np.linalg.norm(world[0, :3, :3], axis=0) * unit
        why = "it is marked as a prop" if thing.marked_prop else "it moves and is no part of a character"
        return Prop(
            name=object.name,
            why=why,
            origin=np.broadcast_to(world[:, :3, 3] * unit, (frames, 3)),
            axes=np.broadcast_to(unscaled(world[:, :3, :3]), (frames, 3, 3)),
            size=float(np.linalg.norm(size)),
            keys=keys_of([object], self.scene),
            mass=told_mass(object),
            center=center_of(object, world, unit, frames, lambda: self._faces(object, first)),
        )

    def _underfoot(
        self,
        still: Sequence[_Thing],
        characters: Sequence[Character],
        unit: float,
        judged: Judged,
    ) -> list[tuple[_Thing, str]]:
        """Still meshes that casts down from the lower foot meet."""
        casts = [cast for c in characters for cast in _ankles(c)]
        if not casts or not still:
            return []
        lo = np.min([p - BELOW * leg for p, leg in casts], axis=0) / unit
        hi = np.max([p + BELOW * leg for p, leg in casts], axis=0) / unit
        near = [t for t in still if _meets(t.object, self.stands.of(t.object), lo, hi)]
        if not near:
            return []
        starts = np.array([place / unit + (0.0, 0.0, ABOVE * leg / unit) for place, leg in casts])
        deepest = starts[:, 2] - (ABOVE + BELOW) * np.array([leg for _, leg in casts]) / unit
        heights = np.array(self._heights(near, starts, judged))
        heights = np.where(heights >= deepest, heights, -np.inf)  # NaN, where nothing is hit, is none as well
        winner = heights.argmax(axis=0)[np.isfinite(heights).any(axis=0)]
        need = max(1, int(UNDER_SHARE * len(casts)))
        return [
            (near[k], f"it stands still under the feet on {100 * n // len(casts)} % of the frames looked at")
            for k, n in enumerate(np.bincount(winner, minlength=len(near)).tolist())
            if n >= need
        ]

    def _heights(self, things: Sequence[_Thing], starts: Array, judged: Judged) -> list[Array]:
        """For each thing the heights (N,) at which it is met straight below ``starts`` (N, 3), scene units, NaN where
        it is not. A plain mesh of few faces is cast at as it is; others are evaluated."""
        simple_ones = [plain(t.object) and len(t.object.data.polygons) <= PLAIN_FACES for t in things]
        self.inside.link(t.object for t, simple in zip(things, simple_ones, strict=True) if not simple)
        graph = None if all(simple_ones) else self.inside.to(judged.first)
        out = []
        for thing, simple in zip(things, simple_ones, strict=True):
            if simple:
                triangles = over(self._plain_triangles(thing.object), self._world(thing)[0], starts)
                out.append(Floor(triangles, np.array([0.0, 0.0, 1.0])).under(starts, 0.0)[0])
                continue
            now = thing.object.evaluated_get(graph)
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

    def _plain_triangles(self, object: Any) -> Array:
        known = self._triangles.get(object.session_uid)
        if known is None:
            known = self._triangles[object.session_uid] = triangles_of(object.data)
        return known

    def _faces(self, object: Any, frame: Any) -> Array:
        """A mesh's triangles (T, 3, 3) in its own space, what its modifiers make of it on this frame."""
        if plain(object):
            return self._plain_triangles(object)
        self.inside.link([object])
        now = object.evaluated_get(self.inside.to(frame))
        try:
            return triangles_of(now.to_mesh())
        finally:
            now.to_mesh_clear()

    def _surface(
        self, thing: _Thing, why: str, characters: Sequence[Character], unit: float, judged: Judged
    ) -> Surface | None:
        object = thing.object
        if object.type != "MESH":
            self.remarks.append(f"{object.name} is marked as ground but is no mesh")
            return None
        triangles = self._faces(object, judged.first)
        if not len(triangles):
            self.remarks.append(f"{object.name} is marked as ground but has no faces")
            return None
        triangles = triangles[np.isfinite(triangles).all((1, 2))]
        if not len(triangles):
            self.remarks.append(f"{object.name} is marked as ground but its points are not numbers")
            return None
        world = self._world(thing)
        if not spreads(triangles, world):
            self.remarks.append(
                f"{object.name} is marked as ground but its scale leaves no area on it, so no foot can stand there"
            )
            return None
        moving = self._moving(thing, world)
        world = np.array(world if moving else world[:1])
        if not moving:
            triangles = _near(triangles, world[0], characters, unit)
        world[:, :3] *= unit
        return Surface(object.name, why, triangles, world)


def _things(scene: Any, remarks: list[str]) -> Iterator[_Thing]:
    """Every object that may be a prop or ground; what is wrong with their marks goes to ``remarks``."""
    shapes = {bone.custom_shape for o in scene.objects if o.type == "ARMATURE" and o.pose for bone in o.pose.bones}
    in_view = seen(scene, render=True)
    for object in scene.objects:
        remarks.extend(_false_marks(object))
        prop, ground = _mark(object, PROP), _mark(object, GROUND)
        if prop is None and told_mass(object):
            prop = True
        group = (
            object.type == "EMPTY"
            and object.instance_type == "COLLECTION"
            and object.instance_collection is not None
            and not _holds_armature(object.instance_collection)
        )
        if not (prop or ground):
            if not (object.type == "MESH" or group) or object in shapes or object.hide_viewport or object.hide_render:
                continue
            if (prop is False and ground is False) or object.session_uid not in in_view:
                continue
        of_body = _of_body(object)
        if of_body and prop is None and ground is None and object.rigid_body is None:
            continue  # a body is neither prop nor ground unless a mark says so: its place need not be followed
        yield _Thing(object, prop, ground, may_move(object), of_body)


def _holds_armature(collection: Any, depth: int = 0) -> bool:
    """Whether a collection shows an armature, be it through instances of others."""
    return any(
        o.type == "ARMATURE"
        or (
            o.instance_type == "COLLECTION"
            and o.instance_collection is not None
            and depth <= 8
            and _holds_armature(o.instance_collection, depth + 1)
        )
        for o in collection.all_objects
    )


def _said(object: Any, name: str) -> bool | None:
    """The mark on the object itself; what is neither true nor false is no mark."""
    value = object.get(name)
    return bool(value) if isinstance(value, int) and value in (0, 1) else None


def _false_marks(object: Any) -> Iterator[str]:
    for name in (PROP, GROUND):
        value = object.get(name)
        if value is not None and _said(object, name) is None:
            shown = repr(value) if isinstance(value, (str, int, float)) else "no number"
            yield f"{object.name} is not taken as marked: its property {name} is {shown}, not true or false"
    if object.get(MASS) is not None and not told_mass(object):
        yield f"{object.name} has no weight: its property {MASS} is no number above zero"


def is_thing(object: Any) -> bool:
    """Whether a person has said that the object is a prop, be it by its weight: no part of a body, whatever carries
    it."""
    return bool(_said(object, PROP)) or _said(object, PROP) is None and told_mass(object) > 0


def _mark(object: Any, name: str) -> bool | None:
    value = _said(object, name)
    if value is not None:
        return value
    # what hangs on a thing that is said to be none is none either: a lantern's glass goes with the lantern
    above = object.parent
    while above is not None:
        value = _said(above, name)
        if value is not None:
            return None if value else False
        above = above.parent
    return None


def may_move(object: Any) -> bool:
    while object is not None:
        data = object.animation_data
        if data is not None and (data.action is not None or len(data.nla_tracks) or len(data.drivers)):
            return True
        if len(object.constraints) or object.type == "ARMATURE" or object.rigid_body is not None:
            return True
        object = object.parent
    return False


def _of_body(object: Any) -> bool:
    """Whether an object hangs on an armature: bent by it, or below it in the tree."""
    while object is not None:
        if object.type == "ARMATURE" or (object.type == "MESH" and armatures_of(object)):
            return True
        for modifier in object.modifiers:
            carrier = (
                getattr(modifier, "target", None)
                if modifier.type == "SURFACE_DEFORM"
                else getattr(modifier, "object", None)
                if modifier.type == "MESH_DEFORM"
                else None
            )
            if carrier is not None and carrier != object and carrier.type == "MESH" and armatures_of(carrier):
                return True
        object = object.parent
    return False


def _ankles(character: Character) -> list[tuple[Array, float]]:
    """Places (3,) of the lower foot on up to LOOKS frames, meters, each with the leg's length."""
    feet = [character.head(f"foot.{s}") for s in body.SIDES if character.has(f"foot.{s}")]
    if not feet:
        return []
    places = np.stack(feet)
    rows = np.unique(np.linspace(0, places.shape[1] - 1, LOOKS).astype(int))
    low = np.argmin(places[:, rows, 2], axis=0)
    return [(places[k, i], character.leg_length) for k, i in zip(low, rows, strict=True)]


def _meets(object: Any, world: Any, lo: Array, hi: Array) -> bool:
    """Whether an object's box comes near the box from lo to hi, scene units."""
    corners = np.array([world @ Vector(c) for c in object.bound_box])
    slack = 0.1 * float(np.max(hi - lo))
    return bool((corners.min(0) - slack <= hi).all() and (corners.max(0) + slack >= lo).all())


def _near(triangles: Array, world: Array, characters: Sequence[Character], unit: float) -> Array:
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


def _plane(characters: Sequence[Character]) -> list[Surface]:
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
