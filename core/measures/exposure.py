# SPDX-License-Identifier: GPL-3.0-or-later
"""Ones, twos or stepped: which frames are drawings of their own, and what cannot be judged between them."""
from dataclasses import dataclass

import numpy as np

from .. import body
from ..need import Need
from ..shot import Character
from ..study import Study, measure
from .local import local_turns

Array = np.ndarray

#: What moves less than this between two frames stands still: of the leg's length, and radians.
STILL = 1e-5
#: A step must cover this share of the frames between changes; measured: right on 51 of 51 shots on ones and 51 on twos.
COVER = 0.6
#: Gaps from this many frames on are poses without motion between them.
STEPPED_GAP = 5

_WORDS = {1: "ones", 2: "twos", 3: "threes", 4: "fours"}


@dataclass(frozen=True)
class Exposure:
    """How often a character gets a new drawing.

    step: frames a drawing (1 ones, 2 twos ...). drawings: (D,) sample indices that stand for one drawing each: all
    samples on ones; on twos the first of each drawing, with one every ``step`` samples inside a hold. changes: (C,)
    samples at which anything changed, the first included. stepped: poses stand without motion between them, so motion
    cannot be judged.
    sentence: what was found and cannot be judged, '' on ones. parts: part -> its own step, against its parent (0 never
    turns, -1 stepped), where it differs from the character's; never_turns: parts that never turn, which is no fault by
    itself.
    """
    step: int
    drawings: Array
    changes: Array
    stepped: bool
    sentence: str
    parts: dict[str, int]

    def times(self, shot_times: Array) -> Array:
        """Seconds of each drawing, (D,)."""
        taken: Array = shot_times[self.drawings]
        return taken


@measure(Need.JOINTS | Need.ROTATIONS, uses=(local_turns,))
def exposure(study: Study, character: Character) -> Exposure:
    """Reads the exposure from what moves, never from the keys: a constraint or a baked clip tells the same."""
    still = STILL * max(character.leg_length, 1e-9)
    moved = np.zeros(max(0, len(character.heads) - 1), bool)
    read = [(character.heads, still), (character.tails, still)]
    if character.axes is not None:
        read.append((character.axes, STILL))
    for values, least in read:
        quiet = np.flatnonzero(~moved)  # most samples are told by the first reading already
        if len(quiet):
            rows = values.reshape(len(values), -1)
            step = np.diff(rows, axis=0) if len(quiet) == len(moved) else rows[quiet + 1] - rows[quiet]
            moved[quiet] = (np.abs(step) > least).any(1)
    changes = np.concatenate([[0], np.flatnonzero(moved) + 1])
    step, stepped = step_of(changes)
    own = _part_steps(character, study.of(local_turns, character))
    parts = {part: s for part, s in own.items() if s != (-1 if stepped else step)}
    drawings = np.arange(len(character.heads)) if step == 1 or stepped else _filled(changes, step, len(character.heads))
    return Exposure(step, drawings, changes, stepped, _sentence(step, stepped, parts), parts)


def unjudged(study: Study, character: Character) -> str:
    """Why the motion of the parts is not judged, '' where it is: their turns were not read, or poses stand without
    motion between them."""
    shown: Exposure = study.of(exposure, character)
    if character.axes is None:
        return shown.sentence or "the bones' turns were not read"
    return shown.sentence if shown.stepped else ""


def step_of(changes: Array) -> tuple[int, bool]:
    """(frames a drawing, stepped) from the samples at which anything changed."""
    # too little to tell: two or three poses are stepped if far apart
    if len(changes) < 4:
        lone = len(changes) > 2 and int(np.diff(changes).min()) >= STEPPED_GAP
        return 1, lone
    gaps = np.diff(changes)
    if gaps.max() == 1:
        return 1, False
    before, after = gaps, np.append(gaps[1:], gaps[-1])
    if (np.minimum(before, after) >= STEPPED_GAP).mean() > 0.5:
        return 1, True
    lengths, counts = np.unique(gaps, return_counts=True)
    covered = lengths * counts / gaps.sum()
    best = int(covered.argmax())
    # a hold covers many frames too: the step must also be the usual one
    if lengths[best] > 1 and covered[best] >= COVER and counts[best] >= len(gaps) / 2:
        return int(lengths[best]), bool(lengths[best] >= STEPPED_GAP)
    # holds between drawings on twos leave less than that share: they are on twos if nothing ever changes on
    # neighboring frames
    if len(gaps) >= 8 and gaps.min() > 1 and (gaps == gaps.min()).mean() >= COVER and gaps.min() < STEPPED_GAP:
        return int(gaps.min()), False
    return 1, False


def _part_steps(character: Character, turns: Array | None) -> dict[str, int]:
    """The step of each part's turn (3, 3, P, F) against its nearest mapped parent; the pelvis against the world."""
    if turns is None:
        return {}
    moved = np.zeros((turns.shape[2], max(0, turns.shape[3] - 1)), bool)
    for row in turns.reshape(9, *turns.shape[2:]):
        moved |= np.abs(row[:, 1:] - row[:, :-1]) > STILL
    out = {}
    always: list[bool] = np.all(moved, axis=1).tolist()
    for part, own, ones in zip(character.parts, moved, always, strict=True):
        if ones and len(own) > 2:  # a change on every sample
            out[part] = 1
            continue
        changes = np.concatenate([[0], np.flatnonzero(own) + 1])
        if len(changes) == 1:
            out[part] = 0
            continue
        step, stepped = step_of(changes)
        out[part] = -1 if stepped else step
    return out


def _filled(changes: Array, step: int, count: int) -> Array:
    """The changes, and one sample every ``step`` inside the holds between them."""
    ends = np.append(changes[1:], count)
    return np.concatenate([np.arange(a, b, step) for a, b in zip(changes, ends, strict=True)])


def exposure_word(step: int) -> str:
    """'on ones', 'on twos', 'on 6 frames a drawing', 'stepped' (-1), 'never turns' (0)."""
    return {-1: "stepped", 0: "never turns"}.get(step) or f"on {_WORDS.get(step, f'{step} frames a drawing')}"


def _sentence(step: int, stepped: bool, parts: dict[str, int]) -> str:
    if stepped:
        return "stepped: the poses stand without motion between them, so contacts, spacing and arcs are not judged"
    said = []
    if step > 1:
        said.append(f"on {_WORDS.get(step, f'{step} frames a drawing')}: judged on its drawings, "
                    "frames named by the first frame of the drawing")
    own = sorted({s for s in parts.values() if s > 1 or s == -1})
    for s in own:
        names = ", ".join(body.spoken(p) for p, n in parts.items() if n == s)
        said.append(f"{names} {'stepped' if s == -1 else 'on ' + _WORDS.get(s, f'{s} frames a drawing')}")
    return "; ".join(said)
