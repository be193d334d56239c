# SPDX-License-Identifier: GPL-3.0-or-later
"""Animation curves from their keys, exactly as Blender evaluates them, for every interpolation and easing.

Frames are scene frames; values and slopes are in the channel's own unit, slopes per frame. The oracle is Blender's own
``FCurve.evaluate``: tests/blender/test_fcurve.py asks it for every interpolation, easing and handle type. Blender
computes in single precision, so agreement is to about 1e-6 of the curve's range. What lies on top of a curve
(modifiers, strips, drivers) is not here: ``Keys.plain`` tells where there is any.
"""
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..shot import INTERPOLATIONS, Keys

Array = np.ndarray

CONSTANT, LINEAR, BEZIER = (INTERPOLATIONS.index(name) for name in ("CONSTANT", "LINEAR", "BEZIER"))
EASE_AUTO, EASE_IN, EASE_OUT, EASE_IN_OUT = range(4)
#: A frame this near to a key gives the key's own value, as in Blender.
ON_KEY = 1e-4
#: Interpolations whose easing 'auto' means out, the rest mean in.
_AUTO_OUT = ("BACK", "BOUNCE", "ELASTIC")
#: What Blender gives a fresh key.
BACK, AMPLITUDE, PERIOD = 1.70158, 0.8, 4.1


@dataclass(frozen=True)
class Segments:
    """N curve pieces between two keys each: points (N, 4, 2) key, right handle, left handle, key, and how they go."""
    points: Array
    interpolation: Array
    easing: Array
    back: Array
    amplitude: Array
    period: Array


def segments(keys: Keys, first: Array) -> Segments:
    """The pieces that start at the rows ``first`` (N,) of ``keys`` and end at the rows after them."""
    first = np.asarray(first, int)
    here, there = (np.stack([keys.scene_frame[at], keys.value[at]], 1) for at in (first, first + 1))
    points = np.stack([here, keys.right[first], keys.left[first + 1], there], 1)

    def column(values: Array | None, otherwise: float) -> Array:
        return np.full(len(first), otherwise) if values is None else values[first]

    return Segments(points, keys.interpolation[first], column(keys.easing, EASE_AUTO).astype(int),
                    column(keys.back, BACK), column(keys.amplitude, AMPLITUDE), column(keys.period, PERIOD))


def evaluate(keys: Keys, channel: int, frames: Array, extrapolation: str = "constant") -> Array:
    """One channel's values (N,) at scene frames (N,). ``extrapolation`` beyond the keys: 'constant' or 'linear'."""
    return evaluate_channels(keys, np.array([channel]), frames, extrapolation)[0]


def evaluate_channels(keys: Keys, channels: Array, frames: Array, extrapolation: str = "constant") -> Array:
    """Values (C, N) of C channels at N frames, all pieces of all curves at once. A channel without keys gives NaN."""
    if extrapolation not in ("constant", "linear"):
        raise ValueError(f"extrapolation is 'constant' or 'linear', not {extrapolation!r}")
    frames = np.asarray(frames, float)
    channels = np.asarray(channels, int)
    begin, end = (np.searchsorted(keys.channel, channels, side) for side in ("left", "right"))
    out = np.full((len(channels), len(frames)), np.nan)
    # most curves of a figure have their keys on the same frames: what hangs on time alone is found once for all of them
    alike: dict[tuple[bytes, int], list[int]] = {}
    for c, (i, j) in enumerate(zip(begin.tolist(), end.tolist(), strict=True)):
        if j > i:
            kinds = keys.interpolation[i : max(j - 1, i + 1)]
            kind = int(kinds[0]) if (kinds == kinds[0]).all() else -1
            alike.setdefault((keys.scene_frame[i:j].tobytes(), kind), []).append(c)
    for some in alike.values():
        rows = begin[some][:, None] + np.arange(end[some[0]] - begin[some[0]])
        out[some] = _together(keys, rows, frames, extrapolation)
    return out


