# SPDX-License-Identifier: GPL-3.0-or-later
"""Which keys stand behind a span of a note: a pointer for the person, never part of a finding."""

from collections.abc import Iterable

import numpy as np

from ..keys import Keys
from ..note import KeyReference
from ..shot import Character

Array = np.ndarray


def keys_in(character: Character, parts: Iterable[str], first: float, last: float) -> tuple[KeyReference, ...]:
    """Keys behind ``parts`` on scene frames ``first`` to ``last``, both inside; none if no keys were read.

    Those of the controls that the parts follow on these frames; of the parts' own bones where no control is known.
    Where none of them has a key in there, the keys on both sides between which they move.
    """
    keys = character.keys
    if keys is None:
        return ()
    rows = list(dict.fromkeys(row for part in parts for row in channels_behind(character, keys, part, first, last)))
    begin, end = keys.line.between(np.array(rows, int), first, last)
    return _named(keys, _inside(keys, rows, begin, end) or _around(keys, rows, end))


def channels_behind(character: Character, keys: Keys, part: str, first: float, last: float) -> tuple[int, ...]:
    """Indices of the channels that a part follows on scene frames ``first`` to ``last``, both inside."""
    controls = character.controls.get(part)
    if controls is not None:
        return tuple(row for control in controls if control.counts(first, last) for row in keys.behind(control))
    if part not in character.index:
        return ()
    bone = character.bones[character.index[part]].rpartition("/")[2]
    return keys.by_bone.get(bone, ())


def _inside(keys: Keys, rows: list[int], begin: Array, end: Array) -> dict[int, tuple[float, ...]]:
    """Per channel the scene frames of its keys from row begin (N,) up to but not with end (N,); channels without one
    are left out."""
    return {
        row: tuple(dict.fromkeys(keys.scene_frame[a:b].tolist()))
        for row, a, b in zip(rows, begin.tolist(), end.tolist(), strict=True)
        if b > a
    }


def _around(keys: Keys, rows: list[int], after: Array) -> dict[int, tuple[float, ...]]:
    """Per channel its last key before row ``after`` (N,) and the one there; only of channels that change between them,
    unless none does."""
    at, value = keys.scene_frame, keys.value
    found, moving = {}, {}
    for row, k in zip(rows, after.tolist(), strict=True):
        of = keys.of(row)
        before, behind = k > of.start, k < of.stop
        found[row] = tuple(at[max(k - 1, of.start):min(k + 1, of.stop)].tolist())
        if before and behind and value[k - 1] != value[k]:
            moving[row] = found[row]
    return moving or found


def _named(keys: Keys, frames: dict[int, tuple[float, ...]]) -> tuple[KeyReference, ...]:
    return tuple(
        KeyReference(keys.owners[row], keys.names[row], frames[row]) for row in sorted(frames) if frames[row]
    )
