# SPDX-License-Identifier: GPL-3.0-or-later
"""Which keys stand behind a span of a note: a pointer for the person, never part of a finding."""

from collections.abc import Iterable

import numpy as np

from ..keys import Keys
from ..note import KeyReference
from ..shot import Character


def keys_in(character: Character, parts: Iterable[str], first: float, last: float) -> tuple[KeyReference, ...]:
    """Keys behind ``parts`` on scene frames ``first`` to ``last``, both inside; none if no keys were read.

    Those of the controls that the parts follow on these frames; of the parts' own bones where no control is known.
    Where none of them has a key in there, the keys on both sides between which they move.
    """
    keys = character.keys
    if keys is None:
        return ()
    rows = list(dict.fromkeys(row for part in parts for row in channels_behind(character, keys, part, first, last)))
    return _named(keys, _inside(keys, rows, first, last)) or _named(keys, _around(keys, rows, first, last))


def channels_behind(character: Character, keys: Keys, part: str, first: float, last: float) -> tuple[int, ...]:
    """Indices of the channels that a part follows on scene frames ``first`` to ``last``, both inside."""
    controls = character.controls.get(part)
    if controls is not None:
        return tuple(row for control in controls if control.counts(first, last) for row in keys.behind(control))
    if part not in character.index:
        return ()
    bone = character.bones[character.index[part]].rpartition("/")[2]
    return tuple(i for i, channel in enumerate(keys.channels) if channel.bone == bone)


def _inside(keys: Keys, rows: list[int], first: float, last: float) -> dict[int, tuple[float, ...]]:
    """Per channel its keys' scene frames from first to last; channels without one are left out."""
    begin, end = (ends.tolist() for ends in keys.line.between(np.array(rows, int), first, last))
    return {
        row: tuple(dict.fromkeys(keys.scene_frame[a:b].tolist()))
        for row, a, b in zip(rows, begin, end, strict=True)
        if b > a
    }


def _around(keys: Keys, rows: list[int], first: float, last: float) -> dict[int, tuple[float, ...]]:
    """Per channel the last key before a span and the first after it; only of channels that change between them, unless
    none does."""
    found, moving = {}, {}
    for row in rows:
        of = keys.of(row)
        at, value = keys.scene_frame[of], keys.value[of]
        after = int(np.searchsorted(at, last, "right"))
        ends = [k for k in (after - 1, after) if 0 <= k < len(at)]
        found[row] = tuple(float(at[k]) for k in ends)
        if len(ends) == 2 and value[ends[0]] != value[ends[1]]:
            moving[row] = found[row]
    return moving or found


def _named(keys: Keys, frames: dict[int, tuple[float, ...]]) -> tuple[KeyReference, ...]:
    return tuple(
        KeyReference(keys.owners[row], keys.names[row], frames[row]) for row in sorted(frames) if frames[row]
    )
