# SPDX-License-Identifier: GPL-3.0-or-later
"""Wiggles in the spacing: paths that go to and fro from frame to frame."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from .. import body
from ..check import Check
from ..evidence import Evidence, Label, Polyline, places
from ..measures.exposure import exposure
from ..measures.key_refs import keys_in
from ..measures.paths import where
from ..measures.ticks import MOVED_BY, PATHS, Row, Ticks, held_paths, ticks, unjudged
from ..measures.turn import LEVER_LEG
from ..need import Need
from ..note import COMMON_PRACTICE, Limit, Note, Severity, Skip
from ..numeric.rotation import dot, norm
from ..numeric.spacing import CLEAN, agitation, white_noise
from ..numeric.spans import spans
from ..remedy import Smooth
from ..shot import Character
from ..study import Study

Array = np.ndarray

#: Accelerations of neighboring drawings whose cosine is below this reverse; so many reversals in a row are a wiggle.
REVERSES, FEWEST = -0.3, 4
#: Below the medium amplitude it must reverse once more; and on motion without noise it may be this small, in legs.
FEWEST_LOW, SMALL = 5, 0.003
#: What is read off the cubic through the neighbors reverses two drawings before a wiggle and two after it as well; from
#: the second count on it may be more than low, and where it is of this size, in legs, need not exceed its surroundings.
FEWEST_FOURTH, SURE_FOURTH, LARGE = 7, 8, 0.0085
#: What a wiggle must exceed its surroundings by.
BEYOND = 4.0
#: The note goes to the part nearest to the root that shows this share of the largest amplitude: a chest that trembles
#: swings head and hands by twice as much.
OWNS = 0.4
#: And over this share of its run at least: another wiggle, before or after it, is another fault.
COVERS = 0.6
#: Drawings of path shown on each side.
AROUND = 4
#: Times that the smoothing is run, at most, until the wiggle is under this share of the low limit.
ROUNDS, LEFT = 4, 0.5


@dataclass(frozen=True)
class Wiggle:
    """One part's wiggle on drawings first to last. amplitude: legs to each side; reversals: how many; beyond: it stands
    out of the motion around it; row: the drawings that it was read on."""

    part: str
    first: int
    last: int
    amplitude: float
    reversals: int
    beyond: bool
    row: Row
    parts: tuple[str, ...] = ()


class Jitter(Check):
    """A part trembles: its path goes to and fro from frame to frame.

    Seen as: a shiver or buzz on top of the move, as of a control that fights another or of noise that was not cleaned.
    Measures: the paths of pelvis, chest, head, wrists and ankles in the world: runs of at least 4 reversals of
    acceleration from frame to frame (5 below the medium limit), and by how far the path goes to each side: a quarter of
    the median second difference in the run. On fast moves, but of feet, the same of what lies off the cubic through the
    neighbors: at least 7 reversals, and 4 times what the path shows within 0.75 s around, or 8 and 7 mm. Above 36
    frames a second each phase of every second (third, ...) frame is read too. It is told of the part nearest to the
    root that shows 40 % of the largest, over 60 % of its run.
    Limit: 5 mm to each side low, 10 mm medium, 25 mm high on an adult with a leg of 0.85 m, scaled by the character's;
    2.5 mm low where the motion has no noise of its own, as keyed motion. Above low only where it is 4 times what the
    same path shows within 0.75 s around it, on at most 72 frames a second: shots are shown on no more. Clean keyed and
    hand-keyed clips have none at all; of raw capture, 0 to 6 low notes a minute and none above low. Planted wiggles of
    1 and 3 cm are found on keyed motion, on captured motion at 24 in 90 and 97 of a hundred (docs/corpus_spacing.md).
    Not on trial: on clean clips nothing is above low, and beside planted faults of other kinds it tells no second one
    (core/precedence.py owns what another fault shakes).
    Silent when: fewer frames tremble; one frame out of place is its cause; motion on twos or stepped (said among what
    was skipped).
    Cannot see: wiggles that take three frames or more for one way; less than 5 mm on motion with noise.
    Remedy: smooth the path over these frames, which takes the wiggle out and leaves the move.
    """

    lane = "Spacing"
    uses = (ticks, exposure)
    own_needs = Need.JOINTS | Need.KEYS
    limit = Limit(
        0.005, 0.010, 0.025, "m", f"{COMMON_PRACTICE}; told for an adult's leg of {LEVER_LEG} m and scaled"
    )
    metric = True

    def unjudged(self, study: Study, character: Character) -> str:
        return unjudged(study, character)

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        assert character is not None
        why, off = held_paths(study, character)
        if why:
            yield self.skip(character, why)
        known: Ticks = study.of(ticks, character)
        found = [w for row in known.rows for w in wiggles(known, row, off, self.limit.scaled(1 / LEVER_LEG))]
        for one in _owned(found):
            yield self._note_on(study, character, one)

    def _note_on(self, study: Study, character: Character, one: Wiggle) -> Note:
        known: Ticks = study.of(ticks, character)
        first, last = int(known.drawings[one.first]), int(known.drawings[one.last])
        meters = character.leg_length * character.real_size
        severity = self.limit.severity(one.amplitude * LEVER_LEG) or Severity.LOW
        if not one.beyond:
            severity = Severity.LOW
        step = self.limit.step(severity) * meters / LEVER_LEG
        small = one.amplitude * LEVER_LEG < self.limit.low
        frames = study.shot.frame(first), study.shot.frame(last)
        mm = 1000 * one.amplitude * meters
        text = (
            f"The {body.spoken(one.part)} trembles by {mm:.0f} mm to each side from frame {frames[0]} to {frames[1]}: "
            f"its acceleration reverses {one.reversals} times"
        )
        path = where(character, PATHS[one.part])[known.drawings]
        smooth, span = smoothed(path, one, self.limit.low * character.leg_length / LEVER_LEG)
        drawn = [study.shot.frame(int(known.drawings[i])) for i in span]
        every = [int(np.abs(study.shot.frames[known.drawings] - f).argmin()) for f in range(drawn[0], drawn[1] + 1)]
        chain = dict.fromkeys(p for p in (*MOVED_BY[one.part], one.part) if character.has(p))
        worst = one.first + int(norm(smooth - path)[one.first : one.last + 1].argmax())
        return self.note(
            study,
            character,
            one.part,
            (first, last),
            int(known.drawings[worst]),
            severity=severity,
            measured=one.amplitude * meters,
            limit=SMALL * meters if small else step,
            text=text,
            remedy=Smooth(one.part, (drawn[0], drawn[1]), places((smooth - path)[every])),
            evidence=_evidence(study, known, path, smooth, one, f"{mm:.0f} mm to each side"),
            keys=keys_in(character, chain, float(drawn[0]), float(drawn[1])),
            parts=one.parts,
        )


def wiggles(known: Ticks, row: Row, off: frozenset[str], limit: Limit) -> Iterator[Wiggle]:
    """The wiggles of one row; limit in legs."""
    if row.places.shape[1] < FEWEST + 5:
        return
    second = row.steps[:, 1:] - row.steps[:, :-1]
    fourth = row.departures[:, 2:-2]
    # to each side of a wiggle from drawing to drawing: a quarter of the second, 6/16 of what is off the cubic
    for signal, share, start in ((second, 1 / 4, 1), (fourth, 6 / 16, 2)):
        size = norm(signal) * share
        turned = dot(signal[:, 1:], signal[:, :-1]) * share**2 < REVERSES * size[:, 1:] * size[:, :-1]
        turned &= np.minimum(size[:, 1:], size[:, :-1]) > SMALL / 2
        for p, part in enumerate(known.parts):
            if part in off:
                continue
            for a, b in spans(turned[p], FEWEST):
                amplitude, count = float(np.median(size[p, a : b + 2])), b - a + 1
                least = limit.low if white_noise(row.sizes[p]) > CLEAN else SMALL
                if amplitude < least or count < (FEWEST if amplitude >= limit.medium else FEWEST_LOW):
                    continue
                first, last = a + start, b + 1 + start
                around = agitation(row.sizes[p], first, last, row.around)
                beyond = amplitude > BEYOND * around
                # fast motion hides a wiggle from the accelerations; without them a step or a kick looks like one too
                long = signal is second or count >= SURE_FOURTH
                if signal is fourth and (part.startswith("foot") or count < FEWEST_FOURTH
                                         or not (beyond or long and amplitude >= LARGE)):
                    continue
                sure = beyond and long and row.seen
                yield Wiggle(part, row.drawing(first), row.drawing(last), amplitude, count, sure, row)


def _owned(found: list[Wiggle]) -> list[Wiggle]:
    """One wiggle of those that overlap: of the largest's, the part nearest to the root that shows most of it in most of
    its run. What is left then is another's: a hand that is shaken before the whole body trembles."""
    groups: list[list[Wiggle]] = []
    for one in sorted(found, key=lambda w: w.first):
        slack = 2 * one.row.stride
        touching = (g for g in groups if any(one.first <= w.last + slack and _kin(one.part, w.part) for w in g))
        group = next(touching, None)
        if group is None:
            groups.append([one])
        else:
            group.append(one)
    return sorted((owner for group in groups for owner in _owners(group)), key=lambda w: w.first)


