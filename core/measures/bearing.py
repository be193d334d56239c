# SPDX-License-Identifier: GPL-3.0-or-later
"""Which hands bear weight: near the body's lowest point, and still. A push-up, a crawl, a hand on the floor."""

import numpy as np

from .. import body
from ..need import Need
from ..shot import Character
from ..study import Study, measure

Array = np.ndarray

NEAR_FLOOR = 0.15  # of a leg above the body's lowest joint; the palm is under the wrist
STILL = 0.5  # leg lengths a second; common practice, no source


@measure(Need.JOINTS)
def bearing_hands(study: Study, character: Character) -> dict[str, Array]:
    """Hand part -> (F,) bool, True where it seems to bear weight. Up is against gravity."""
    gravity = study.shot.gravity
    pull = float(np.linalg.norm(gravity))
    up = -gravity / pull if pull > 0 else character.up
    leg = character.leg_length * character.scale
    lowest = np.nanmin(np.concatenate([character.heads @ up, character.tails @ up], axis=1), axis=1)
    out = {}
    for s in body.SIDES:
        part = f"hand.{s}"
        if not character.has(part):
            continue
        place = character.head(part)
        low = np.minimum(place @ up, character.end(part) @ up) - lowest < NEAR_FLOOR * leg
        speed = np.linalg.norm(np.gradient(place, axis=0), axis=-1) * study.shot.rate if len(place) > 1 else np.zeros(1)
        out[part] = low & (speed < STILL * leg)
    return out
