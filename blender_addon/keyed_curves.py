# SPDX-License-Identifier: GPL-3.0-or-later
"""The curves and keys in Blender behind the keys that a note names."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ..core.note import KeyReference, Note
from .sampling.keys import channels_of

#: Frames by which a key may lie off the frame that the note names.
_NEAR = 0.02


@dataclass(frozen=True)
class Found:
    """Keys of one curve: the object, the bone or '', the curve, and places in its keyframe points. linked: neither the
    curve nor its object can be edited here."""

    object: Any
    bone: str
    curve: Any
    points: tuple[int, ...]
    linked: bool


def found_keys(note: Note, scene: Any) -> list[Found]:
    """The keys that a note names, as far as they are still there."""
    wanted: dict[str, list[KeyReference]] = {}
    for key in note.keys:
        wanted.setdefault(key.owner, []).append(key)
    out = []
    for owner, keys in wanted.items():
        for thing in _holders(owner):
            out += list(_of(thing, keys, scene))
    return out


def _holders(owner: str) -> list[Any]:
    """Objects that this owner can be, 'Keeper' or 'Keeper/foot_ik.L'; names may hold a stroke themselves."""
    parts = owner.split("/")
    names = ["/".join(parts[: k + 1]) for k in range(len(parts))]
    return [thing for name in names if (thing := bpy.data.objects.get(name)) is not None]


def _of(thing: Any, keys: list[KeyReference], scene: Any) -> Iterator[Found]:
    for item in channels_of(thing, scene):
        frames = [
            f for key in keys if (key.owner, key.channel) == (item.channel.owner, item.channel.name) for f in key.frames
        ]
        if not frames:
            continue
        points = item.curve.keyframe_points
        at = np.empty(len(points) * 2, np.float32)
        points.foreach_get("co", at)
        on_scene = item.offset + item.slope * at[::2].astype(float)
        near = np.abs(on_scene[:, None] - np.array(frames)[None, :]).min(axis=1) <= _NEAR
        if near.any():
            data = item.curve.id_data
            linked = data.library is not None or not data.is_editable
            yield Found(thing, item.channel.bone, item.curve, tuple(int(k) for k in np.flatnonzero(near)), linked)
