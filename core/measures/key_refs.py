# SPDX-License-Identifier: GPL-3.0-or-later
"""Which keys stand behind a span of a note: a pointer for the person, never part of a finding."""

from collections.abc import Iterable

import numpy as np

from .. import body
from ..note import KeyReference
from ..shot import Character


def keys_in(character: Character, parts: Iterable[str], first: float, last: float) -> tuple[KeyReference, ...]:
    """Keys behind ``parts`` on scene frames ``first`` to ``last``, both inside; none if no keys were read.

    Those of the parts' own bones, and of the controls of the limb's goal and pole where inverse kinematics moves it.
    """
    keys, parts = character.keys, tuple(parts)
    if keys is None:
        return ()
    bones = {character.bones[character.index[p]].rpartition("/")[2] for p in parts if p in character.index}
    limbs = [limb for limb in body.LIMBS.values() if any(p in limb for p in parts)]
    controls = {c for goal in character.goals if any(goal.part in limb for limb in limbs) for c in goal.controls}
    found = []
    for i, channel in enumerate(keys.channels):
        if channel.bone not in bones and channel.owner not in controls:
            continue
        at = keys.scene_frame[keys.of(i)]
        inside = at[(at >= first) & (at <= last)]
        if len(inside):
            found.append(KeyReference(channel.owner, channel.name, tuple(float(f) for f in np.unique(inside))))
    return tuple(found)
