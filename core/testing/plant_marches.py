# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted linear spans: a stretch of a part's turn exchanged for an even march between its two end poses.

On keyed shots the two poses get keys that run straight in the part's own quaternion channels, as a person's linear keys
do; on captured ones the turn itself is even. Both also baked (no keys), and with white noise of 0.1 degree.
"""

import zlib
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from ..measures.turn import LEVER_LEG, LEVERS, local_axes
from ..numeric.fcurve import LINEAR
from ..numeric.rotation import exp, log, relative
from ..shot import Character, Keys
from . import edit
from .plants import SIZES, Case, Clean, quiet

Array = np.ndarray

FRAMES = (8, 12, 16)
#: Least change of speed at both ends, legs a second, with the severity of the harder one.
CORNERS = dict(zip(SIZES, ((0.10, "low"), (0.25, "medium"), (0.50, "high")), strict=True))
PARTS = ("head", "upper_arm", "forearm", "hand")
NOISE = np.radians(0.1)
#: Corners this near to the next step of severity are not planted: which side they fall on says nothing.
CLEAR = 1.08
#: A march slower than this is a moving hold, legs a second.
FASTER = 0.27


def marches(clean: Clean) -> Iterator[Case]:
    """All planted linear spans of a clean shot: one per part, length and size of corner."""
    c = clean.character
    for part in c.parts:
        if part.partition(".")[0] not in PARTS:
            continue
        for frames in FRAMES:
            spans = _spans(clean, part, frames)
            for size in SIZES:
                if size in spans:
                    yield from _cases(clean, part, size, *spans[size])


def _spans(clean: Clean, part: str, frames: int) -> dict[str, tuple[int, int, float, int]]:
    """For each size a first and last sample, the harder corner in leg/s and the sample at which it is."""
    shot, c = clean.shot, clean.character
    n = max(2, round(frames * shot.rate / shot.fps))
    lever = LEVERS[part.partition(".")[0]] / LEVER_LEG * shot.rate
    local = local_axes(c, part)
    steps = log(relative(local[:-1], local[1:]))
    out: dict[str, tuple[int, int, float, int]] = {}
    order = np.random.default_rng(zlib.crc32(f"{shot.name}{part}{frames}".encode()))
    for a in order.permutation(np.arange(2, shot.count - n - 2)):
        b = int(a) + n
        whole = log(relative(local[a], local[b]))
        march = whole / n
        if np.linalg.norm(march) * lever < FASTER or np.linalg.norm(whole) > 2.6:
            continue
        # velocities in the part's own axes on both sides of each end
        corners = [float(np.linalg.norm(march - steps[a - 1]) * lever),
                   float(np.linalg.norm(steps[b] - march) * lever)]
        hard, soft = max(corners), min(corners)
        size = next((s for s in reversed(SIZES) if soft >= CORNERS[s][0]), None)
        if size is None or size in out:
            continue
        above = {"small": 0.25, "middle": 0.5}.get(size, np.inf)
        if hard * CLEAR > above or hard < CORNERS[size][0] * CLEAR:
            continue
        if quiet(clean.result, shot, (int(a), b), (part,)):
            out[size] = (int(a), b, hard, int(a) if corners[0] >= corners[1] else b)
    return out


def _cases(clean: Clean, part: str, size: str, a: int, b: int, corner: float, at: int) -> Iterator[Case]:
    shot, c = clean.shot, clean.character
    severity = CORNERS[size][1]
    measured = corner * c.leg_length
    worst = (shot.frame(at), shot.frame(at))

    def case(kind: str, character: Character, told: str | None) -> Case:
        return Case(f"{kind}, {b - a} frames", size, clean.with_(character), "linear-span", part, told,
                    measured if told else None, 0.1 * measured, (a, b), worst)

    bare = replace(c, keys=None)
    if len(_channels(c, part)) == 4:
        yield case("linear keys", keyed_straight(c, shot.frames, part, a, b), severity)
    baked = marched(bare, part, a, b)
    yield case("linear, baked", baked, severity)
    yield case("linear, baked, noise", noisy(baked, zlib.crc32(f"{shot.name}{part}{a}".encode())), None)


def with_turn(character: Character, part: str, local: Array) -> Character:
    """The part's axes against its parent exchanged for ``local`` (F, 3, 3), what hangs from it carried along."""
    assert character.axes is not None
    now = local_axes(character, part)
    own = character.axes[:, character.index[part]]
    above = own @ now.swapaxes(-1, -2)
    return edit.turn(character, part, above @ local @ own.swapaxes(-1, -2))