def _owners(group: list[Wiggle]) -> Iterator[Wiggle]:
    while group:
        largest = max(group, key=lambda w: w.amplitude)
        above = [w for w in group if w.amplitude >= OWNS * largest.amplitude
                 and largest.part in body.descendants(w.part) and _covered(largest, w.first, w.last)]
        owner = max(above, key=lambda w: (len(body.descendants(w.part)), w.amplitude), default=largest)
        same = [w for w in group if w.part == owner.part]
        first, last = min(w.first for w in same), max(w.last for w in same)
        told = {w.part for w in group if w.part == owner.part or _covered(w, first, last)}
        yield replace(owner, first=first, last=last,
                      parts=(owner.part, *(p for p in PATHS if p in told and p != owner.part)))
        group = [w for w in group if w.part != owner.part and not _covered(w, first, last)]


def _covered(one: Wiggle, first: int, last: int) -> bool:
    """Whether most of a wiggle's run lies within these drawings."""
    return min(one.last, last) - max(one.first, first) + 1 >= COVERS * (one.last - one.first + 1)


def _kin(a: str, b: str) -> bool:
    return a == b or a in body.descendants(b) or b in body.descendants(a)


def smoothed(path: Array, one: Wiggle, low: float) -> tuple[Array, tuple[int, int]]:
    """The path (D, 3) without the wiggle, and the first and last drawing that it changes.

    Each place less 6/16 of its departure from the cubic through its neighbors: that takes a wiggle from drawing to
    drawing out altogether, and leaves a cubic as it is.
    """
    k = one.row.stride
    first, last = max(one.first - 2 * k, 2 * k), min(one.last + 2 * k, len(path) - 1 - 2 * k)
    out = path.copy()
    rows = np.arange(first, last + 1)
    for _ in range(ROUNDS):
        d4 = out[rows - 2 * k] - 4 * out[rows - k] + 6 * out[rows] - 4 * out[rows + k] + out[rows + 2 * k]
        if float(np.median(norm(d4))) / 16 < LEFT * low:
            break
        out[rows] -= d4 / 16
    return out, (first, last)


def _evidence(
    study: Study, known: Ticks, path: Array, smooth: Array, one: Wiggle, told: str
) -> tuple[Evidence, ...]:
    reach = AROUND * one.row.stride
    a, b = max(0, one.first - reach), min(len(path) - 1, one.last + reach)
    frames = study.shot.frame(int(known.drawings[a])), study.shot.frame(int(known.drawings[b]))
    middle = (one.first + one.last) // 2
    at = study.shot.frame(int(known.drawings[middle]))
    return (
        Polyline("found", frames, places(path[a : b + 1]), ticks=True),
        Polyline("held_against", frames, places(smooth[a : b + 1]), ticks=True, dashed=True),
        Label("found", (at, at), places(path[[middle]])[0], told),
    )

