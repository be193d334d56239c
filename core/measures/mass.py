# SPDX-License-Identifier: GPL-3.0-or-later
"""What a body's segments weigh and where their centers lie: by a published table, by its own volume, or as typed.

The card's masses come first. Else a figure built like people gets a table's shares, and any other one, where its mesh
is known, the shares of its own volume: a big-headed cartoon then has a big-headed center of mass. Things that it holds
count from the frame that they are taken to the frame that they are let go.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .. import body
from ..frozen import freeze
from ..need import Need
from ..note import Severity
from ..shot import Character, SkinMass
from ..study import Study, measure
from ..tables.segments import AVERAGE_BUILD, MEAN, BodyTable
from .build import unlike_people
from .mass_skin import pieces_of_skin
from .mass_table import Piece, pieces_of

Array = np.ndarray

#: A head with this many times the table's share of the volume, or more, is no person's, whatever the limbs are like.
LARGE_HEAD = 2.0


@dataclass(frozen=True)
class Masses:
    """S rigid segments of one character, each carried by a bone.

    parts: the part whose bone carries each. mass (S,) kg. blend (S, P): how much of each joint's place goes into the
    segment's center, its sum 1. arm (S, 3): what is added to that, m along the bone's own axes at rest. moments
    (S, 3, 3): the integral of x x^T dm about the segment's center along the bone's axes, kg m2. source: what they are
    from. why: '' or the sentence why there are none. typed: parts that the card weighs. guessed: people's shares, or
    the shares of its mesh's volume, for a figure that is not built like people.
    """

    parts: tuple[str, ...]
    mass: Array
    blend: Array
    arm: Array
    moments: Array
    source: str
    why: str = ""
    typed: tuple[str, ...] = ()
    guessed: bool = False

    def __post_init__(self) -> None:
        s = len(self.parts)
        freeze(self, "mass", (s,))
        freeze(self, "blend", (s, None))
        freeze(self, "arm", (s, 3))
        freeze(self, "moments", (s, 3, 3))

    @cached_property
    def total(self) -> float:
        """kg."""
        return float(self.mass.sum())

    def centers(self, character: Character) -> Array:
        """Centers of mass of the segments in the world, m, frames last: (3, S, F). Raises ValueError without axes."""
        axes = self.axes(character)
        heads = character.head_rows
        out = np.zeros((3, len(self.parts), heads.shape[2]))
        for row, part in zip(*np.nonzero(self.blend), strict=True):  # one or two a row
            out[:, row] += self.blend[row, part] * heads[:, part]
        arm = self.arm.T[..., None] * character.scale  # (3, S, F)
        for k in range(3):
            out += axes[:, k] * arm[k]
        return out

    def axes(self, character: Character) -> Array:
        """The axes of the bones that carry the segments, (3, 3, S, F), row and column first."""
        if character.axes_rows is None:
            raise ValueError("masses: the shot was sampled without rotations")
        rows = [character.index[part] for part in self.parts]
        return character.axes_rows if rows == list(range(len(character.parts))) else character.axes_rows[:, :, rows]


@dataclass(frozen=True)
class Load:
    """A thing that a character holds. mass kg; place (F, 3) its center of mass, world m; held (F,) 0 to 1, how much of
    its weight the character bears; axes (F, 3, 3) and moments (3, 3), the integral of x x^T dm about its center along
    them, kg m2: a point where they are None."""

    name: str
    mass: float
    place: Array
    held: Array
    axes: Array | None = None
    moments: Array | None = None

    def __post_init__(self) -> None:
        freeze(self, "place", (None, 3))
        f = len(self.place)
        freeze(self, "held", (f,))
        freeze(self, "axes", (f, 3, 3))
        freeze(self, "moments", (3, 3))
        if not self.mass >= 0:
            raise ValueError(f"Load {self.name}: expected a mass of zero or more, got {self.mass}")
        if (self.axes is None) != (self.moments is None):
            raise ValueError(f"Load {self.name}: expected axes and moments together")


def masses_of(character: Character, table: BodyTable = MEAN, skin: SkinMass | None = None,
              by_volume: bool | None = None) -> Masses:
    """The character's segments.

    skin: its volume, where the mesh is known. by_volume: True takes that, False the table; None takes the volume of
    what is not built like people, as a guess: a mesh tells room and not weight, and hats, capes and hollow heads count
    as flesh. The card's typed masses replace those of their parts: the rest keep their share of an average body of the
    figure's height, so that a head typed heavier is heavier. Of a figure that is no human one and whose mesh is not
    known, only what is typed has mass.
    """
    skin = skin if skin is not None and skin.volume.sum() > 0 else None
    odd = unlike_people(character) or (_large_head(skin, table) if skin else "")
    pieces: list[Piece] = []
    why = "it is no human figure and no mesh was weighed: type its masses on the card"
    source = "nothing"
    guessed = False
    if skin is not None and (by_volume or (by_volume is None and (odd or not character.human))):
        pieces, source = pieces_of_skin(skin), "the volume of its mesh"
        guessed = by_volume is None
    elif character.human or by_volume is False:
        pieces, source = pieces_of(character, table), table.source + (f", although {odd}" if odd else "")
        guessed = bool(odd)
        why = "no bone of a trunk is mapped and no mesh was weighed, so nothing tells where its mass lies"
    typed = tuple(part for part in character.card.masses if character.has(part))
    if not pieces and not typed:
        return _none(character, why)
    total = sum(piece.share for piece in pieces)
    average = AVERAGE_BUILD * (character.height * character.real_size) ** 2 or 1.0
    weights = [average * piece.share / total for piece in pieces]
    if typed:
        pieces, weights = _as_typed(character, pieces, weights, typed)
        source = f"the card; {source}" if any(p.carrier not in typed for p in pieces) else "the card"
    guessed = guessed and any(p.carrier not in typed for p in pieces)
    return replace(_laid(character, pieces, weights), source=source, typed=typed, guessed=guessed)


def _large_head(skin: SkinMass, table: BodyTable) -> str:
    share = sum(piece.share for piece in pieces_of_skin(skin) if piece.part in ("head", "neck"))
    most = LARGE_HEAD * table.segments["head"].share
    return f"the head is {share:.0%} of the body's volume, and people's {most / LARGE_HEAD:.0%}" if share > most else ""


def _none(character: Character, why: str) -> Masses:
    p = len(character.parts)
    return Masses((), np.zeros(0), np.zeros((0, p)), np.zeros((0, 3)), np.zeros((0, 3, 3)), "", why)


def _as_typed(character: Character, pieces: Sequence[Piece], weights: Sequence[float],
              typed: tuple[str, ...]) -> tuple[list[Piece], list[float]]:
    """Pieces and their kg with the card's: a typed part's pieces share its mass as they shared theirs; a part that
    carried nothing (clavicle, neck, toe) is a rod along its bone."""
    out, kg = list(pieces), list(weights)
    for part in typed:
        rows = [k for k, piece in enumerate(out) if piece.carrier == part]
        if not rows:
            span = character.rest_end(part) - character.rest_head(part)
            out.append(Piece(part, part, 0.0, character.rest_head(part) + span / 2, np.outer(span, span) / 12))
            kg.append(character.card.masses[part])
            continue
        before = sum(kg[k] for k in rows)
        for k in rows:
            kg[k] *= character.card.masses[part] / before
    return out, kg


def _laid(character: Character, pieces: Sequence[Piece], weights: Sequence[float]) -> Masses:
    """One segment a carrying bone: what rides on the same bone is one rigid body."""
    carriers = [part for part in character.parts if any(piece.carrier == part for piece in pieces)]
    s, p = len(carriers), len(character.parts)
    mass, blend, arm, moments = np.zeros(s), np.zeros((s, p)), np.zeros((s, 3)), np.zeros((s, 3, 3))
    for row, part in enumerate(carriers):
        i = character.index[part]
        axes = character.rest_axes[i]
        rows = [k for k, piece in enumerate(pieces) if piece.carrier == part]
        kg = np.array([weights[k] for k in rows])
        share = kg / kg.sum()
        places = np.array([pieces[k].place for k in rows])
        center = share @ places
        mass[row] = kg.sum()
        for k, part_of_it, place in zip(rows, share, places, strict=True):
            joint, toward = character.rest_heads[i], pieces[k].between
            if toward is None:
                blend[row, i] += part_of_it
            else:
                blend[row, i] += part_of_it * (1 - toward[1])
                blend[row, character.index[toward[0]]] += part_of_it * toward[1]
                joint = joint + toward[1] * (character.rest_head(toward[0]) - joint)
            arm[row] += part_of_it * ((place - joint) @ axes)
        spread = sum(w * (pieces[k].moments + off[:, None] * off)
                     for k, w, off in zip(rows, kg, places - center, strict=True))
        moments[row] = axes.T @ spread @ axes
    return Masses(tuple(carriers), mass, blend, arm, moments, "")


@measure(Need.JOINTS | Need.ROTATIONS | Need.VOLUMES)
def masses(study: Study, character: Character) -> Masses:
    """The character's segments by its card, else by the mean of de Leva's men and women, or by the volume of its skin
    where that was read and it is not built like people. Things that it holds are counted by ``mass_motion``."""
    return masses_of(character, skin=character.skin)


def told(found: Masses) -> str:
    """What the masses are from, as a clause for a note; '' where they are those that people have on the mean."""
    if found.why:
        return found.why
    if found.source == MEAN.source and not found.typed:
        return ""
    # where the card weighs every part its name is enough
    names = ", ".join(body.spoken(part) for part in found.typed if found.source != "the card")
    text = f"masses by {found.source}" + (f" ({names} typed)" if names else "")
    return f"{text}, so never more than low" if found.guessed else text


def only_guessed(found: Masses) -> str:
    """Why a check that masses decide says little or nothing of them where they are only guessed, '' where they are
    known: one sentence for all such checks."""
    if not found.guessed:
        return ""
    return (f"its masses are only guessed ({found.source}), so what another guess may excuse is not told: type them on "
            "the card")


def sure_enough(found: Masses, severity: Severity) -> Severity | None:
    """What these masses allow to be told: of what is only guessed just what would be high, as low, so that the guess
    alone never speaks."""
    if not found.guessed:
        return severity
    return Severity.LOW if severity == Severity.HIGH else None


def no_more_than(found: Masses, severity: Severity) -> Severity:
    """The severity that these masses allow: what is only guessed is never more than low."""
    return Severity.LOW if found.guessed else severity
