# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted linear spans: a stretch of a part's turn exchanged for an even march between its two end poses.

On keyed shots the two poses get keys that run straight in the part's own quaternion channels, as a person's linear keys
do; on captured ones the turn itself is even. Both also baked (no keys), and with white noise of 0.1 degree.
"""

import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
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
#: Parts that carry no foot: legs and pelvis are planted where standing feet stay, which few windows allow.
PARTS = ("spine", "chest", "neck", "head", "clavicle", "upper_arm", "forearm", "hand")
NOISE = np.radians(0.1)
#: What is slower on average, legs a second, is no march but a moving hold, by the check's own definition.
FASTER = 0.25
#: Between two poses half a circle apart or more the way round is not told by the poses (radians).
HALF_CIRCLE = np.pi
#: An end is the worst too whose corner is within 5 % of the harder one's.
ALIKE = 0.95


@dataclass(frozen=True)
class March:
    """An even march planted between samples first and last: the part's turn with it (F, 3, 3), and the change of speed
    that it has at each end, legs a second."""

    first: int
    last: int
    local: Array
    corners: tuple[float, float]

    @property
    def size(self) -> str | None:
        """The size whose least corner both ends reach, if the harder end is of its severity too and no harder."""
        for size, above in zip(SIZES, (*(CORNERS[s][0] for s in SIZES[1:]), np.inf), strict=True):
            if min(self.corners) >= CORNERS[size][0] and max(self.corners) < above:
                return size
        return None


Builder = Callable[[Array, int, int], Array]


def marches(clean: Clean) -> Iterator[Case]:
    """All planted linear spans of a clean shot: one per part, length and size of corner."""
    c = clean.character
    for part in c.parts:
        if part.partition(".")[0] not in PARTS:
            continue
        keys = len(_channels(c, part)) == 4
        for frames in FRAMES:
            if keys:
                for size, march in _planted(clean, part, frames, quaternions_straight).items():
                    keyed = keyed_straight(c, clean.shot.frames, part, march)
                    yield _case(clean, "linear keys", part, size, march, keyed)
            for size, march in _planted(clean, part, frames, turned_evenly).items():
                baked = edit.with_turn(replace(c, keys=None), part, march.local)
                yield _case(clean, "linear, baked", part, size, march, baked)
                seed = zlib.crc32(f"{clean.shot.name}{part}{march.first}".encode())
                yield _case(clean, "linear, baked, noise", part, size, march, noisy(baked, seed), asked=False)


def _planted(clean: Clean, part: str, frames: int, build: Builder) -> dict[str, March]:
    """For each size the first march of it, in an order that depends on the shot's name alone."""
    shot = clean.shot
    n = max(2, round(frames * shot.rate / shot.fps))
    lever = LEVERS[part.partition(".")[0]] / LEVER_LEG * shot.rate
    local = np.array(local_axes(clean.character, part))
    out: dict[str, March] = {}
    order = np.random.default_rng(zlib.crc32(f"{shot.name}{part}{frames}".encode()))
    for a in order.permutation(np.arange(1, shot.count - n - 1)):
        first, last = int(a), int(a) + n
        whole = np.linalg.norm(log(relative(local[first], local[last])))
        if not FASTER * n < whole * lever or whole >= HALF_CIRCLE:
            continue
        march = _march(local, first, last, lever, build)
        if march.size and march.size not in out and quiet(clean.result, shot, (first, last), (part,)):
            out[march.size] = march
            if len(out) == len(SIZES):
                break
    return out


def _march(local: Array, first: int, last: int, lever: float, build: Builder) -> March:
    planted = local.copy()
    planted[first : last + 1] = build(local, first, last)
    near = planted[[first - 1, first, first + 1, last - 1, last, last + 1]]
    v = log(relative(near[:-1], near[1:])) * lever
    corners = float(np.linalg.norm(v[1] - v[0])), float(np.linalg.norm(v[4] - v[3]))
    return March(first, last, planted, corners)


def _case(clean: Clean, kind: str, part: str, size: str, march: March, character: Character,
          asked: bool = True) -> Case:
    """Of noisy marches no severity and no size is asked."""
    shot, c = clean.shot, clean.character
    measured = max(march.corners) * c.leg_length
    ends = [(f, f) for f, corner in zip(map(shot.frame, (march.first, march.last)), march.corners, strict=True)
            if corner >= ALIKE * max(march.corners)]
    return Case(f"{kind}, {march.last - march.first} frames", size, clean.with_(character), "linear-span", part,
                CORNERS[size][1] if asked else None, measured if asked else None, 0.1 * measured,
                (march.first, march.last), ends[0], worst_too=ends[-1])


def turned_evenly(local: Array, a: int, b: int) -> Array:
    """Turns (b - a + 1, 3, 3) from that of sample a to that of sample b at an even speed about one axis."""
    share = np.linspace(0, 1, b - a + 1)[:, None]
    return np.asarray(local[a] @ exp(share * log(relative(local[a], local[b]))))


def quaternions_straight(local: Array, a: int, b: int) -> Array:
    """The same by the quaternion's four numbers running straight, the shorter way, as linear keys do."""
    ends = _quaternion(local[[a, b]])
    if ends[0] @ ends[1] < 0:
        ends[1] = -ends[1]
    share = np.linspace(0, 1, b - a + 1)[:, None]
    return _rotation(ends[0] * (1 - share) + ends[1] * share)


def keyed_straight(character: Character, frames: Array, part: str, march: March) -> Character:
    """The march, with straight keys in the quaternion's four channels on its two ends."""
    assert character.keys is not None
    keys = character.keys
    rows = _channels(character, part)
    ends = _quaternion(march.local[[march.first, march.last]])
    ends *= _sign_of(keys, rows, float(frames[march.first]), ends[0])
    if ends[0] @ ends[1] < 0:
        ends[1] = -ends[1]
    for k, row in enumerate(rows):
        keys = _straightened(keys, row, float(frames[march.first]), float(frames[march.last]), ends[:, k])
    return replace(edit.with_turn(character, part, march.local), keys=keys)


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


def _sign_of(keys: Keys, rows: list[int], frame: float, q: Array) -> float:
    """The side of the four channels' quaternion (4,) on which their keys stand near a scene frame."""
    at = [keys.of(r) for r in rows]
    near = [int(np.abs(keys.scene_frame[s] - frame).argmin()) for s in at]
    told = np.array([keys.value[s][i] for s, i in zip(at, near, strict=True)])
    return 1.0 if told @ q >= 0 else -1.0


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
        character = edit.with_turn(character, part, local @ exp(rng.normal(0, NOISE, (len(local), 3))))
    return character
