# SPDX-License-Identifier: GPL-3.0-or-later
"""Which parts are driven by sparse keys, and the stretches between two keys that run straight.

A part is driven by the keys of its own bone and of the handles that the limb's names tell ('hand_ik.L' drives the whole
left arm). Keys say which keys stand behind a finding; whether there is one, the evaluated motion says.
"""
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .. import body
from ..body_map.names import fold, is_control, is_other, pair_sides, points
from ..body_map.words import CONTROL
from ..need import Need
from ..note import KeyReference
from ..numeric.fcurve import BEZIER, CONSTANT, LINEAR, Segments, clamped, segments
from ..shot import Character, Keys
from ..study import Study, measure

Array = np.ndarray

#: Keys nearer than this on average (scene frames) are baked, not set by a person.
SPARSE = 2.0
#: Inner handles within this share of the chord's height run straight.
ON_CHORD = 0.01
#: Shorter stretches say nothing: baked keys are linear over single frames.
LEAST_FRAMES = 3.0
#: A piece whose ends differ by less does not move; a channel that swings by less, in its own unit, does not either.
MOVES, SWINGS = 1e-9, 1e-6
#: Scene frames within which two keys stand on the same frame.
NEAR = 1e-4


@dataclass(frozen=True)
class Straight:
    """A stretch of one channel between keys on scene frames ``first`` and ``last`` that runs straight and moves."""
    channel: int
    first: float
    last: float


@dataclass(frozen=True)
class Keyed:
    """Per part: the channels that drive it (indices into Keys.channels), whether sparsely, their straight stretches."""
    keys: Keys | None
    channels: dict[str, tuple[int, ...]]
    sparse: frozenset[str]
    straight: dict[str, tuple[Straight, ...]]

    def stretches(self, part: str, frames: Array) -> list[tuple[int, int]]:
        """Straight stretches of the part's channels as first and last index of scene frames (N,) inside them."""
        found = set()
        for s in self.straight.get(part, ()):
            a, b = np.searchsorted(frames, (s.first - 1e-3, s.last + 1e-3))
            if b - 1 > a:
                found.add((int(a), int(b) - 1))
        return sorted(found)

    def references(self, parts: Iterable[str], first: float, last: float) -> tuple[KeyReference, ...]:
        """The keys that end straight stretches over scene frames ``first`` to ``last``, give or take a frame."""
        found: dict[int, set[float]] = {}
        for part in parts:
            for s in self.straight.get(part, ()):
                if s.first <= first + 1 and s.last >= last - 1:
                    found.setdefault(s.channel, set()).update((s.first, s.last))
        if self.keys is None:
            return ()
        return tuple(KeyReference(self.keys.channels[c].owner, self.keys.channels[c].name, tuple(sorted(frames)))
                     for c, frames in sorted(found.items()))


@measure(Need.KEYS)
def keyed(study: Study, character: Character) -> Keyed:
    keys = character.keys
    if keys is None or not keys.channels:
        return Keyed(None, {}, frozenset(), {})
    channels = _channels(character, keys)
    first = np.flatnonzero(keys.channel[1:] == keys.channel[:-1])
    stretches = _straight(keys, first)
    straight = _together(keys, first, stretches) if stretches else {}
    sparse = _sparse(keys)
    return Keyed(keys, channels, frozenset(p for p, found in channels.items() if sparse[list(found)].any()),
                 {p: tuple(s for i in found for s in straight.get(i, ())) for p, found in channels.items()})


def _sparse(keys: Keys) -> Array:
    """(C,) whether the keys of each channel lie SPARSE frames apart on average."""
    ends = np.searchsorted(keys.channel, np.arange(len(keys.channels) + 1))
    count = np.diff(ends)
    several = count > 1
    out = np.zeros(len(count), bool)
    first, last = ends[:-1][several], ends[1:][several] - 1
    out[several] = keys.scene_frame[last] - keys.scene_frame[first] >= SPARSE * (count[several] - 1)
    return out


def _straight(keys: Keys, first: Array) -> dict[int, tuple[Straight, ...]]:
    """Each channel's straight stretches, among the pieces that begin at the rows ``first`` (N,) of the keys;
    neighboring ones on one line are told one by one."""
    kind = keys.interpolation[first]
    long = keys.scene_frame[first + 1] - keys.scene_frame[first] >= LEAST_FRAMES
    first = first[long & ((kind == LINEAR) | (kind == BEZIER))]
    pieces, channel = segments(keys, first), keys.channel[first]
    p = clamped(pieces.points)
    length, height = p[:, 3, 0] - p[:, 0, 0], p[:, 3, 1] - p[:, 0, 1]
    share = (p[:, 1:3, 0] - p[:, :1, 0]) / np.where(length > 0, length, 1.0)[:, None]
    off = np.abs(p[:, 1:3, 1] - p[:, :1, 1] - share * height[:, None])
    off = np.maximum(off[:, 0], off[:, 1])
    on_chord = (pieces.interpolation == BEZIER) & (off <= ON_CHORD * np.abs(height))
    moves = np.abs(height) > MOVES
    straight = moves & ((pieces.interpolation == LINEAR) | on_chord)
    found: dict[int, list[Straight]] = {}
    for i in np.flatnonzero(straight).tolist():
        found.setdefault(int(channel[i]), []).append(Straight(int(channel[i]), float(p[i, 0, 0]), float(p[i, 3, 0])))
    return {c: tuple(some) for c, some in found.items()}


