# SPDX-License-Identifier: GPL-3.0-or-later
"""The paths of the parts' ends through the world, in the yardstick of ``turn``: legs and legs a second."""

import numpy as np

from ..need import Need
from ..numeric.rotation import norm
from ..shot import Character
from ..study import Study, measure
from .exposure import exposure
from .turn import Motion, Signal

Array = np.ndarray


@measure(Need.JOINTS, uses=(exposure,))
def paths(study: Study, character: Character) -> Motion:
    """A signal of kind 'path' for each part, on the character's drawings.

    The place is where the part ends (``Character.end``: the forearm's is the wrist, the head's its top), of the pelvis
    where it begins. Velocities (D - 1, 3) leg/s in the world's axes.
    """
    taken = study.of(exposure, character).drawings
    if len(taken) < 2:
        return Motion((), taken)
    seconds = np.diff(study.shot.times[taken])
    leg = max(character.leg_length, 1e-9)
    places = np.stack([where(character, part) for part in character.parts])
    if len(taken) < places.shape[1]:
        places = places[:, taken]
    velocity = (places[:, 1:] - places[:, :-1]) / (leg * seconds[:, None])
    speed, change = norm(velocity), norm(velocity[:, 1:] - velocity[:, :-1])
    return Motion(
        tuple(
            Signal(part, "path", velocity[k], seconds, (speed[k], change[k])) for k, part in enumerate(character.parts)
        ),
        taken,
    )


def where(character: Character, part: str) -> Array:
    """The places (F, 3), world meters, whose path stands for the part."""
    return character.head(part) if part == "pelvis" else character.end(part)
