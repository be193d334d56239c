# SPDX-License-Identifier: GPL-3.0-or-later
"""The characters as they are posed now, whether that is keyed or not: a shot of the one frame that Blender shows.

It reads what Blender has evaluated for the open scene already, so nothing is set to another frame and nothing is
linked anywhere.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from ...core.need import Need
from ...core.shot import Shot
from ...core.steps import finished
from .armatures import cast_of
from .character import Places, character_of, unplaceable
from .readers import PlaceReader, PoseReader
from .stands import stands_of


def posed_now(scene: Any, graph: Any, names: Sequence[str] | None = None) -> Shot:
    """A shot of one frame with the characters' joints and rotations, no keys, no goals; those named, else all.

    graph: the evaluated dependency graph of the scene's view layer. Raises CannotMeasure with one sentence.
    """
    unit = float(scene.unit_settings.scale_length)
    characters = []
    for member in finished(cast_of(scene, names, {}, stands_of(scene))).members:
        places: dict[int, PlaceReader] = {}
        poses: dict[int, PoseReader] = {}
        read = [*member.map.parts.values(), *(b for copies in member.map.copies.values() for b in copies)]
        for rig in member.rigs:
            bones = {member.skeleton.names[b] for b in read if member.rig_of(b).name == rig.name}
            poses[rig.object.session_uid] = PoseReader(rig.object, sorted(bones), 1)
            places.update((carrier.session_uid, PlaceReader(carrier, 1)) for carrier, _ in rig.carriers)
        places.update(poses)
        for reader in places.values():
            reader.read(0, graph)
        worlds = Places(places)
        if any(unplaceable(worlds.of(rig)) for rig in member.rigs):
            continue
        carried = member.carried([worlds.of(rig)[0] for rig in member.rigs], unit)
        character, _ = character_of(carried, poses, worlds, unit, 1, Need.JOINTS | Need.ROTATIONS)
        if character is not None:
            characters.append(character)
    render = scene.render
    return Shot(
        name=scene.name,
        frames=np.array([float(scene.frame_current)]),
        fps=render.fps / render.fps_base,
        characters=tuple(characters),
        unit_scale=unit,
    )
