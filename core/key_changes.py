# SPDX-License-Identifier: GPL-3.0-or-later
"""Which frames an edit of keys can have changed: a question about values, key by key.

A curve between two keys hangs on those keys and their handles alone, so what lies beyond the nearest unchanged keys is
as it was. (Blender moves the handles of neighbors itself; those keys then differ as well.)
"""

import numpy as np

from .shot import Channel, Keys

Array = np.ndarray
Spans = tuple[tuple[int, int], ...]

#: Differences under this, frames or values, are Blender's own rounding.
ROUNDING = 1e-4


def changed_spans(before: Keys | None, after: Keys | None, first: int, last: int) -> Spans:
    """Whole scene frames, both ends inside, on which a curve may give another value; merged, in order.

    before, after: the keys of the same objects. first, last: the frames that are asked about; what changed beyond them
    is left out. A curve that came or went, or whose modifiers changed, may change all of them.
    """
    old, new = _by_channel(before), _by_channel(after)
    spans: list[tuple[float, float]] = []
    for channel in dict.fromkeys([*old, *new]):
        if channel not in old or channel not in new or old[channel][1] != new[channel][1]:
            return ((first, last),)
        spans += _changed(old[channel][0], new[channel][0], first, last)
    return _merged(spans, first, last)


def _by_channel(keys: Keys | None) -> dict[Channel, tuple[Array, bool]]:
    """Rows of frame, value, handles, interpolation and easing, and whether the curve alone makes the value."""
    if keys is None:
        return {}
    kinds = [keys.interpolation] + [c for c in (keys.easing, keys.back, keys.amplitude, keys.period) if c is not None]
    rows = np.column_stack([keys.scene_frame, keys.value, keys.left, keys.right, *kinds])
    plain = keys.plain or (True,) * len(keys.channels)
    return {channel: (rows[keys.of(i)], plain[i]) for i, channel in enumerate(keys.channels)}


def _changed(old: Array, new: Array, first: int, last: int) -> list[tuple[float, float]]:
    if old.shape == new.shape and np.abs(old - new).max(initial=0.0) <= ROUNDING:
        return []
    if old.shape[1] != new.shape[1]:
        return [(first, last)]
    kept = _same(new, old)
    gone = ~_same(old, new)
    stays = new[kept, 0]
    moved = np.concatenate([new[~kept, 0], old[gone, 0]])
    out = []
    for frame in np.unique(moved):
        below, above = stays[stays < frame], stays[stays > frame]
        out.append((float(below[-1]) if len(below) else first, float(above[0]) if len(above) else last))
    return out


def _same(rows: Array, others: Array) -> Array:
    """(n,) whether each row stands among the others, within rounding."""
    if not len(others):
        return np.zeros(len(rows), bool)
    at = np.clip(np.searchsorted(others[:, 0], rows[:, 0] - ROUNDING), 0, len(others) - 1)
    return np.asarray(np.abs(rows - others[at]).max(axis=1) <= ROUNDING)


def _merged(spans: list[tuple[float, float]], first: int, last: int) -> Spans:
    out: list[tuple[int, int]] = []
    for low, high in sorted(spans):
        a, b = max(int(np.floor(low)), first), min(int(np.ceil(high)), last)
        if a > b:
            continue
        if out and a <= out[-1][1] + 1:
            out[-1] = (out[-1][0], max(out[-1][1], b))
        else:
            out.append((a, b))
    return tuple(out)
