# SPDX-License-Identifier: GPL-3.0-or-later
"""The room that a figure's skin takes up at rest, where the figure is not built like people: it tells the masses."""

from collections.abc import Generator, Sequence
from typing import Any

import numpy as np

from ...core import body
from ...core.measures.build import unlike_people
from ...core.measures.mass_skin import weighed
from ...core.numeric.rotation import dot
from ...core.shot import Character, SkinMass
from .armatures import Member
from .presence import seen
from .props import is_thing
from .skins import Carriers, group_of_vertices
from .soles import Skin

Array = np.ndarray

#: A skin that goes so far over the head's joint, of its whole extent along the figure's up, may have a large head; its
#: room then tells. On grown people it is 0.12 to 0.15; common practice, no source.
TALL_HEAD = 0.18
#: Modifiers that make what the mesh itself has not: half a body would be weighed for the whole.
GROWS = {"MIRROR", "ARRAY", "NODES", "SCREW", "SKIN", "REMESH", "BOOLEAN", "MULTIRES"}


def asks(character: Character, skins: Sequence[Skin]) -> bool:
    """Whether the figure's masses cannot be told from its joints."""
    if not skins or not character.parts:
        return False
    if not character.human or unlike_people(character):
        return True
    if not character.has("head"):
        return False
    heights = np.concatenate([dot(skin.vertices, character.up) for skin in skins])
    tall = float(np.ptp(heights))
    return tall > 0 and float(heights.max() - character.rest_head("head") @ character.up) > TALL_HEAD * tall


def skin_mass_of(
    scene: Any, member: Member, character: Character, skins: Sequence[Skin]
) -> Generator[float, None, SkinMass | None]:
    """The room of the skins that a render shows, in steps of some vertices; None where it cannot be told."""
    shown = seen(scene, render=True)
    solid = [s for s in skins if s.object.session_uid in shown and not s.object.hide_render and not is_thing(s.object)]
    if not solid or any(m.type in GROWS and m.show_render for s in solid for m in s.object.modifiers):
        return None
    carriers = Carriers(member, {part: (part,) for part in body.PARTS})
    row = np.array([character.index.get(part, -1) for part in carriers.groups] + [-1])
    armatures = tuple(rig.name for rig in member.rigs)
    places: list[Array] = []
    triangles: list[Array] = []
    parts: list[Array] = []
    count = 0
    for skin in solid:
        mesh = skin.object.data
        if skin.bone:
            part = np.full(len(skin.vertices), -1 if (k := carriers.of(skin.rig.name, skin.bone)) is None else k)
        else:
            steps = group_of_vertices(skin.object, mesh, carriers, armatures)
            while True:
                try:
                    next(steps)
                except StopIteration as end:
                    part = end.value
                    break
                yield 0.9
        mesh.calc_loop_triangles()
        corners = np.empty(3 * len(mesh.loop_triangles), np.int32)
        mesh.loop_triangles.foreach_get("vertices", corners)
        places.append(skin.vertices)
        triangles.append(corners.reshape(-1, 3) + count)
        parts.append(row[part])
        count += len(skin.vertices)
    yield 0.9
    found = weighed(np.concatenate(places), np.concatenate(triangles), np.concatenate(parts), character.parts)
    return found if found.volume.sum() > 0 else None
