# SPDX-License-Identifier: GPL-3.0-or-later
"""Which curves animate an ID, by what channel, and how the frames of each become scene frames."""

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from ...core.shot import Channel
from ..compat import curves_of, slot_name

_BONE = re.compile(r'pose\.bones\["((?:[^"\\]|\\.)*)"\]\.(.+)$', re.S)


@dataclass(slots=True)
class Played:
    """A curve with its channel and how its frames become scene frames: scene = offset + slope * frame.

    begin, end: the scene frames between which it plays. plain: whether it has no modifier and plays in full; driven:
    whether a driver overrules it.
    """

    curve: Any
    points: Any
    count: int
    channel: Channel
    offset: float
    slope: float
    plain: bool
    driven: bool
    begin: float
    end: float


@lru_cache(maxsize=4096)
def target_of(data_path: str) -> tuple[str, str]:
    """Bone, '' for the object itself, and the path from there."""
    found = _BONE.match(data_path)
    return (re.sub(r"\\(.)", r"\1", found.group(1)), found.group(2)) if found else ("", data_path)


def played_by(owner: Any, stretch: float) -> Iterator[Played]:
    """The curves with keys that animate an ID, in the order in which they play. stretch: scene frames a frame."""
    data = owner.animation_data
    if data is None:
        return
    driven = {(d.data_path, d.array_index) for d in data.drivers}
    layered_over = any(not t.mute and len(t.strips) for t in data.nla_tracks) and data.use_nla
    active_plain = not layered_over or (data.action_blend_type == "REPLACE" and data.action_influence >= 1.0)
    name = owner.name
    ways: dict[str, tuple[Any, ...]] = {}
    for curve, strip in curves_of(owner):
        if curve.mute or not curve.is_valid:
            continue
        group, points = curve.group, curve.keyframe_points
        count = len(points)
        if not count or (group is not None and group.mute):
            continue
        key = "" if strip is None else strip.path_from_id()
        if key not in ways:
            ways[key] = _way(data, strip, active_plain)
        action, slot, through, offset, slope, plain, begin, end = ways[key]
        data_path, index = curve.data_path, curve.array_index
        bone, path = target_of(data_path)
        yield Played(
            curve,
            points,
            count,
            Channel(name, action, path, index, bone, slot, through),
            offset * stretch,
            slope * stretch,
            plain and not any(not m.mute for m in curve.modifiers),
            (data_path, index) in driven,
            begin * stretch,
            end * stretch,
        )


def _way(data: Any, strip: Any, active_plain: bool) -> tuple[Any, ...]:
    """How the curves of the active action, or of a strip, play: names of action, slot and strip, offset and slope,
    whether in full, first and last frame; before time is remapped."""
    if strip is None:
        return data.action.name, slot_name(data), "", 0.0, 1.0, active_plain, -np.inf, np.inf
    slope = float(strip.scale)
    offset = float(strip.frame_start - strip.action_frame_start * slope)
    if strip.use_reverse:
        slope, offset = -slope, float(strip.frame_start + strip.action_frame_end * slope)
    plain = not (
        strip.use_reverse
        or strip.use_animated_time
        or strip.use_animated_influence
        or strip.repeat != 1.0
        or strip.blend_in
        or strip.blend_out
        or strip.blend_type != "REPLACE"
        or strip.use_auto_blend
    )
    begin, end = float(strip.frame_start), float(strip.frame_end)
    return strip.action.name, slot_name(strip), strip.name, offset, slope, plain, begin, end


def plain_ones(curves: Sequence[Played]) -> list[bool]:
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
