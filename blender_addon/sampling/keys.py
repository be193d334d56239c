# SPDX-License-Identifier: GPL-3.0-or-later
"""Keyframes as the core's columns, out of every kind of action, in scene frames."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ...core.shot import INTERPOLATIONS, Channel, Keys
from ..compat import curves_of, slot_name

Array = np.ndarray

_BONE = re.compile(r'pose\.bones\["((?:[^"\\]|\\.)*)"\]\.(.+)$', re.S)
LINEAR, BEZIER = INTERPOLATIONS.index("LINEAR"), INTERPOLATIONS.index("BEZIER")
#: As many keys or more, all at most a frame apart, are baked.
BAKED = 12
#: What Blender gives a fresh key: easing, back, amplitude, period.
FRESH = (0, 1.70158, 0.8, 4.1)
_EASINGS = ("AUTO", "EASE_IN", "EASE_OUT", "EASE_IN_OUT")


def keys_of(owners: Iterable[Any], scene: Any, within: tuple[float, float] | None = None) -> Keys:
    """The keys of all curves that animate these IDs.

    within: (first, last) scene frames; keys beyond are left out but for the next one at each side, so that every
    segment that
    touches the range is whole. Scene frames take the NLA strip and the scene's time remapping into account.
    """
    return KeyBook(scene, within).of_all(owners)


def channels_of(owner: Any, scene: Any) -> "list[_Curve]":
    """The curves that animate an ID, each with its channel and how its frames become scene frames."""
    return list(_curves(owner, scene.render.frame_map_new / scene.render.frame_map_old))


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
        self._within, self._numbers = within, _Numbers()
        self._read: dict[int, ReadKeys] = {}

    def of_all(self, owners: Iterable[Any]) -> Keys:
        """The keys of several IDs together, in their order."""
        found = [read.keys for read in map(self.read, owners) if len(read.keys.channels)]
        return found[0] if len(found) == 1 else _joined(found)

    def read(self, owner: Any) -> ReadKeys:
        known = self._read.get(owner.session_uid)
        if known is None:
            known = self._read[owner.session_uid] = _read(
                list(_curves(owner, self._stretch)), self._within, self._numbers
            )
        return known


def _read(curves: "Sequence[_Curve]", within: tuple[float, float] | None, numbers: "_Numbers") -> ReadKeys:
    plain = _plain(curves)
    columns = [_columns(curve, within, numbers) for curve in curves]
    kept = [k for k, column in enumerate(columns) if len(column[0])]
    if not kept:
        return ReadKeys(_joined([]), [], np.zeros(0, bool), np.zeros(0, bool))
    counts = [len(columns[k][0]) for k in kept]
    on_key, action_frame, interpolation = (np.concatenate([columns[k][c] for k in kept]) for c in (0, 1, 4))
    left, right = (
        on_key if all(columns[k][c] is columns[k][0] for k in kept) else np.concatenate([columns[k][c] for k in kept])
        for c in (2, 3)
    )
    eased = [columns[k][5] for k in kept]
    easing, back, amplitude, period = (_eased(eased, counts, c) for c in range(4))
    keys = Keys(
        channels=tuple(curves[k].channel for k in kept),
        channel=np.repeat(np.arange(len(kept)), counts),
        scene_frame=np.ascontiguousarray(on_key[:, 0]),
        action_frame=action_frame,
        value=np.ascontiguousarray(on_key[:, 1]),
        left=left,
        right=right,
        interpolation=interpolation,
        easing=easing,
        back=back,
        amplitude=amplitude,
        period=period,
        plain=tuple(plain[k] for k in kept),
    )
    return ReadKeys(
        keys,
        [curves[k].curve for k in kept],
        np.array([len(curves[k].curve.keyframe_points) == n for k, n in zip(kept, counts, strict=True)], bool),
        np.array([columns[k][6] for k in kept], bool),
    )


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
        easing=eased("easing", FRESH[0]),
        back=eased("back", FRESH[1]),
        amplitude=eased("amplitude", FRESH[2]),
        period=eased("period", FRESH[3]),
        plain=tuple(flag for keys in parts for flag in keys.plain),
    )


@dataclass(frozen=True)
class _Curve:
    """A curve with its channel and how its frames become scene frames: scene = offset + slope * frame."""

    curve: Any
    channel: Channel
    strip: Any
    offset: float
    slope: float
    plain: bool
    driven: bool
    begin: float
    end: float


class _Numbers:
    """Blender's enum numbers -> the core's."""

    def __init__(self) -> None:
        properties: Any = bpy.types.Keyframe.bl_rna.properties
        self.interpolation = _table(properties["interpolation"].enum_items, INTERPOLATIONS)
        self.easing = _table(properties["easing"].enum_items, _EASINGS)


def _table(items: Any, names: Sequence[str]) -> Array:
    out = np.zeros(max(item.value for item in items) + 1, int)
    for item in items:
        if item.identifier in names:
            out[item.value] = names.index(item.identifier)
    return out


def _curves(owner: Any, stretch: float) -> Iterator[_Curve]:
    data = owner.animation_data
    if data is None:
        return
    driven = {(d.data_path, d.array_index) for d in data.drivers}
    layered_over = any(not t.mute and len(t.strips) for t in data.nla_tracks) and data.use_nla
    active_plain = not layered_over or (data.action_blend_type == "REPLACE" and data.action_influence >= 1.0)
    for curve, strip in curves_of(owner):
        if (
            curve.mute
            or not curve.is_valid
            or (curve.group is not None and curve.group.mute)
            or not len(curve.keyframe_points)
        ):
            continue
        action = data.action if strip is None else strip.action
        found = _BONE.match(curve.data_path)
        bone = re.sub(r"\\(.)", r"\1", found.group(1)) if found else ""
        path = found.group(2) if found else curve.data_path
        plain = not any(not m.mute for m in curve.modifiers)
        if strip is None:
            offset, slope, begin, end = 0.0, 1.0, -np.inf, np.inf
            plain = plain and active_plain
        else:
            slope = float(strip.scale)
            offset = float(strip.frame_start - strip.action_frame_start * slope)
            if strip.use_reverse:
                slope, offset = -slope, float(strip.frame_start + strip.action_frame_end * slope)
            begin, end = float(strip.frame_start), float(strip.frame_end)
            plain = plain and not (
                strip.use_reverse
                or strip.use_animated_time
                or strip.use_animated_influence
                or strip.repeat != 1.0
                or strip.blend_in
                or strip.blend_out
                or strip.blend_type != "REPLACE"
                or strip.use_auto_blend
            )
        channel = Channel(
            owner.name,
            action.name,
            path,
            curve.array_index,
            bone,
            slot_name(data if strip is None else strip),
            "" if strip is None else strip.name,
        )
        yield _Curve(
            curve,
            channel,
            strip,
            offset * stretch,
            slope * stretch,
            plain,
            (curve.data_path, curve.array_index) in driven,
            begin * stretch,
            end * stretch,
        )


def _plain(curves: Sequence[_Curve]) -> list[bool]:
    """Whether each curve alone makes its value: no modifier, driver, or other curve on the same value at the same
    time.
    """
    same: dict[tuple[str, str, str, int], list[int]] = defaultdict(list)
    for k, c in enumerate(curves):
        same[c.channel.object, c.channel.bone, c.channel.path, c.channel.index].append(k)
    out = [c.plain and not c.driven for c in curves]
    for rows in same.values():
        for a in rows:
            if any(b != a and curves[a].begin < curves[b].end and curves[b].begin < curves[a].end for b in rows):
                out[a] = False
    return out


def _eased(eased: Sequence[tuple[Array, ...] | None], counts: Sequence[int], column: int) -> Array | None:
    """One of easing, back, amplitude and period for all keys; None where no curve eases."""
    if all(e is None for e in eased):
        return None
    pairs = zip(eased, counts, strict=True)
    return np.concatenate([np.full(n, FRESH[column]) if e is None else e[column] for e, n in pairs])


def _columns(item: _Curve, within: tuple[float, float] | None, numbers: _Numbers) -> tuple[Any, ...]:
    """Of one curve, by frame: scene frame and value (K, 2), action frame, left, right, interpolation, and easing, back,
    amplitude and period together, None where nothing eases; and whether it is baked.

    Handles are read where a segment is Bezier, or the curve goes on along them beyond its ends, and the rest where a
    segment eases: elsewhere Blender does not look at them, and reading them costs most of the time. Such handles lie on
    their keys. Between baked keys, at most a frame apart,
    there is no time for a curve to be seen: they are taken for linear, and their frames and values alone are read.
    """
    points = item.curve.keyframe_points
    n = len(points)

    def get(name: str, width: int, kind: Any) -> Array:
        out = np.empty(n * width, kind)
        points.foreach_get(name, out)
        out = out.reshape(n, width) if width > 1 else out
        return out[::-1] if item.slope < 0 else out

    def floats(name: str, width: int = 1) -> Array:
        return get(name, width, np.float32)[begin:end].astype(float)

    on_key = get("co", 2, np.float32).astype(float)
    action_frame = on_key[:, 0].copy()
    frame = on_key[:, 0]
    if item.offset != 0.0 or item.slope != 1.0:
        on_key[:, 0] = item.offset + item.slope * frame
    lo, hi = (item.begin, item.end) if within is None else (max(within[0], item.begin), min(within[1], item.end))
    begin, end = 0, n
    if frame[0] < lo or frame[-1] > hi or hi < lo:
        begin = max(0, int(np.searchsorted(frame, lo, "right")) - 1)
        end = min(n, int(np.searchsorted(frame, hi, "left")) + 1) if hi >= lo else begin
        on_key, action_frame, frame = on_key[begin:end], action_frame[begin:end], frame[begin:end]
    if end - begin >= BAKED and (frame[1:] - frame[:-1]).max() <= 1.0 + 1e-4:
        return on_key, action_frame, on_key, on_key, np.full(end - begin, LINEAR), None, True
    interpolation = numbers.interpolation[get("interpolation", 1, np.int32)[begin:end]]
    left = right = on_key
    eases = bool((interpolation > BEZIER).any())
    if (interpolation == BEZIER).any() or (eases and item.curve.extrapolation == "LINEAR"):
        left, right = floats("handle_left", 2), floats("handle_right", 2)
        if item.offset != 0.0 or item.slope != 1.0:
            for handle in (left, right):
                handle[:, 0] = item.offset + item.slope * handle[:, 0]
        if item.slope < 0:
            left, right = right, left
    eased = None
    if eases:
        easing = numbers.easing[get("easing", 1, np.int32)[begin:end]]
        eased = easing, floats("back"), floats("amplitude"), floats("period") * abs(item.slope)
    return on_key, action_frame, left, right, interpolation, eased, False
