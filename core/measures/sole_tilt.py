# SPDX-License-Identifier: GPL-3.0-or-later
"""How soles lie against their ground: pitch about the foot's breadth, roll about its length."""
from dataclasses import dataclass

import numpy as np

from ..need import NOTHING
from ..numeric.rotation import unit
from ..shot import SOLE_POINTS, Character
from ..study import Study, measure
from .tread import Tread, tread

Array = np.ndarray

_HEEL, _BALL = SOLE_POINTS.index("heel"), SOLE_POINTS.index("ball")
_INNER, _OUTER = SOLE_POINTS.index("ball_inner"), SOLE_POINTS.index("ball_outer")


@dataclass(frozen=True)
class SoleTilt:
    """On the D drawings of the tread measure, (D, sides) degrees against the ground's normal, up where no mesh tells
    it: pitch, toes up positive; roll, the inner side up positive; roll_left, the same with the foot's left side up
    positive. ahead, across (D, sides, 3): unit directions from heel to ball and to the foot's left, so that a turn
    about ``across`` by a positive angle brings the toes down, about ``ahead`` the left side up."""

    pitch: Array
    roll: Array
    roll_left: Array
    ahead: Array
    across: Array


@measure(NOTHING, uses=(tread,))
def sole_tilt(study: Study, character: Character) -> SoleTilt:
    """The tilt of each foot's sole; the toe's own bend is left out."""
    t: Tread = study.of(tread, character)
    shape = (len(t.samples), len(t.sides))
    pitch, roll, left = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    ahead, across = np.zeros((*shape, 3)), np.zeros((*shape, 3))
    for k, side in enumerate(t.sides):
        columns = t.columns(side)
        places, normal = t.places[:, columns], t.normal[:, columns][:, 0]
        along = unit(places[:, _BALL] - places[:, _HEEL])
        inward = unit(places[:, _INNER] - places[:, _OUTER])
        mirrored = -1.0 if side == "L" else 1.0  # the inner side is a left foot's right
        pitch[:, k] = _degrees(along, normal)
        roll[:, k] = _degrees(inward, normal)
        left[:, k] = mirrored * roll[:, k]
        ahead[:, k], across[:, k] = along, mirrored * inward
    return SoleTilt(pitch, roll, left, ahead, across)


def _degrees(direction: Array, normal: Array) -> Array:
    return np.asarray(np.degrees(np.arcsin(np.clip((direction * normal).sum(-1), -1.0, 1.0))))
