# SPDX-License-Identifier: GPL-3.0-or-later
"""Props and ground: what the person has marked, else what moves, and what the feet stand on (ground.py).

Marks are plain custom properties of the object: ``plumbline_prop`` and ``plumbline_ground``, true or false. A thing
whose weight ``plumbline_mass`` tells, in kilograms, is a prop.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core.need import Need
from ...core.shot import Character, Prop, Surface
from .character import unscaled
from .ground import Faces, level_plane, near_feet, under_feet
from .keys import keys_of
from .presence import seen, simulated
from .probe import Probe
from .reach import Judged
from .readers import PlaceReader
from .skeleton import armatures_of
from .stands import Stands
from .triangles import spreads
from .weights import MASS, center_of, told_mass

Array = np.ndarray

PROP, GROUND = "plumbline_prop", "plumbline_ground"
#: What moves less than this (share of its size; radians) stands still.
STILL_SHARE, STILL_TURN = 1e-3, 1e-3


@dataclass(frozen=True)
class _Thing:
    object: Any
    marked_prop: bool | None
    marked_ground: bool | None
    moves: bool
    body: bool


class Things:
    """The props and the ground of one sweep. Only places are evaluated during it, never a mesh."""

    def __init__(self, scene: Any, needs: Need, stands: Stands) -> None:
        self.scene, self.stands = scene, stands
        self.wants_props, self.wants_ground = Need.PROPS in needs, Need.GROUND in needs
        self.remarks: list[str] = []
        self._things = list(_things(scene, self.remarks)) if self.wants_props or self.wants_ground else []
        self._readers: dict[int, PlaceReader] = {}
        self.faces = Faces()

    def enter(self, inside: Probe) -> None:
        """Has the places evaluated in a temporary scene from now on."""
        self.faces.inside = inside
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
            worlds = [self._world(thing)[0] for thing in still]
            found = under_feet([t.object for t in still], worlds, characters, unit, self.faces, judged.first)
            grounds = [(still[k], why) for k, why in found]
        surfaces = [s for s in (self._surface(t, why, characters, unit, judged) for t, why in grounds) if s is not None]
        if not surfaces:
            surfaces = level_plane(characters)
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
            center=center_of(object, world, unit, frames, lambda: self.faces.of(object, first)),
        )

    def _surface(
        self, thing: _Thing, why: str, characters: Sequence[Character], unit: float, judged: Judged
    ) -> Surface | None:
        object = thing.object
        if object.type != "MESH":
            self.remarks.append(f"{object.name} is marked as ground but is no mesh")
            return None
        triangles = self.faces.of(object, judged.first)
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
            triangles = near_feet(triangles, world[0], characters, unit)
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
