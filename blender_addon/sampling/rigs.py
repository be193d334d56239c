# SPDX-License-Identifier: GPL-3.0-or-later
"""The armatures that a scene holds, by themselves or instanced, and which of them can be measured."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from ..compat import library_is_missing
from .presence import simulated
from .stands import Stands


@dataclass(frozen=True)
class Rig:
    """One armature object as it stands in the scene, by itself or inside collection instances.

    carriers: the instancing objects, outermost first, each with the offset of the collection that it shows. label: what
    it is called where its object's name is not its own, since two linked files may hold a 'rig' each.
    """

    object: Any
    carriers: tuple[tuple[Any, Any], ...] = ()
    label: str = ""

    @property
    def name(self) -> str:
        return self.label or str(self.object.name)

    def world_now(self, stands: Stands) -> Any:
        """The armature's world matrix as the person's scene stands now."""
        world = Matrix.Identity(4)
        for carrier, offset in self.carriers:
            world = world @ stands.of(carrier) @ Matrix.Translation(-offset)
        return world @ stands.of(self.object)


def rigs_of(scene: Any) -> Iterator[Rig]:
    """Every armature that the scene holds: its own objects, also hidden or in excluded collections, and instanced
    ones.
    """
    for object in scene.objects:
        if object.type == "ARMATURE":
            yield Rig(object)
    for object in scene.objects:
        yield from _instanced(object, (), 0)


def _instanced(object: Any, carriers: tuple[tuple[Any, Any], ...], depth: int) -> Iterator[Rig]:
    if object.instance_type != "COLLECTION" or object.instance_collection is None or depth > 8:
        return
    collection = object.instance_collection
    carriers = (*carriers, (object, collection.instance_offset.copy()))
    for inner in collection.all_objects:
        if inner.type == "ARMATURE":
            yield Rig(inner, carriers)
        else:
            yield from _instanced(inner, carriers, depth + 1)


def missing_files() -> list[str]:
    """The paths of the linked files that are not where they were."""
    return [str(library.filepath) for library in bpy.data.libraries if library_is_missing(library)]


def told_apart(rigs: Sequence[Rig]) -> list[Rig]:
    """The rigs, each armature object under a name of its own: the file's own keeps its name, others get their
    library's.
    """
    labels: dict[Any, str] = {}
    for object in sorted(dict.fromkeys(rig.object for rig in rigs), key=lambda o: o.library is not None):
        name = label = str(object.name)
        if label in labels.values():
            name = label = f"{name} ({bpy.path.basename(object.library.filepath)})"
        number = 2
        while label in labels.values():
            label, number = f"{name} {number}", number + 1
        labels[object] = label
    return [replace(rig, label=labels[rig.object]) for rig in rigs]


def is_selected(rig: Rig) -> bool:
    """Whether an armature, or what instances it, is selected or posed in the view layer at hand."""
    layer: Any = bpy.context.view_layer
    here = [o for o in (rig.object, *(carrier for carrier, _ in rig.carriers)) if o.name in layer.objects]
    return any(o.select_get() or o.mode == "POSE" for o in here)


def places_of(rigs: Sequence[Rig]) -> list[list[Rig]]:
    """Rigs that may make one character: those of the scene itself, and those of each instance."""
    places: dict[tuple[int, ...], list[Rig]] = {}
    for rig in rigs:
        key = tuple(carrier.session_uid for carrier, _ in rig.carriers)
        if not any(other.object == rig.object for other in places.get(key, ())):
            places.setdefault(key, []).append(rig)
    return list(places.values())


def carriers_of(rigs: Sequence[Rig]) -> list[int]:
    """For each rig the index of the rig that carries it, by parent or by constraint; -1 where none does."""
    row = {rig.object: i for i, rig in enumerate(rigs)}
    out = []
    for rig in rigs:
        found, above = -1, rig.object.parent
        while above is not None and found < 0:
            found, above = row.get(above, -1), above.parent
        for constraint in rig.object.constraints:
            target = getattr(constraint, "target", None)
            if (
                found < 0
                and not constraint.mute
                and constraint.type in {"CHILD_OF", "COPY_TRANSFORMS", "COPY_LOCATION"}
            ):
                found = row.get(target, -1)
        out.append(found)
    return out


def unusable(rig: Rig, stands: Stands) -> str | None:
    """Why this armature cannot be measured, or None."""
    object = rig.object
    if object.data is None or not len(object.data.bones) or object.pose is None:
        library = None if object.data is None else object.data.library
        if library is not None and library_is_missing(library):
            return f"its bones lie in the linked file {library.filepath}, which is missing"
        return "it has no bones"
    if object.mode == "EDIT" or object.data.is_editmode:
        return "it is in Edit Mode, where its pose does not move; leave Edit Mode"
    if object.data.pose_position == "REST":
        return "it is set to its rest position; set it to its pose position"
    world = np.array(rig.world_now(stands), float)
    if not np.isfinite(world).all() or abs(np.linalg.det(world[:3, :3])) < 1e-18:
        return "its place, turn or scale is zero or not a number"
    if simulated(object) or any(simulated(carrier) for carrier, _ in rig.carriers):
        return "it is moved by rigid-body simulation, which the sweep cannot show; bake the simulation to keys first"
    return None
