# SPDX-License-Identifier: GPL-3.0-or-later
"""How far a remedy may move a hand: a millimeter too far snaps an arm straight that hung nearly so."""

import numpy as np

from .. import body
from ..numeric.rotation import norm
from ..shot import Character

Array = np.ndarray

#: No arm is brought nearer to straight than this share of its length, where it is no straighter anyway.
BENT = 0.985


def arm_of(hand: str) -> tuple[str, ...]:
    """Upper arm, forearm and hand of a hand ('hand.L')."""
    return body.LIMBS[f"arm.{body.side(hand)}"]


def reached(character: Character, hand: str, rows: Array) -> Array:
    """Meters (N,) from the shoulder to the wrist at samples ``rows`` (N,)."""
    root, _, end = arm_of(hand)
    return norm(character.head(end)[rows] - character.head(root)[rows])


def in_reach(character: Character, hand: str, rows: Array, offsets: Array, far: Array | float,
             trunk: Array | float = 0.0) -> Array:
    """The world offsets (N, 3) of a hand at samples ``rows`` (N,), cut short where its arm would come nearer to
    straight than BENT, or than ``far``, meters from shoulder to wrist; trunk: how far the shoulder is moved."""
    arm = arm_of(hand)
    shoulder = character.head(arm[0])[rows] + trunk
    stood = character.head(arm[2])[rows]
    most = BENT * sum(character.rest_length(p) for p in arm[:2])
    way = stood + offsets - shoulder
    length = norm(way)
    kept = np.minimum(length, np.maximum(most, far)) / np.maximum(length, 1e-9)
    return np.asarray(shoulder + way * kept[:, None] - stood)