def _together(keys: Keys, rows: Array, frames: Array, extrapolation: str) -> Array:
    """Values (C, N) at frames (N,) of curves whose keys (C, K), given by their rows, lie on the same K frames."""
    at, value = keys.scene_frame[rows[0]], keys.value[rows]
    last = len(at) - 1
    before = frames <= at[0]
    after = (frames >= at[-1]) & ~before
    piece = np.clip(np.searchsorted(at, frames, "right") - 1, 0, max(last - 1, 0))
    following = np.minimum(piece + 1, last)
    near = np.where(np.abs(frames - at[following]) < ON_KEY, following, piece)
    on = before | after | (np.abs(frames - at[near]) < ON_KEY)
    near = np.where(before, 0, np.where(after, last, near))
    out: Array = value[:, near]
    between = np.flatnonzero(~on)
    if len(between):
        out[:, between] = _between(keys, rows, value, piece[between], frames[between])
    if extrapolation == "linear":
        for here, end, neighbor, handles in ((before, 0, 1, keys.left), (after, last, last - 1, keys.right)):
            for c in range(len(rows)) if here.any() else ():
                other = None if last == 0 else int(rows[c, neighbor])
                out[c, here] = _beyond(keys, int(rows[c, end]), other, handles, frames[here], extrapolation)
    return out


def _between(keys: Keys, rows: Array, value: Array, piece: Array, frames: Array) -> Array:
    """Values (C, N) at frames (N,) that lie between keys of the pieces (N,); value (C, K) of the keys."""
    at = keys.scene_frame[rows[0]]
    kinds = keys.interpolation[rows[:, :-1]]
    used = kinds if len(piece) > kinds.shape[1] else kinds[:, piece]
    kind = int(used.flat[0])
    if kind > BEZIER or not (used == kind).all():
        first = rows[:, piece]
        many = np.broadcast_to(frames, first.shape)
        return values(segments(keys, first.ravel()), many.ravel()).reshape(first.shape)
    start: Array = value[:, piece]
    if kind == CONSTANT:
        return start
    stop = value[:, piece + 1]
    if kind == LINEAR:
        return start + (stop - start) * ((frames - at[piece]) / (at[piece + 1] - at[piece]))
    length = np.diff(at)
    right, left = keys.right[rows[:, :-1]], keys.left[rows[:, 1:]]
    out_x, out_y = _shortened(right[..., 0] - at[:-1], right[..., 1] - value[:, :-1], length)
    in_x, in_y = _shortened(left[..., 0] - at[1:], left[..., 1] - value[:, 1:], length)
    if (out_x == out_x[:1]).all() and (in_x == in_x[:1]).all():
        out_x, in_x = out_x[:1], in_x[:1]  # then time runs alike in all of them
    x = np.empty((len(out_x), len(piece), 4))
    x[..., 0], x[..., 3] = at[piece], at[piece + 1]
    x[..., 1], x[..., 2] = (at[:-1] + out_x)[:, piece], (at[1:] + in_x)[:, piece]
    t = _parameter(x.reshape(-1, 4), np.broadcast_to(frames, x.shape[:2]).ravel()).reshape(x.shape[:2])
    u = 1 - t
    once, twice = 3 * u * u * t, 3 * u * t * t
    first_share = u * u * u + once
    mixed: Array = first_share * start + (1 - first_share) * stop
    return mixed + once * out_y[:, piece] + twice * in_y[:, piece]


def _shortened(time: Array, rise: Array, length: Array) -> tuple[Array, Array]:
    """Handles (C, K) as distances from their keys, shortened along themselves to the time between the keys (K,)."""
    wide = np.abs(time)
    if not (wide > length).any():
        return time, rise
    share = np.where(wide > length, length / np.where(wide > 0, wide, 1.0), 1.0)
    return time * share, rise * share


def slopes(keys: Keys, channel: int) -> Array:
    """Slopes (K, 2) on the left and on the right of each key of a channel, per frame; NaN where there is no neighbor.

    A constant piece has slope 0 on both ends: its jump is no slope.
    """
    of = keys.of(channel)
    count = of.stop - of.start
    out = np.full((count, 2), np.nan)
    if count > 1:
        pieces = segments(keys, np.arange(of.start, of.stop - 1))
        out[:-1, 1], out[1:, 0] = _end_slopes(pieces)
    return out


