# SPDX-License-Identifier: GPL-3.0-or-later
"""How a figure is built, from its joints at rest: whether tables about people's joints speak of it.

A doll's short leg folds its shin onto the foot in any crouch, and a robot's upper arm may be a stub. What people's
joints do is then no more than a hint.
"""

import numpy as np

from .. import body
from ..shot import Character

#: What is compared, in words, and the least and the most of people's. Adults: leg over trunk 1.66 (de Leva 1996, J
#: Biomech 29:1223-1230, from memory), and 1.5 to 2.2 in the captured skeletons here; shin over thigh 0.8 to 1.1; arm
#: over leg 0.55 to 0.7. The bands are wider, for children and for the thin and the stocky heroes of drawings: common
#: practice, no source.
PEOPLES = (
    ("the leg is {:.2f} of the trunk's length", 1.2, 2.7),
    ("the shin is {:.2f} of the thigh's length", 0.7, 1.4),
    ("the arm is {:.2f} of the leg's length", 0.45, 1.0),
)


def unlike_people(character: Character) -> str:
    """What in the figure's proportions is far from any person's, as a clause, or '' where nothing is.

    Read from the joint centers at rest: hip to ankle, hip line to shoulder line, shoulder to wrist. What the body map
    lacks is not compared.
    """
    for (words, least, most), share in zip(PEOPLES, _shares(character), strict=True):
        if share is not None and not least <= share <= most:
            return f"{words.format(share)}, and people's {least:g} to {most:g}"
    return ""


def _shares(character: Character) -> tuple[float | None, float | None, float | None]:
    thigh, shin = _long(character, "thigh", "shin"), _long(character, "shin", "foot")
    upper, fore = _long(character, "upper_arm", "forearm"), _long(character, "forearm", "hand")
    leg = thigh + shin if thigh and shin else None
    trunk = None
    pairs = [(f"thigh.{s}", f"upper_arm.{s}") for s in body.SIDES]
    if character.has(*pairs[0], *pairs[1]):
        hips, shoulders = (sum(character.rest_head(p) for p in row) / 2 for row in zip(*pairs, strict=True))
        trunk = float(np.linalg.norm(shoulders - hips))
    return (
        leg / trunk if leg and trunk else None,
        shin / thigh if leg and shin and thigh else None,
        (upper + fore) / leg if leg and upper and fore else None,
    )


def _long(character: Character, part: str, following: str) -> float | None:
    """The mean length of the part on both sides, m, where the next joint is known."""
    lengths = [character.rest_length(f"{part}.{s}") for s in body.SIDES if character.has(f"{part}.{s}",
                                                                                         f"{following}.{s}")]
    return float(np.mean(lengths)) if lengths else None
