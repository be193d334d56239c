# SPDX-License-Identifier: GPL-3.0-or-later
"""Which props a character carries, from when to when: what stays still in a hand while the hand goes about.

Nobody tells whether a prop is parented, constrained or keyed along with the hand, and it does not matter: a thing that
moves rigidly with a hand near it, and does move, is carried. A thing that lies still beside a still hand is not.
"""

from collections.abc import Mapping

import numpy as np

from .. import body
from ..need import NOTHING, Need
from ..numeric.rotation import norm, relative, seen_from
from ..numeric.spans import joined, samples, spans
from ..shot import Character, Prop, Shot
from ..study import Study, measure
from .mass import Load

Array = np.ndarray

# All common practice, no source; lengths in legs, so that mice and giants carry as people do.
DRIFTS = 0.1        # legs a second: a thing that goes faster through the hand is let go, or slides
TURNS = 1.0         # radians a second: likewise for how it turns in the hand
REACHES = 0.25      # legs: so far past its own size a thing's origin may lie from the wrist
CARRIED = 0.06      # legs: a hand must go so far with the thing to carry it
LEAST, GAP = 0.2, 0.12      # seconds: shorter spans do not count, shorter gaps are filled
OVER = 1 / 24       # seconds: speeds are read over so long, or a fast capture's noise would drop what is held


@measure(Need.JOINTS | Need.ROTATIONS | Need.PROPS)
def held(study: Study, character: Character) -> dict[str, Array]:
    """Prop's name -> (F,) bool, the samples at which either hand carries it; props that are never carried are left
    out."""
    out = {}
    for prop in study.shot.props:
        carried = np.zeros(study.shot.count, bool)
        for side in body.SIDES:
            part = f"hand.{side}"
            if character.has(part) and character.axes is not None:
                carried |= _with_hand(study.shot, character, part, prop)
        if carried.any():
            out[prop.name] = carried
    return out


def loads(shot: Shot, found: Mapping[str, Array], kg: Mapping[str, float]) -> list[Load]:
    """The carried things that have a mass: kg of each prop by name, found as from ``held``. A thing without a mass of
    its own counts nothing; its weight acts in the middle of its mesh's room, at its origin where none is known, and its
    own spin is left out."""
    return [
        Load(prop.name, kg[prop.name], prop.weight_at, found[prop.name].astype(float))
        for prop in shot.props
        if prop.name in found and kg.get(prop.name, 0.0) > 0
    ]


@measure(NOTHING, uses=(held,))
def held_loads(study: Study, character: Character) -> list[Load]:
    """The things that the character carries and whose mass somebody told."""
    kg = {prop.name: prop.mass for prop in study.shot.props if prop.mass > 0}
    return loads(study.shot, study.of(held, character), kg) if kg else []


def _with_hand(shot: Shot, character: Character, part: str, prop: Prop) -> Array:
    """(F,) bool: the prop goes with this hand."""
    f, k = shot.count, samples(OVER, shot.rate)
    if f <= k or character.axes is None:
        return np.zeros(f, bool)
    leg = character.leg_length * character.scale
    wrist, hand = character.head(part), character.axes[:, character.index[part]]
    off = seen_from(hand, prop.origin - wrist)  # in the hand's own axes
    turned = relative(hand, _unit_axes(prop.axes))
    seconds = shot.times[k:] - shot.times[:-k]
    drift = norm(off[k:] - off[:-k]) / seconds
    change = relative(turned[:-k], turned[k:])
    turn = np.arccos(np.clip((np.trace(change, axis1=-2, axis2=-1) - 1) / 2, -1.0, 1.0)) / seconds
    near = norm(prop.origin - wrist) < REACHES * leg + prop.size
    steady = (drift < DRIFTS * np.minimum(leg[:-k], leg[k:])) & (turn < TURNS) & near[:-k] & near[k:]
    out = np.zeros(f, bool)
    gap, least = samples(GAP, shot.rate), samples(LEAST, shot.rate)
    for first, last in joined(spans(steady), gap):
        going = wrist[first : last + k + 1]
        far = float(np.ptp(going, axis=0).max())
        if last - first + k >= least and far > CARRIED * float(leg[first]):
            out[first : last + k + 1] = True
    return out


def _unit_axes(axes: Array) -> Array:
    """Axes (F, 3, 3) of a thing that may be scaled, each column at length one."""
    length = np.sqrt((axes**2).sum(-2, keepdims=True))
    return np.asarray(axes / np.where(length > 1e-12, length, 1.0))
