# SPDX-License-Identifier: GPL-3.0-or-later
"""Which parts are driven by sparse keys, and the stretches between two keys that run straight.

A part is driven by the keys of its controls; where sampling found none, by those of its own bone and of the handles
that the limb's names tell ('hand_ik.L' drives the whole left arm). Keys say which keys stand behind a finding; whether
there is one, the evaluated motion says.
"""
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .. import body
from ..body_map.names import fold, is_control, is_other, pair_sides, points
from ..body_map.words import CONTROL
from ..need import Need
from ..note import KeyReference
from ..numeric.fcurve import BEZIER, CONSTANT, LINEAR
from ..shot import Character, Keys
from ..study import Study, measure
from .key_refs import channels_behind

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
    """Per part: the channels that drive it (indices into Keys.channels), whether sparsely, their straight stretches,
    and which of these tell of the part's own motion: those beside which no other driver bends it."""
    keys: Keys | None
    channels: dict[str, tuple[int, ...]]
    sparse: frozenset[str]
    straight: dict[str, tuple[Straight, ...]]
    telling: dict[str, tuple[Straight, ...]]

    def stretches(self, part: str, frames: Array) -> list[tuple[int, int]]:
        """Telling stretches of the part's channels as first and last index of scene frames (N,) inside them."""
        found = set()
        for s in self.telling.get(part, ()):
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
        return tuple(KeyReference(self.keys.owners[c], self.keys.names[c], tuple(sorted(frames)))
                     for c, frames in sorted(found.items()))


@measure(Need.KEYS)
def keyed(study: Study, character: Character) -> Keyed:
    keys = character.keys
    if keys is None or not keys.channels:
        return Keyed(None, {}, frozenset(), {}, {})
    channels = _channels(character, keys)
    straight = _straight(keys)
    sparse = _sparse(keys)
    own = {p: tuple(s for i in found for s in straight.get(i, ()) if _follows(character, keys, p, s))
           for p, found in channels.items()}
    return Keyed(keys, channels, frozenset(p for p, found in channels.items() if sparse[list(found)].any()),
                 own, {p: _telling(keys, some, channels[p]) for p, some in own.items()})


def _telling(keys: Keys, straight: tuple[Straight, ...], channels: tuple[int, ...]) -> tuple[Straight, ...]:
    """The stretches of a part's channels beside which nothing else that moves or turns the part bends: a root that
    goes straight on under hips that bob does not make the path of the hips straight."""
    owners = keys.owners
    if not straight or len({owners[c] for c in channels}) < 2:
        return straight
    same = {(s.channel, s.first, s.last) for s in straight}
    kinds = {c: _kind(keys, c) for c in {*channels, *(s.channel for s in straight)}}
    beside = {b: [c for c in channels if owners[c] != owners[b] and kinds[c] == kinds[b]]
              for b in {s.channel for s in straight}}
    asked = [(n, c) for n, s in enumerate(straight) for c in beside[s.channel] if (c, s.first, s.last) not in same]
    if not asked:
        return straight
    rows, others = (np.array(column) for column in zip(*asked, strict=True))
    first, last = (np.array([getattr(s, end) for s in straight])[rows] for end in ("first", "last"))
    bent = set(rows[_moving(keys, others, first, last)].tolist())
    return tuple(s for n, s in enumerate(straight) if n not in bent)


def _kind(keys: Keys, channel: int) -> str:
    """'location', 'rotation' or 'scale', however the channel's property spells it; else the property itself."""
    path = keys.channels[channel].path
    name = path[path.rfind(".") + 1:].removeprefix("delta_")
    return "rotation" if name.startswith("rotation") else name


def _follows(character: Character, keys: Keys, part: str, straight: Straight) -> bool:
    """Whether a part follows the stretch's channel while it lasts: its control may be faded out."""
    if all(control.spans is None for control in character.controls.get(part, ())):
        return True
    return straight.channel in channels_behind(character, keys, part, straight.first, straight.last)


def _sparse(keys: Keys) -> Array:
    """(C,) whether the keys of each channel lie SPARSE frames apart on average."""
    ends = np.searchsorted(keys.channel, np.arange(len(keys.channels) + 1))
    count = np.diff(ends)
    several = count > 1
    out = np.zeros(len(count), bool)
    first, last = ends[:-1][several], ends[1:][several] - 1
    out[several] = keys.scene_frame[last] - keys.scene_frame[first] >= SPARSE * (count[several] - 1)
    return out


def _straight(keys: Keys) -> dict[int, tuple[Straight, ...]]:
    """Each channel's straight stretches; neighboring ones on one line are told one by one. Only those in which every
    channel of the same bone and property that moves runs straight: one straight component of a turn that bends
    elsewhere says nothing."""
    frame = keys.scene_frame
    rows = np.flatnonzero(frame[1:] - frame[:-1] >= LEAST_FRAMES)
    rows = rows[keys.channel[rows] == keys.channel[rows + 1]]
    rows = rows[_run_straight(keys, rows)]
    if not len(rows):
        return {}
    rows = rows[~_bent_beside(keys, rows)]
    found: dict[int, list[Straight]] = {}
    for c, first, last in zip(keys.channel[rows].tolist(), frame[rows].tolist(), frame[rows + 1].tolist(), strict=True):
        found.setdefault(c, []).append(Straight(c, first, last))
    return {c: tuple(some) for c, some in found.items()}


