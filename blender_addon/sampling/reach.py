# SPDX-License-Identifier: GPL-3.0-or-later
"""Which frames a sweep looks at: the judged range, and a margin round it where the animation goes on."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np

from ..compat import curves_of
from .armatures import CannotMeasure

#: Seconds sampled beyond each end of the judged range, so that speeds at its ends are known.
MARGIN = 0.5
FEWEST = 4
#: Blender's own first and last frame.
LEAST, MOST = -1_048_574, 1_048_574


@dataclass(frozen=True)
class Judged:
    """The judged range, both ends inside, and sentences on how it was chosen."""

    first: int
    last: int
    remarks: tuple[str, ...] = ()


def judged(scene: Any, first: int | None, last: int | None) -> Judged:
    """The range asked for, else the preview range where it is on, else the scene's. Raises CannotMeasure."""
    remarks = []
    lo, hi = scene.frame_start, scene.frame_end
    if first is not None or last is not None:
        begin, end = lo if first is None else int(first), hi if last is None else int(last)
        what = "range asked for"
    elif scene.use_preview_range:
        begin, end = scene.frame_preview_start, scene.frame_preview_end
        what = "preview range"
        remarks.append(f"the preview range {begin} to {end} is judged, not the whole scene ({lo} to {hi})")
    else:
        begin, end, what = lo, hi, "scene's range"
    if end < begin:
        raise CannotMeasure(f"the {what} is reversed or empty: it goes from frame {begin} to frame {end}")
    if begin < LEAST or end > MOST:
        raise CannotMeasure(
            f"the {what}, {begin} to {end}, lies outside the frames that Blender has ({LEAST} to {MOST})"
        )
    if end - begin + 1 < FEWEST:
        raise CannotMeasure(
            f"the {what}, {begin} to {end}, has fewer than {FEWEST} frames: no speed can be read from it"
        )
    if what == "range asked for" and (end < lo or begin > hi):
        raise CannotMeasure(f"the range asked for, {begin} to {end}, lies outside the scene's range {lo} to {hi}")
    if what == "range asked for" and (begin < lo or end > hi):
        remarks.append(f"the range asked for, {begin} to {end}, reaches beyond the scene's range {lo} to {hi}")
    return Judged(begin, end, tuple(remarks))


def frames_of(scene: Any, range_: Judged, graph: Any, more: Iterable[Any] = ()) -> np.ndarray:
    """All scene frames to sample, (F,): the judged ones and up to MARGIN seconds at each side where something still
    moves.

    more: objects that move the figures although they are not in the graph, as those that viewports hide.
    Beyond the last key everything holds still. That stop would be ours and not the animator's, so it is not sampled.
    """
    rate = scene.render.fps / scene.render.fps_base
    margin = int(round(MARGIN * rate))
    lo, hi = moving_frames(scene, chain((id.original for id in graph.ids), more))
    first = max(LEAST, range_.first - margin, min(range_.first, lo))
    last = min(MOST, range_.last + margin, max(range_.last, hi))
    return np.arange(first, last + 1, dtype=float)


def moving_frames(scene: Any, owners: Iterable[Any]) -> tuple[int, int]:
    """First and last whole scene frame at which the animation of these IDs can still change something."""
    lo, hi = MOST, LEAST
    stretch = scene.render.frame_map_new / scene.render.frame_map_old
    for owner in owners:
        data = getattr(owner, "animation_data", None)
        if data is None:
            continue
        for driver in data.drivers:
            if "frame" in driver.driver.expression:
                return LEAST, MOST
        for curve, strip in curves_of(owner):
            if strip is not None:
                a, b = strip.frame_start, strip.frame_end
            elif len(curve.modifiers) or (curve.extrapolation == "LINEAR" and len(curve.keyframe_points) > 1):
                return LEAST, MOST
            elif len(curve.keyframe_points):
                a, b = curve.range()
            else:
                continue
            lo, hi = min(lo, int(np.ceil(a * stretch))), max(hi, int(np.floor(b * stretch)))
    return lo, hi