def values(pieces: Segments, frames: Array) -> Array:
    """Value (N,) of each piece at its own frame (N,), which lies between its keys."""
    x0, y0, x1, y1 = pieces.points[:, 0, 0], pieces.points[:, 0, 1], pieces.points[:, 3, 0], pieces.points[:, 3, 1]
    duration, change, time = x1 - x0, y1 - y0, frames - x0
    out = y0.copy()
    moving = duration > 0
    for kind in np.unique(pieces.interpolation):
        here = moving & (pieces.interpolation == kind)
        name = INTERPOLATIONS[kind]
        if kind == CONSTANT or not here.any():
            continue
        if kind == BEZIER:
            out[here] = _bezier(pieces.points[here], frames[here])
            continue
        if kind == LINEAR:
            out[here] = y0[here] + change[here] * time[here] / duration[here]
            continue
        easing = np.where(pieces.easing == EASE_AUTO, EASE_OUT if name in _AUTO_OUT else EASE_IN, pieces.easing)
        for way in (EASE_IN, EASE_OUT, EASE_IN_OUT):
            some = here & (easing == way)
            if not some.any():
                continue
            part = time[some] / duration[some]
            if name == "ELASTIC":
                out[some] = y0[some] + _elastic(part, change[some], duration[some], pieces.amplitude[some],
                                                pieces.period[some], way)
            else:
                back = pieces.back[some] * (1.525 if way == EASE_IN_OUT else 1.0)
                out[some] = y0[some] + change[some] * _eased(_SHAPES[name], part, back, way)
    out = np.where(np.abs(frames - x0) < ON_KEY, y0, out)
    return np.where(np.abs(frames - x1) < ON_KEY, y1, out)


def clamped(points: Array) -> Array:
    """Pieces (N, 4, 2), handles shortened along themselves to the time between the keys: no curve runs back."""
    out = np.array(points, float)
    length = out[:, 3, 0] - out[:, 0, 0]
    for key, handle in ((0, 1), (3, 2)):
        reach = out[:, handle] - out[:, key]
        out[:, handle] = out[:, key] + np.stack(_shortened(reach[:, 0], reach[:, 1], length), 1)
    return out


def _beyond(keys: Keys, end: int, neighbor: int | None, handles: Array, frames: Array, extrapolation: str) -> Array:
    """Values past an end key: flat, or along the straight piece beside it, or along its outer handle's line."""
    x, y = keys.scene_frame[end], keys.value[end]
    kind = keys.interpolation[end]
    slope = 0.0
    other: Array | None
    if extrapolation == "linear" and kind != CONSTANT:
        if kind != LINEAR:
            other = handles[end]  # the outer one: left of the first key, right of the last
        elif neighbor is None:
            other = None
        else:
            other = np.array([keys.scene_frame[neighbor], keys.value[neighbor]])
        if other is not None and other[0] != x:
            slope = (other[1] - y) / (other[0] - x)
    return y + slope * (frames - x)


def _bezier(points: Array, frames: Array) -> Array:
    """Values of Bezier pieces (N, 4, 2) at frames (N,)."""
    p = clamped(points)
    flat = np.ptp(p[:, :, 1], axis=1) < np.finfo(np.float32).eps
    t = _parameter(p[:, :, 0], frames)
    return np.where(flat, p[:, 0, 1], _cubic(p[:, :, 1], t))


def _cubic(p: Array, t: Array) -> Array:
    u = 1 - t
    out: Array = u * u * u * p[:, 0] + 3 * u * u * t * p[:, 1] + 3 * u * t * t * p[:, 2] + t * t * t * p[:, 3]
    return out


def _parameter(x: Array, frames: Array) -> Array:
    """Parameter t in 0..1 at which each piece's time (N, 4), never running back, is its frame: bracketed Newton."""
    low, high = np.zeros(len(x)), np.ones(len(x))
    span = np.where(x[:, 3] > x[:, 0], x[:, 3] - x[:, 0], 1.0)
    t = np.clip((frames - x[:, 0]) / span, 0, 1)
    d = np.diff(x, axis=1)
    for _ in range(60):
        error = _cubic(x, t) - frames
        wrong = np.abs(error) >= 1e-12 * span
        if not wrong.any():
            break
        high = np.where(error > 0, t, high)
        low = np.where(error > 0, low, t)
        u = 1 - t
        speed = 3 * (u * u * d[:, 0] + 2 * u * t * d[:, 1] + t * t * d[:, 2])
        with np.errstate(divide="ignore", invalid="ignore"):
            step = t - error / speed
        safe = np.isfinite(step) & (step > low) & (step < high)
        # what has come out stays: a step of nothing would pass for an unsafe one
        t = np.where(wrong, np.where(safe, step, (low + high) / 2), t)
    return t


Shape = Callable[[Array, Array], Array]


def _bounce_in(t: Array, _: Array) -> Array:
    """One minus four parabolas of falling height, run backward."""
    u = 1 - t
    start = np.select([u < 1 / 2.75, u < 2 / 2.75, u < 2.5 / 2.75], [0.0, 1.5, 2.25], 2.625) / 2.75
    floor = np.select([u < 1 / 2.75, u < 2 / 2.75, u < 2.5 / 2.75], [0.0, 0.75, 0.9375], 0.984375)
    out: Array = 1 - (7.5625 * (u - start) ** 2 + floor)
    return out