def _run_straight(keys: Keys, rows: Array) -> Array:
    """Whether the pieces that begin at the rows (N,) of the keys move and run straight. Handles count as shortened
    along themselves to the time between the keys, as Blender has them: no curve runs back."""
    rise = keys.value[rows + 1] - keys.value[rows]
    kind = keys.interpolation[rows]
    out: Array = np.asarray((np.abs(rise) > MOVES) & ((kind == LINEAR) | (kind == BEZIER)))
    bezier = np.flatnonzero(out & (kind == BEZIER))
    at, rise = rows[bezier], rise[bezier]
    time = keys.scene_frame[at + 1] - keys.scene_frame[at]
    off = np.zeros(len(at))
    for handles, key in ((keys.right, at), (keys.left, at + 1)):
        reach, height = (handles[key, k] - column[key] for k, column in enumerate((keys.scene_frame, keys.value)))
        wide = np.abs(reach)
        share = np.where(wide > time, time / np.where(wide > 0, wide, 1.0), 1.0)
        # seen from its own key a handle on the chord has the chord's slope
        off = np.maximum(off, np.abs(height - reach * (rise / time)) * share)
    out[bezier] = off <= ON_CHORD * np.abs(rise)
    return out


def _bent_beside(keys: Keys, rows: Array) -> Array:
    """Whether, over each of the straight pieces that begin at ``rows`` (S,), another channel of the same bone and
    property moves and does not run straight from the one key to the other."""
    families: dict[tuple[str, str], list[int]] = {}
    for i, c in enumerate(keys.channels):
        families.setdefault((keys.owners[i], c.path), []).append(i)
    most = max(len(members) for members in families.values())
    others = np.full((len(keys.channels), most), -1)
    for members in families.values():
        others[members, :len(members)] = members
    channel, first, last = keys.channel[rows], keys.scene_frame[rows], keys.scene_frame[rows + 1]
    beside = others[channel]
    piece, at = np.nonzero((beside >= 0) & (beside != channel[:, None]))
    other = beside[piece, at]
    line = keys.line
    near = np.minimum(np.searchsorted(line.at(channel, first), line.at(other, first[piece])), len(rows) - 1)
    straight = (channel[near] == other) & (first[near] == first[piece]) & (last[near] == last[piece])
    piece, other = piece[~straight], other[~straight]
    out = np.zeros(len(rows), bool)
    if len(piece):
        out[piece[_moving(keys, other, first[piece], last[piece])]] = True
    return out


def _moving(keys: Keys, channel: Array, first: Array, last: Array) -> Array:
    """Whether the value of channels (N,) changes inside stretches from ``first`` to ``last`` (N,), scene frames, from
    the pieces of their curves: a piece that is not flat changes on every part of itself, but for one that holds its
    value and jumps at its end."""
    line = keys.line
    asked = np.zeros(len(keys.channels), bool)
    asked[channel] = True
    rows = np.flatnonzero((keys.channel[1:] == keys.channel[:-1]) & asked[keys.channel[:-1]])
    kind = keys.interpolation[rows]
    here, there = keys.value[rows], keys.value[rows + 1]
    bent = kind == BEZIER
    swings = np.abs(there - here) > SWINGS
    if bent.any():
        values = [here, there, np.where(bent, keys.right[rows, 1], here), np.where(bent, keys.left[rows + 1, 1], here)]
        low, high = (edge(edge(values[0], values[1]), edge(values[2], values[3])) for edge in (np.minimum, np.maximum))
        swings = high - low > SWINGS
    holds = kind == CONSTANT
    flows = np.concatenate([[0], np.cumsum(swings & ~holds)])
    jumps = np.concatenate([[0], np.cumsum(swings & holds)])
    start, stop = (line.at(keys.channel[rows], keys.scene_frame[end]) for end in (rows, rows + 1))
    # pieces a to b overlap the stretch; jumps count that come at its end or before
    a = np.searchsorted(stop, line.at(channel, first + NEAR), "right")
    b = np.searchsorted(start, line.at(channel, last - NEAR), "left")
    c = np.searchsorted(stop, line.at(channel, last + NEAR), "right")
    return np.asarray((flows[np.maximum(a, b)] > flows[a]) | (jumps[np.maximum(a, c)] > jumps[a]))


def _channels(character: Character, keys: Keys) -> dict[str, tuple[int, ...]]:
    """Part -> channels that drive it: those of its controls; where none is known or keyed, those of its own bone, and
    of handles named for it or for its limb's end."""
    behind = {p: channels_behind(character, keys, p, -np.inf, np.inf) for p in character.controls}
    known = {p: rows for p, rows in behind.items() if rows}
    if len(known) == len(character.parts):
        return known
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
    return {p: tuple(c) for p, c in found.items()} | known


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
