# SPDX-License-Identifier: GPL-3.0-or-later
"""Keyframes as the core's columns, out of every kind of action, in scene frames."""

from collections.abc import Generator, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...core.shot import Keys
from ...core.steps import finished
from .key_columns import FRESH, columns_of
from .played import Played, plain_ones, played_by

Array = np.ndarray

#: Keys that one step reads.
AT_ONCE = 60_000


def keys_of(owners: Iterable[Any], scene: Any, within: tuple[float, float] | None = None) -> Keys:
    """The keys of all curves that animate these IDs.

    within: (first, last) scene frames; keys beyond are left out but for the next one at each side, so that every
    segment that
    touches the range is whole. Scene frames take the NLA strip and the scene's time remapping into account.
    """
    return KeyBook(scene, within).of_all(owners)


def channels_of(owner: Any, scene: Any) -> list[Played]:
    """The curves that animate an ID, each with its channel and how its frames become scene frames."""
    return list(played_by(owner, scene.render.frame_map_new / scene.render.frame_map_old))


@dataclass(frozen=True)
class ReadKeys:
    """The keys of one ID. curves: Blender's curve behind each channel; complete (C,): whether all keys of a channel are
    here; baked (C,): whether it has a key every frame or more often, so that it was taken for linear unseen."""

    keys: Keys
    curves: list[Any]
    complete: Array
    baked: Array


class KeyBook:
    """The keys of IDs as ``keys_of`` gives them; of each they are read once, however often they are asked for."""

    def __init__(self, scene: Any, within: tuple[float, float] | None = None) -> None:
        self._stretch = scene.render.frame_map_new / scene.render.frame_map_old
        self._within = within
        self._read: dict[int, ReadKeys] = {}

    def of_all(self, owners: Iterable[Any]) -> Keys:
        """The keys of several IDs together, in their order."""
        found = [read.keys for read in map(self.read, owners) if len(read.keys.channels)]
        return found[0] if len(found) == 1 else _joined(found)

    def read(self, owner: Any) -> ReadKeys:
        known = self._read.get(owner.session_uid)
        return finished(self.reading(owner)) if known is None else known

    def reading(self, owner: Any) -> Generator[float, None, ReadKeys]:
        """``read`` in steps of some curves; yields the part done, 0 to 1."""
        if owner.session_uid not in self._read:
            curves = list(played_by(owner, self._stretch))
            plain = plain_ones(curves)
            ends = np.cumsum([curve.count for curve in curves]) // AT_ONCE
            edges = [0, *(np.flatnonzero(np.diff(ends)) + 1).tolist(), len(curves)]
            parts = []
            for begin, end in zip(edges[:-1], edges[1:], strict=True):
                parts.append(_read(curves[begin:end], plain[begin:end], self._within))
                if end < len(curves):
                    yield end / len(curves)
            self._read[owner.session_uid] = parts[0] if len(parts) == 1 else _together(parts)
        return self._read[owner.session_uid]


def _together(parts: Sequence[ReadKeys]) -> ReadKeys:
    return ReadKeys(
        _joined([part.keys for part in parts]),
        [curve for part in parts for curve in part.curves],
        np.concatenate([part.complete for part in parts]),
        np.concatenate([part.baked for part in parts]),
    )


def _read(curves: Sequence[Played], plain: Sequence[bool], within: tuple[float, float] | None) -> ReadKeys:
    if not curves:
        return ReadKeys(_joined([]), [], np.zeros(0, bool), np.zeros(0, bool))
    read = columns_of(curves, within)
    counts = read.end - read.begin
    kept = np.flatnonzero(counts).tolist()
    keys = Keys(
        channels=tuple(curves[k].channel for k in kept),
        channel=np.repeat(np.arange(len(kept)), counts[kept]),
        scene_frame=np.ascontiguousarray(read.on_key[:, 0]),
        action_frame=read.action_frame,
        value=np.ascontiguousarray(read.on_key[:, 1]),
        left=read.left,
        right=read.right,
        interpolation=read.interpolation,
        **read.eased,
        plain=tuple(plain[k] for k in kept),
    )
    complete = np.array([curves[k].count == counts[k] for k in kept], bool)
    return ReadKeys(keys, [curves[k].curve for k in kept], complete, read.baked[kept])


def _joined(parts: Sequence[Keys]) -> Keys:
    """Keys of several owners as one; of none, no keys."""
    if not parts:
        none = np.zeros(0)
        return Keys((), none, none, none, none, np.zeros((0, 2)), np.zeros((0, 2)), none, none, ())
    start = np.cumsum([0, *(len(keys.channels) for keys in parts)])

    def column(name: str) -> Array:
        return np.concatenate([getattr(keys, name) for keys in parts])

    def eased(name: str, fresh: float) -> Array | None:
        columns = [getattr(keys, name) for keys in parts]
        if all(c is None for c in columns):
            return None
        return np.concatenate(
            [np.full(len(k.channel), fresh) if c is None else c for k, c in zip(parts, columns, strict=True)]
        )

    return Keys(
        channels=tuple(channel for keys in parts for channel in keys.channels),
        channel=np.concatenate([keys.channel + k for keys, k in zip(parts, start.tolist(), strict=False)]),
        scene_frame=column("scene_frame"),
        action_frame=column("action_frame"),
        value=column("value"),
        left=column("left"),
        right=column("right"),
        interpolation=column("interpolation"),
        easing=eased("easing", FRESH["easing"]),
        back=eased("back", FRESH["back"]),
        amplitude=eased("amplitude", FRESH["amplitude"]),
        period=eased("period", FRESH["period"]),
        plain=tuple(flag for keys in parts for flag in keys.plain),
    )
