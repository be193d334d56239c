# SPDX-License-Identifier: GPL-3.0-or-later
"""Where outlines nearly touch in the shot's camera: what the mesh reducer leaves of whole meshes, as plain data."""

from dataclasses import dataclass

import numpy as np

Array = np.ndarray


@dataclass(frozen=True, slots=True)
class Thing:
    """One thing with an outline of its own.

    kind: 'part' (a group of a character's parts: head, torso, an arm, a leg), 'prop' or 'character' (the whole figure,
    for
    pairs with others). character: whose it is, '' for a prop. parts: body parts whose bones carry it, () for a prop.
    """

    name: str
    kind: str
    character: str = ""
    parts: tuple[str, ...] = ()

    @property
    def key(self) -> tuple[str, str, str]:
        return self.kind, self.character, self.name


@dataclass(frozen=True, slots=True)
class Pieces:
    """n pieces of an outline, not in order: start, stop (n, 2) U; ends (n, 2): numbers by which they can be chained."""

    start: Array
    stop: Array
    ends: Array


@dataclass(frozen=True, slots=True)
class Kiss:
    """One place in one frame at which two outlines, a's and b's, nearly touch.

    sample: index of the frame in the shot. gap: signed, U (pixels of a picture whose shorter side is 1080), negative
    inside.
    form: 'parallel' (the outlines face each other along a stretch), 'aligned' (one edge lies along another) or
    'corner'.
    place (x, y) U. normal (x, y): unit direction in the picture that takes a away from b. depth_a, depth_b: meters from
    the camera's plane. pieces_a, pieces_b: of both outlines near the place. centers: the middles of a's and b's boxes
    in the picture, U, by which a place is known again where both move through the picture. crossed: whether the two
    outlines run deep into each other at another place, where the eye sees which is before.
    """

    sample: int
    gap: float
    form: str
    place: tuple[float, float]
    normal: tuple[float, float]
    depth_a: float
    depth_b: float
    pieces_a: Pieces | None = None
    pieces_b: Pieces | None = None
    centers: tuple[tuple[float, float], tuple[float, float]] = ((0.0, 0.0), (0.0, 0.0))
    crossed: bool = False


@dataclass(frozen=True, slots=True)
class PairKisses:
    """All kisses of one pair of things, in the order of frames. ``a`` is the thing that a remedy would move first."""

    a: Thing
    b: Thing
    kisses: tuple[Kiss, ...]


@dataclass(frozen=True, slots=True)
class Kisses:
    """What was found for every pair that was judged; a pair without kisses is there too. remarks: what was not
    judged."""

    pairs: tuple[PairKisses, ...]
    remarks: tuple[str, ...] = ()
