# SPDX-License-Identifier: GPL-3.0-or-later
"""The curves whose keys a note names, each with the value that it moves: what a remedy may work with."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ..core.note import Note
from .keyed_curves import found_keys
from .sampling.keys import channels_of
from .sampling.played import plain_ones

#: Properties by which a bone or an object is placed and turned.
_PLACED = ("location", "delta_location")
_TURNED = ("rotation_euler", "rotation_quaternion", "rotation_axis_angle")


@dataclass(frozen=True)
class Named:
    """One curve: the object and the bone's name or '' that it moves, the property and its index; frames of the curve
    are ``(scene - offset) / slope``. points: places of the named keys among its keys; at (K,): frames of all of them.
    plain: the curve alone makes the value. linked: it cannot be edited here."""

    object: Any
    bone: str
    path: str
    index: int
    curve: Any
    offset: float
    slope: float
    points: tuple[int, ...]
    plain: bool
    linked: bool

    @property
    def holder(self) -> Any:
        """The pose bone or object that has the property."""
        return self.object.pose.bones[self.bone] if self.bone else self.object

    @property
    def owner(self) -> str:
        return f"{self.object.name}/{self.bone}" if self.bone else self.object.name

    @property
    def channel(self) -> str:
        return f"{self.path}[{self.index}]"

    @property
    def turns(self) -> bool:
        return self.path in _TURNED

    @property
    def value(self) -> float:
        return float(getattr(self.holder, self.path)[self.index])

    def set(self, value: float) -> None:
        getattr(self.holder, self.path)[self.index] = value

    def at(self, scene_frame: float) -> float:
        """The curve's own frame on a scene frame."""
        return (scene_frame - self.offset) / self.slope

    def values(self, scene_frames: Any) -> Any:
        """The curve's values (N,) on scene frames (N,)."""
        return np.array([self.curve.evaluate(self.at(float(f))) for f in scene_frames])

    def frames(self) -> Any:
        """Scene frames (K,) of all keys of the curve."""
        at = np.empty(len(self.curve.keyframe_points) * 2, np.float32)
        self.curve.keyframe_points.foreach_get("co", at)
        return self.offset + self.slope * at[::2].astype(float)


def named_channels(note: Note, scene: Any) -> list[Named]:
    """The curves behind the keys that a note names which place or turn a bone or an object."""
    found = {(item.object.name, id_of(item.curve)): item for item in found_keys(note, scene)}
    out = []
    for name in dict.fromkeys(name for name, _ in found):
        out += list(_of(bpy.data.objects[name], {key: item for (n, key), item in found.items() if n == name}, scene))
    return out


def id_of(curve: Any) -> int:
    """The curve itself, however often Blender wraps it."""
    return int(curve.as_pointer())


def _of(thing: Any, items: dict[int, Any], scene: Any) -> Iterator[Named]:
    played = channels_of(thing, scene)
    for one, plain in zip(played, plain_ones(played), strict=True):
        item = items.get(id_of(one.curve))
        path = one.channel.path
        if item is None or path not in (*_PLACED, *_TURNED):
            continue
        if one.channel.bone and (thing.pose is None or one.channel.bone not in thing.pose.bones):
            continue
        yield Named(thing, one.channel.bone, path, one.channel.index, one.curve, one.offset, one.slope, item.points,
                    plain, item.linked)
