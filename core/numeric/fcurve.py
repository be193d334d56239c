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
    out = np.full((len(channels), len(frames)), np.nan)
    rows = np.zeros(out.shape, int)
    inside = np.zeros(out.shape, bool)
    for c, channel in enumerate(channels):
        of = keys.of(int(channel))
        at = keys.scene_frame[of]
        if not len(at):
            continue
        before, after = frames <= at[0], frames >= at[-1]
        second, second_last = (of.start + 1, of.stop - 2) if len(at) > 1 else (None, None)
        out[c, before] = _beyond(keys, of.start, second, keys.left, frames[before], extrapolation)
        out[c, after & ~before] = _beyond(keys, of.stop - 1, second_last, keys.right,
                                          frames[after & ~before], extrapolation)
        inside[c] = ~before & ~after
        rows[c, inside[c]] = of.start + np.searchsorted(at, frames[inside[c]], "right") - 1
    if inside.any():
        out[inside] = values(segments(keys, rows[inside]), np.broadcast_to(frames, out.shape)[inside])
    return out


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
    # a frame on a key gives the key (Blender: within a ten-thousandth of a frame)
    out = np.where(np.abs(frames - x0) < 1e-4, y0, out)
    return np.where(np.abs(frames - x1) < 1e-4, y1, out)


def clamped(points: Array) -> Array:
    """Pieces (N, 4, 2), handles shortened along themselves to the time between the keys: no curve runs back."""
    out = np.array(points, float)
    length = (out[:, 3, 0] - out[:, 0, 0])[:, None]
    for key, handle in ((0, 1), (3, 2)):
        reach = out[:, handle] - out[:, key]
        wide = np.abs(reach[:, :1])
        share = np.where(wide > length, length / np.where(wide > 0, wide, 1.0), 1.0)
        out[:, handle] = out[:, key] + reach * share
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
        if np.all(np.abs(error) < 1e-12 * span):
            break
        high = np.where(error > 0, t, high)
        low = np.where(error > 0, low, t)
        u = 1 - t
        speed = 3 * (u * u * d[:, 0] + 2 * u * t * d[:, 1] + t * t * d[:, 2])
        with np.errstate(divide="ignore", invalid="ignore"):
            step = t - error / speed
        safe = np.isfinite(step) & (step > low) & (step < high)
        t = np.where(safe, step, (low + high) / 2)
    return t


Shape = Callable[[Array, Array], Array]


def _bounce_in(t: Array, _: Array) -> Array:
    """One minus four parabolas of falling height, run backwards."""
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
