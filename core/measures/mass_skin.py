# SPDX-License-Identifier: GPL-3.0-or-later
"""A character's mass by the room that its own skin takes up, part by part."""

from collections.abc import Sequence

import numpy as np

from .. import body
from ..numeric.solid import CELLS, room
from ..shot import SkinMass
from .mass_table import Piece

Array = np.ndarray


def pieces_of_skin(skin: SkinMass) -> list[Piece]:
    """Each part's share of the whole, rigid on its own bone."""
    whole = float(skin.volume.sum())
    return [
        Piece(part, part, float(volume) / whole, center, moments)
        for part, volume, center, moments in zip(skin.parts, skin.volume, skin.center, skin.moments, strict=True)
    ]


def weighed(places: Array, triangles: Array, part: Array, parts: Sequence[str], cells: int = CELLS) -> SkinMass:
    """The room of a skin at rest.

    places (V, 3) m in the rest world that a Character's rest joints are in; triangles (T, 3) vertex ids, meshes of one
    character one after the other; part (V,): the index into ``parts`` of the bone that pulls each vertex most, -1 where
    that is of no mapped part. What no skin encloses weighs nothing: a figure of sheets alone comes out empty.
    """
    names = [p for p in parts if p not in body.PARTS]
    if names:
        raise ValueError(f"weighed: unknown parts {names}")
    found = room(places, triangles, np.where(np.asarray(part) < len(parts), part, -1), cells)
    return SkinMass(
        tuple(parts[int(label)] for label in found.labels), found.volume, found.center, found.moments, found.astray
    )
