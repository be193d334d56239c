# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted pulls: a limb stretched past its length, its goal taken out of reach, and the same baked into rigid bones."""

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from .. import body
from ..numeric.rotation import unit
from ..shot import Character
from . import edit
from .plants import SIZES, WHOLE, Case, Clean, bump, centres, quiet, reached, spaced, top_frames

Array = np.ndarray

#: Shares of the limb's length, and the severity that the issue asks for.
SHARES = dict(zip(SIZES, ((0.02, "low"), (0.04, "medium"), (0.08, "high")), strict=True))
#: Seconds of a pulled leg: it must fit into a step.
LEG_WHOLE = 9 / 24
#: A pulled foot may come down to the ground but not into it: of a leg under where it usually stands; captured standing
#: feet themselves go up to 0.04 lower. A foot pushed into the floor stands there in the pitch of its swing: that is a
#: second fault, and the sole of a bare skeleton is then guessed from it.
SINKS = 0.02
#: Up to so many places a clip and limb.
PLACES = 3


def pulls(clean: Clean, places: int = PLACES) -> Iterator[Case]:
    """All planted pulls of a clean shot: stretched and baked, and by the goal; up to so many places a limb."""
    for limb, parts in body.LIMBS.items():
        if clean.character.has(*parts):
            for kind in ("stretched", "goal pulled", "pulled, baked"):
                yield from _cases(clean, limb, kind, places)


def pulled(character: Character, limb: str, weight: Array, share: float, kind: str) -> Character:
    """The limb's end, or its goal, taken by ``weight`` (F,) along its own line to ``share`` past its length."""
    root, mid, end = body.LIMBS[limb]
    if kind == "goal pulled" and not any(g.part == end for g in character.goals):
        own = edit.with_goals(character, (limb,))
        character = replace(character, goals=(*character.goals, *own.goals))
    if kind != "goal pulled":
        character = replace(character, goals=tuple(g for g in character.goals if g.part != end))
    a, c = character.head(root), character.head(end)
    length = (character.rest_length(root) + character.rest_length(mid)) * character.scale
    out = a + unit(c - a) * (length * (1 + share))[:, None]
    return edit.reach(character, limb, c + weight[:, None] * (out - c), stretch=kind == "stretched")


def _cases(clean: Clean, limb: str, kind: str, places: int) -> Iterator[Case]:
    shot = clean.shot
    parts = body.LIMBS[limb]
    c = clean.character
    whole = LEG_WHOLE if limb.startswith("leg") else WHOLE

    def found() -> Iterator[tuple[int, Callable[[str], Case]]]:
        for centre in centres(shot, whole):
            weight = bump(shot, centre, whole)
            window = reached(shot, weight)
            if not quiet(clean.result, shot, window, parts):
                continue
            farthest = pulled(c, limb, weight, SHARES["large"][0], "stretched")
            if clean.feet_stay(farthest, -1.0) and clean.feet_over(farthest, SINKS) and clean.ankles_stay(farthest):
                yield centre, maker(weight)

    def maker(weight: Array) -> Callable[[str], Case]:
        def make(size: str) -> Case:
            share, severity = SHARES[size]
            planted = clean.with_(pulled(c, limb, weight, share, kind))
            baked = kind == "pulled, baked"
            worst = _flat_frames(clean, limb, weight, share) if baked else top_frames(shot, weight)
            return Case(kind, size, planted, "overextension", parts[1], "low" if baked else severity,
                        None if baked else share, 0.1 * share, reached(shot, weight), worst,
                        {"stretched": "stretch", "goal pulled": "gap"}.get(kind, "flat"))
        return make

    for make in spaced(found(), shot, places=places):
        for size in SIZES:
            yield make(size)


def _flat_frames(clean: Clean, limb: str, weight: Array, share: float) -> tuple[int, int]:
    """Scene frames from first to last on which the baked limb lies at its whole length."""
    root, _, end = body.LIMBS[limb]
    c = clean.character
    length = (c.rest_length(root) + c.rest_length(body.LIMBS[limb][1])) * c.scale
    far = np.linalg.norm(c.head(end) - c.head(root), axis=-1)
    at = np.flatnonzero((far + weight * (length * (1 + share) - far) >= length) & (weight > 0))
    return clean.shot.frame(int(at[0])), clean.shot.frame(int(at[-1]))
