# SPDX-License-Identifier: GPL-3.0-or-later
"""A character's mass by the room that its own skin takes up, part by part."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .. import body
from ..frozen import freeze
from ..numeric.solid import CELLS, room
from .mass_table import Piece

Array = np.ndarray


@dataclass(frozen=True)
class SkinMass:
    """parts, N of them; volume (N,) m3; center (N, 3) in the rest world, m; moments (N, 3, 3), mean of x x^T about the
    center, m2. astray: share of the room that lies near no skin of a mapped part, and counts nowhere."""

    parts: tuple[str, ...]
    volume: Array
    center: Array
    moments: Array
    astray: float = 0.0

    def __post_init__(self) -> None:
        n = len(self.parts)
        freeze(self, "volume", (n,))
        freeze(self, "center", (n, 3))
        freeze(self, "moments", (n, 3, 3))

    def pieces(self) -> list[Piece]:
        """Each part's share of the whole, rigid on its own bone."""
        whole = float(self.volume.sum())
        return [
            Piece(part, part, float(volume) / whole, center, moments)
            for part, volume, center, moments in zip(self.parts, self.volume, self.center, self.moments, strict=True)
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