def _together(keys: Keys, rows: Array, straight: dict[int, tuple[Straight, ...]]) -> dict[int, tuple[Straight, ...]]:
    """Only the stretches in which every channel of the same bone and property that moves runs straight: one straight
    component of a turn that bends elsewhere says nothing."""
    groups: dict[tuple[str, str], list[int]] = {}
    for i, c in enumerate(keys.channels):
        groups.setdefault((c.owner, c.path), []).append(i)
    moving = _Moving(segments(keys, rows), keys.channel[rows])
    out: dict[int, tuple[Straight, ...]] = {}
    for members in groups.values():
        ends = {i: {(s.first, s.last) for s in straight.get(i, ())} for i in members}
        for i in members:
            own = straight.get(i, ())
            if not own:
                continue
            first, last = np.array([(s.first, s.last) for s in own]).T
            fine = np.ones(len(own), bool)
            for j in members:
                if j != i:
                    fine &= [(s.first, s.last) in ends[j] for s in own] | ~moving.inside(j, first, last)
            out[i] = tuple(s for s, good in zip(own, fine, strict=True) if good)
    return out


class _Moving:
    """Whether a channel's value changes inside a stretch, from its pieces: a piece of a curve that is not flat changes
    on every part of itself, but for one that holds its value and jumps at its end."""

    def __init__(self, pieces: Segments, channel: Array) -> None:
        p = pieces.points
        holds = pieces.interpolation == CONSTANT
        bent = pieces.interpolation == BEZIER
        low, high = np.minimum(p[:, 0, 1], p[:, 3, 1]), np.maximum(p[:, 0, 1], p[:, 3, 1])
        for handle in (1, 2):
            value = np.where(bent, p[:, handle, 1], p[:, 0, 1])
            low, high = np.minimum(low, value), np.maximum(high, value)
        swings = high - low > SWINGS
        self._start, self._stop = p[:, 0, 0], p[:, 3, 0]
        self._flows = np.concatenate([[0], np.cumsum(swings & ~holds)])
        self._jumps = np.concatenate([[0], np.cumsum(swings & holds)])
        self._channel = channel

    def inside(self, channel: int, first: Array, last: Array) -> Array:
        """(S,) for stretches from ``first`` to ``last``, scene frames."""
        low, high = np.searchsorted(self._channel, (channel, channel + 1))
        start, stop = self._start[low:high], self._stop[low:high]
        # pieces a to b overlap the stretch; jumps count that come at its end or before
        a = low + np.searchsorted(stop, first + NEAR, "right")
        b = low + np.searchsorted(start, last - NEAR, "left")
        c = low + np.searchsorted(stop, last + NEAR, "right")
        flows = self._flows[np.maximum(a, b)] > self._flows[a]
        out: Array = flows | (self._jumps[np.maximum(a, c)] > self._jumps[a])
        return out


def _channels(character: Character, keys: Keys) -> dict[str, tuple[int, ...]]:
    """Part -> channels that drive it: those of its own bone, and of handles named for it or for its limb's end."""
    bones: dict[str, str] = {}
    for part, bone in zip(character.parts, character.bones, strict=True):
        bones[bone.rpartition("/")[2]] = part
    names = sorted({c.bone for c in keys.channels if c.bone} - set(bones))
    for name, handled in zip(names, _named(names, list(bones)), strict=True):
        if handled is not None:
            bones[name] = handled
    found: dict[str, list[int]] = {}
    for i, channel in enumerate(keys.channels):
        moved = bones.get(channel.bone) if channel.bone else "pelvis"
        for driven in _driven(moved) if moved is not None else ():
            if character.has(driven):
                found.setdefault(driven, []).append(i)
    return {p: tuple(c) for p, c in found.items()}


def _driven(part: str) -> tuple[str, ...]:
    """The part, and the limb that a handle at its end moves by inverse kinematics."""
    for limb in body.LIMBS.values():
        if limb[2] == part:
            return limb
    return (part,)


def _named(names: list[str], others: list[str]) -> list[str | None]:
    """The part that each handle's name speaks of, or None; sides are found by pairing among all names."""
    folded = [fold(name) for name in (*names, *others)]
    sides, _, words = pair_sides(folded)
    out: list[str | None] = []
    for side, tokens in list(zip(sides, words, strict=True))[:len(names)]:
        bare = tuple(t for t in tokens if t not in CONTROL)
        score = points(bare, bool(side)) if bare and not is_other(bare) else {}
        if not score and is_control(tokens) and "torso" in tokens:
            score = {"pelvis": 1.0}
        best = max(score, key=lambda p: score[p], default=None)
        if best is None:
            out.append(None)
        else:
            out.append(best if best in body.CENTRE else f"{best}.{side}" if side else None)
    return out
