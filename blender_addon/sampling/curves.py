# SPDX-License-Identifier: GPL-3.0-or-later
"""What an object's own action makes of its channels, as arrays over all frames, without stepping Blender.

Only where the action alone decides: what drivers, NLA strips, modifiers or layers make of a curve is known to Blender's
own evaluation alone, and ``Unclear`` says so.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from ...core.numeric.fcurve import evaluate_channels
from ..compat import action_fcurves, has_one_layer, slot_of
from .keys import KeyBook, ReadKeys

Array = np.ndarray

#: Keys are on whole frames where they are nearer to them than this.
WHOLE = 1e-4


class Unclear(Exception):
    """Why keys alone do not tell a motion, as the end of a sentence that begins with whose motion it is."""


class Curves:
    """The channels of one object whose values the keys alone make. Raises Unclear where that is not so.

    frames (F,): whole scene frames, rising; book: read for at least these frames.
    """

    def __init__(self, object: Any, book: KeyBook, frames: Array) -> None:
        data = object.animation_data
        if data is not None:
            _alone(data)
        read = book.read(object)
        self.keys, self._frames = read.keys, frames
        self._linear = _checked(read)
        self.at: dict[tuple[str, str], list[tuple[int, int]]] = {}
        for row, channel in enumerate(self.keys.channels):
            self.at.setdefault((channel.bone, channel.path), []).append((channel.index, row))

    def values(self, rows: Sequence[int]) -> Array:
        """Values (n, F) of the channels at these rows of ``keys.channels``."""
        chosen = np.asarray(rows, int)
        out = np.empty((len(chosen), len(self._frames)))
        for linear, extrapolation in ((False, "constant"), (True, "linear")):
            some = np.flatnonzero(self._linear[chosen] == linear)
            if len(some):
                out[some] = evaluate_channels(self.keys, chosen[some], self._frames, extrapolation)
        return out


def _alone(data: Any) -> None:
    """Raises Unclear unless the active action is all that animates."""
    if len(data.drivers):
        raise Unclear("has drivers")
    if data.use_tweak_mode:
        raise Unclear("is in the NLA's tweak mode")
    if any(len(track.strips) or track.is_solo for track in data.nla_tracks):
        raise Unclear("plays NLA strips")
    if data.action is None:
        return
    if data.action_influence < 1.0 or data.action_blend_type != "REPLACE":
        raise Unclear("plays its action only in part")
    if not has_one_layer(data.action):
        raise Unclear("plays an action of several layers")
    for curve in action_fcurves(data.action, slot_of(data)):
        if not len(curve.keyframe_points) and len(curve.sampled_points):
            raise Unclear("plays a curve of samples without keys")


def _checked(read: ReadKeys) -> Array:
    """(C,) which channels go on in a straight line beyond their keys. Raises Unclear where keys alone do not tell."""
    keys = read.keys
    if not all(keys.plain):
        raise Unclear("has modifiers on its curves, or two curves on one channel")
    if not np.isfinite(keys.value).all():
        raise Unclear("has keys that are not numbers")
    linear = np.array([curve.extrapolation == "LINEAR" for curve in read.curves], bool)
    counts = np.bincount(keys.channel, minlength=len(keys.channels))
    if (linear & ~read.complete & (counts == 1)).any():
        raise Unclear("goes on in a straight line from keys far outside the frames")
    between = np.abs(keys.scene_frame - np.rint(keys.scene_frame)) > WHOLE
    if between.any() and (read.baked & (np.bincount(keys.channel, between, len(counts)) > 0)).any():
        raise Unclear("is baked to keys between the frames")
    return linear
