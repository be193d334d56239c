# SPDX-License-Identifier: GPL-3.0-or-later
"""Heads that hang in their place while the body leaves, then snap after it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..check import Check
from ..evidence import Arrow, Evidence, Label, Point, Polyline, places
from ..measures.exposure import Exposure, exposure
from ..measures.hits import Hits, hits
from ..measures.key_refs import keys_in
from ..measures.turn import LEVER_LEG
from ..need import Need
from ..note import COMMON_PRACTICE, Limit, Note
from ..numeric.rotation import norm
from ..numeric.spans import joined, spans
from ..remedy import Follow
from ..shot import Character
from ..study import Study

Array = np.ndarray

#: The head moves at under this share of the chest's speed, which is over so many legs a second, for so many seconds.
SHARE, CHEST_SPEED, LEAST_SECONDS = 0.25, 0.15, 0.2
#: Locked spans this near to each other are one: the chest may pause.
GAP_SECONDS = 2 / 24
#: Within so many seconds the head catches up, faster than so many times the chest.
CATCH_SECONDS, CATCH_SPEED = 0.35, 1.5
#: It has caught up where it is again no faster than so many times the chest.
CAUGHT = 1.25


@dataclass(frozen=True)
class Lock:
    """The head hangs from drawing ``first`` to ``last`` and has caught up at ``caught``; travel: the chest's, legs."""

    first: int
    last: int
    caught: int
    travel: float


class StuckInSpace(Check):
    """The head hangs in its place while the chest leaves, then snaps after it.

    Seen as: a head nailed to the air: for a moment the body leaves without it.
    Measures: the speed of the head's top in the world against that of the chest's joint: spans of at least 0.2 s with
    the head under 25 % of the chest's speed (over 0.15 leg/s), and within 0.35 s after them a catch-up over 1.5 times
    the chest's speed. The number told is how far the chest travels in the span, net.
    Limit: a travel of 0.04 leg low, 0.06 medium, 0.12 high. On captured motion no head holds its place while the
    chest travels so far: heads are steadied in their turn and against bobbing, never in travel. No note on 6 minutes of
    clean captured and hand-keyed motion; planted locks of 10 and 16 frames on keyed motion are all found, of 6 frames
    over 90 % (docs/corpus_spacing.md). Its remedy is an operator, counted on planted keys (docs/corpus_remedies.md).
    Silent when: the head does not catch up; it touches the ground, a prop or another figure; the shot is stepped (said
    among what was skipped).
    Cannot see: a dodge that is meant (set it aside); a head left behind by less than 0.2 s.
    Remedy: let neck and head travel with the chest over these frames, from the one pose to the other.
    """

    lane = "Spacing"
    uses = (exposure, hits)
    own_needs = Need.JOINTS | Need.ROTATIONS | Need.KEYS
    groups = (("chest", "head"),)
    limit = Limit(
        0.04 * LEVER_LEG,
        0.06 * LEVER_LEG,
        0.12 * LEVER_LEG,
        "m",
        f"{COMMON_PRACTICE}; told for an adult's leg of {LEVER_LEG} m and scaled by the character's",
    )
    metric = True

    def unjudged(self, study: Study, character: Character) -> str:
        shown: Exposure = study.of(exposure, character)
        return shown.sentence if shown.stepped else ""

    def run(self, study: Study, character: Character | None) -> Iterator[Note]:
        assert character is not None
        shown: Exposure = study.of(exposure, character)
        if not self.groups_on(character):
            return
        for lock in locks(character, study.shot.times, shown.drawings):
            if self.limit.severity(lock.travel * LEVER_LEG) is None:
                continue
            touching: Hits = study.of(hits, character)
            middle = int(shown.drawings[(lock.first + lock.last) // 2])
            if not touching.touching("head", middle):
                yield self._note_on(study, character, lock, shown.drawings)

    def _note_on(self, study: Study, character: Character, lock: Lock, drawings: Array) -> Note:
        severity = self.limit.severity(lock.travel * LEVER_LEG)
        assert severity is not None
        meters = character.leg_length * character.real_size
        first, last, caught = (int(drawings[i]) for i in (lock.first, lock.last, lock.caught))
        frame = study.shot.frame
        text = (
            f"The head hangs in its place from frame {frame(first)} to {frame(last)} while the chest travels "
            f"{lock.travel * meters * 100:.1f} cm, and snaps after it by frame {frame(caught)}"
        )
        targets = tuple(p for p in ("neck", "head") if character.has(p))
        return self.note(
            study,
            character,
            "head",
            (first, caught),
            last,
            severity=severity,
            measured=lock.travel * meters,
            limit=self.limit.step(severity) * meters / LEVER_LEG,
            text=text,
            remedy=Follow(targets, (frame(first), frame(caught)), "chest"),
            evidence=_evidence(study, character, (first, last, caught), lock.travel * meters),
            keys=keys_in(character, targets, float(study.shot.frames[first]), float(study.shot.frames[caught])),
        )


def locks(character: Character, times: Array, drawings: Array) -> list[Lock]:
    """The head's locks with their catch-up, in drawings; times (F,) seconds."""
    if len(drawings) < 3:
        return []
    leg = max(character.leg_length, 1e-9)
    at = times[drawings]
    seconds = np.diff(at)
    place = character.head("chest")[drawings]
    head, chest = (norm(np.diff(p, axis=0)) / seconds / leg for p in (character.end("head")[drawings], place))
    step = float(np.median(seconds))
    held = joined(spans(np.asarray((head < SHARE * chest) & (chest > CHEST_SPEED))), round(GAP_SECONDS / step) + 1)
    out = []
    for a, b in held:
        if at[b + 1] - at[a] < LEAST_SECONDS - 1e-6:
            continue
        end = min(len(head), b + 1 + max(1, round(CATCH_SECONDS / step)))
        after, beside = head[b + 1 : end], chest[b + 1 : end]
        faster = after / np.maximum(beside, CHEST_SPEED)
        if not len(after) or faster.max() <= CATCH_SPEED:
            continue
        peak = int(faster.argmax())
        slow = np.flatnonzero(after[peak:] <= CAUGHT * np.maximum(beside[peak:], CHEST_SPEED))
        caught = b + 1 + peak + (int(slow[0]) if len(slow) else len(after) - peak)
        travel = float(np.linalg.norm(place[b + 1] - place[a])) / leg
        out.append(Lock(a, b + 1, caught, travel))
    return out


def _evidence(
    study: Study, character: Character, lock: tuple[int, int, int], travel: float
) -> tuple[Evidence, ...]:
    first, last, caught = lock
    frame = study.shot.frame
    frames = frame(first), frame(caught)
    head, chest = character.end("head"), character.head("chest")
    held = places(head[first : first + 1])
    (start,), (stop,) = places(chest[first : first + 1]), places(chest[last : last + 1])
    return (
        Polyline("found", frames, places(head[first : caught + 1]), ticks=True),
        Polyline("held_against", frames, places(chest[first : caught + 1]), ticks=True, dashed=True),
        Point("found", (frame(first), frame(last)), held * (frame(last) - frame(first) + 1), "ring"),
        Arrow("held_against", (frame(last), frame(last)), start, stop),
        Label("found", frames, held[0], f"hangs while the chest travels {travel * 100:.1f} cm"),
    )