def marched(character: Character, part: str, a: int, b: int) -> Character:
    """The part turned evenly from its pose at sample a to that at sample b."""
    local = np.array(local_axes(character, part))
    share = np.linspace(0, 1, b - a + 1)[:, None]
    local[a : b + 1] = local[a] @ exp(share * log(relative(local[a], local[b])))
    return with_turn(character, part, local)


def keyed_straight(character: Character, frames: Array, part: str, a: int, b: int) -> Character:
    """The same by straight keys in the quaternion's four channels on samples a and b."""
    assert character.keys is not None
    keys = character.keys
    local = np.array(local_axes(character, part))
    q = _quaternion(local)
    rows = _channels(character, part)
    sign = _sign_of(keys, rows, frames, q, a)
    ends = q[[a, b]] * sign
    if ends[0] @ ends[1] < 0:
        ends[1] = -ends[1]
    share = np.linspace(0, 1, b - a + 1)[:, None]
    between = ends[0] * (1 - share) + ends[1] * share
    local[a : b + 1] = _rotation(between)
    for k, row in enumerate(rows):
        keys = _straightened(keys, row, float(frames[a]), float(frames[b]), ends[:, k])
    return replace(with_turn(character, part, local), keys=keys)


def _channels(character: Character, part: str) -> list[int]:
    """The quaternion's channels on the part's own bone; none where a control drives it or it is turned otherwise."""
    if character.keys is None:
        return []
    bone = character.bones[character.index[part]]
    return [i for i, ch in enumerate(character.keys.channels)
            if ch.bone == bone and ch.path.endswith("rotation_quaternion")]


def _straightened(keys: Keys, channel: int, first: float, last: float, values: Array) -> Keys:
    """The channel with keys on ``first`` and ``last``, straight between them, and none inside."""
    frames = keys.scene_frame
    keep = (keys.channel != channel) | (frames < first) | (frames > last)
    x = np.array([first, last])

    def column(old: Array, new: Array) -> Array:
        return np.concatenate([old[keep], new])

    chord = (values[1] - values[0]) / (last - first)
    third = (last - first) / 3
    left = np.stack([x - third, values - chord * third], 1)
    right = np.stack([x + third, values + chord * third], 1)
    joined: dict[str, Any] = {
        "channel": column(keys.channel, np.array([channel, channel])),
        "scene_frame": column(frames, x), "action_frame": column(keys.action_frame, x),
        "value": column(keys.value, values),
        "left": column(keys.left, left), "right": column(keys.right, right),
        "interpolation": column(keys.interpolation, np.array([LINEAR, keys.interpolation[0]])),
    }
    order = np.lexsort((joined["scene_frame"], joined["channel"]))
    return replace(keys, **{name: values[order] for name, values in joined.items()})


def _sign_of(keys: Keys, rows: list[int], frames: Array, q: Array, a: int) -> float:
    """The side of the four channels' quaternion on which their keys stand near sample a."""
    at = [keys.of(r) for r in rows]
    near = [int(np.abs(keys.scene_frame[s] - frames[a]).argmin()) for s in at]
    told = np.array([keys.value[s][i] for s, i in zip(at, near, strict=True)])
    return 1.0 if told @ q[a] >= 0 else -1.0


def _quaternion(rotation: Array) -> Array:
    vector = log(rotation)
    angle = np.linalg.norm(vector, axis=-1, keepdims=True)
    return np.concatenate([np.cos(angle / 2), vector * np.sinc(angle / (2 * np.pi)) / 2], -1)


def _rotation(q: Array) -> Array:
    q = q / np.linalg.norm(q, axis=-1, keepdims=True)
    size = np.linalg.norm(q[:, 1:], axis=-1, keepdims=True)
    angle = 2 * np.arctan2(size, q[:, :1])
    return exp(q[:, 1:] * np.where(size > 1e-12, angle / np.maximum(size, 1e-12), 2.0))


def noisy(character: Character, seed: int) -> Character:
    """White noise of 0.1 degree an axis on every part's own turn, frame by frame."""
    rng = np.random.default_rng(seed)
    for part in character.parts:
        local = local_axes(character, part)
        character = with_turn(character, part, local @ exp(rng.normal(0, NOISE, (len(local), 3))))
    return character