def _power(n: int) -> Shape:
    return lambda t, _: t ** n


#: How each interpolation eases in over t = 0..1; easing out is the same turned round, in-out two halves.
_SHAPES: dict[str, Shape] = {
    "SINE": lambda t, _: 1 - np.cos(t * np.pi / 2),
    "QUAD": _power(2), "CUBIC": _power(3), "QUART": _power(4), "QUINT": _power(5),
    # from 2^-10 to 1, stretched so that it starts at 0
    "EXPO": lambda t, _: (2.0 ** (10 * (t - 1)) - 2.0 ** -10) / (1 - 2.0 ** -10),
    "CIRC": lambda t, _: 1 - np.sqrt(np.maximum(1 - t * t, 0.0)),
    "BACK": lambda t, back: t * t * ((back + 1) * t - back),
    "BOUNCE": _bounce_in,
}


def _eased(shape: Shape, t: Array, back: Array, way: int) -> Array:
    if way == EASE_IN:
        return shape(t, back)
    if way == EASE_OUT:
        return 1 - shape(1 - t, back)
    first = t < 0.5
    half = shape(np.where(first, 2 * t, 2 - 2 * t), back) / 2
    return np.where(first, half, 1 - half)


def _elastic(t: Array, change: Array, duration: Array, amplitude: Array, period: Array, way: int) -> Array:
    """A decaying sine, as a distance from the first key's value.

    Where the amplitude is below the change, Blender uses the change and blends from 1 to the ratio of the two over the
    first quarter period, so that the curve still meets its key.
    """
    twice = way == EASE_IN_OUT
    s = -t if way == EASE_OUT else t - 1
    if twice:
        s = 2 * t - 1
    period = np.where(period == 0, duration * (0.45 if twice else 0.3), period)
    small = (amplitude == 0) | (amplitude < np.abs(change))
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(small, period / 4, period / (2 * np.pi) * np.arcsin(np.clip(change / amplitude, -1, 1)))
        ratio = np.where(change != 0, amplitude / np.abs(change), 1.0)
        near = np.minimum(np.abs(s * duration) / np.abs(shift), 1.0)
    blend = np.where(small & (change != 0), ratio * near + 1 - near, 1.0)
    size = np.where(small, change, amplitude)

    def wave(at: Array) -> Array:
        out: Array = blend * size * 2.0 ** (10 * at) * np.sin((at * duration - shift) * 2 * np.pi / period)
        return out

    if way == EASE_IN:
        out = -wave(s)
    elif way == EASE_OUT:
        out = wave(s) + change
    else:
        out = np.where(s < 0, -0.5 * wave(s), 0.5 * wave(-s) + change)
    return np.where(t <= 0, 0.0, np.where(t >= 1, change, out))


def _end_slopes(pieces: Segments) -> tuple[Array, Array]:
    """Slope (N,) of each piece just after its first and just before its last key."""
    p = pieces.points
    duration = p[:, 3, 0] - p[:, 0, 0]
    still = (pieces.interpolation == CONSTANT) | (duration <= 0)
    safe = np.where(duration > 0, duration, 1.0)
    chord = (p[:, 3, 1] - p[:, 0, 1]) / safe
    points = clamped(p)
    out = []
    for key, others, sign in ((0, (1, 2, 3), 1), (3, (2, 1, 0), -1)):
        # handles say a Bezier piece's slope exactly: the first of the other points that stands apart from the key
        handle = np.full(len(p), np.nan)
        for other in others[::-1]:
            reach = points[:, other] - points[:, key]
            with np.errstate(divide="ignore", invalid="ignore"):
                handle = np.where(np.abs(reach).max(1) > 1e-9, reach[:, 1] / reach[:, 0], handle)
        # the eased kinds by one-sided differences of the curve itself
        step = sign * 1e-3 * safe
        at = [values(pieces, p[:, key, 0] + i * step) for i in range(3)]
        slope = (-3 * at[0] + 4 * at[1] - at[2]) / (2 * step)
        slope = np.where((pieces.interpolation == BEZIER) & np.isfinite(handle), handle, slope)
        out.append(np.where(still, 0.0, np.where(pieces.interpolation == LINEAR, chord, slope)))
    return out[0], out[1]
