# SPDX-License-Identifier: GPL-3.0-or-later
"""Arms, hands and heads that are held dead while the body carries them."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

import numpy as np

from .. import body
from ..check import Check
from ..evidence import Evidence, Label, Place, Polyline, places
from ..measures.dead import AGAINST, DEAD, dead_spans, not_yet
from ..measures.exposure import exposure, unjudged
from ..measures.hits import Hits, hits
from ..measures.key_refs import keys_in
from ..measures.turn import Motion, lever, turn
from ..need import Need
from ..note import COMMON_PRACTICE, Limit, Note, Severity, Skip
from ..numeric.between import hermite
from ..numeric.rotation import log, norm, relative, unit
from ..remedy import Drift
from ..shot import Character
from ..study import Study

Array = np.ndarray

#: Legs a second at which a dead part's joint must be carried meanwhile.
CARRIED = 0.25
#: This share of all parts must move in the shot: else it is a blocking pass.
ALIVE = 0.5
#: Frozen spans of one limb are one note where they share this much of the shorter.
SHARED = 0.5
#: The drift that the remedy adds: degrees, and seconds there and back.
DRIFT, SWAY_SECONDS = 4.0, 1.2
#: What came to its hold turning faster than so many degrees a second goes on into the drift the way it came; of joints
#: that turn any way: an elbow or a wrist would soon be past its range.
GOES_ON, FREE = 18.0, ("head", "upper_arm")


@dataclass(frozen=True)
class Frozen:
    """A part dead from drawing ``first`` to ``last``; meters: its joint's mean speed meanwhile, leg/s."""

    part: str
    first: int
    last: int
    seconds: float
    carried: float


class FrozenPart(Check):
    """A hand, arm or head is held dead while the body carries it about.

    Seen as: a mannequin's part: it rides along on a body that acts.
    Measures: the turn of head against chest (neck and head together), upper arm against chest, forearm against upper
    arm and hand against forearm: seconds in which it stays under 2 degrees a second while the part's own joint travels
    at over 0.25 leg/s on average.
    Limit: 0.66 s low, 1.3 s medium, 2.5 s high. A hand on its forearm is low at most. On captured motion nothing is
    held so still for 0.33 s; all parts planted dead for 0.75, 1.4 and 2.6 s are found; hand-keyed motion has 0.9 low
    notes a minute, none above (docs/corpus_spacing.md).
    Silent when: the part never turns, or is dead for over 60 % of the shot: not animated yet, a line in the chart;
    fewer than half of the parts move, or the shot is stepped (both said among what was skipped); a hand that
    touches the ground, a figure or the own body, an arm that carries a prop.
    Cannot see: a hold that is acted, as a poker face or carrying a tray.
    Remedy: a moving hold: let the part drift by a few degrees and back; a head or an arm that came to it in a turn goes
    on into it that way.
    """

    lane = "Spacing"
    uses = (turn, exposure, hits)
    own_needs = Need.JOINTS | Need.ROTATIONS | Need.KEYS
    limit = Limit(0.66, 1.3, 2.5, "s", COMMON_PRACTICE)
    metric = True

    def unjudged(self, study: Study, character: Character) -> str:
        return unjudged(study, character)

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        assert character is not None
        motion: Motion = study.of(turn, character)
        if _moving(motion) < ALIVE:
            yield self.skip(character, "fewer than half of the parts move in this shot, so none is called frozen yet")
            return
        found = [f for part in AGAINST for f in self._frozen(study, character, part, motion.drawings)]
        for group in _by_limb(found):
            yield self._note_on(study, character, group)

    def _frozen(self, study: Study, character: Character, part: str, drawings: Array) -> Iterator[Frozen]:
        """The longest span in which the part is dead and carried, if it is one to speak of."""
        times = study.shot.times
        found = dead_spans(character, part, drawings, times)
        at = times[drawings]
        if not found or not_yet(found, at):
            return
        runs = [(a, b, float(at[b] - at[a])) for a, b in found]
        joint = character.head(part)[drawings]
        travel = norm(np.diff(joint, axis=0)) / max(character.leg_length, 1e-9)
        told = [Frozen(part, a, b, s, float(travel[a:b].sum() / s)) for a, b, s in runs if s >= self.limit.low - 1e-6]
        told = [f for f in told if f.carried > CARRIED and not self._busy(study, character, f, drawings)]
        if told:                                            # at most one note a part
            yield max(told, key=lambda f: f.seconds)

    def _busy(self, study: Study, character: Character, frozen: Frozen, drawings: Array) -> bool:
        """Whether the part is a hand that touches something in the middle of the span, or an arm that carries a
        prop."""
        hand = f"hand.{body.side(frozen.part)}"
        if frozen.part == "head" or not character.has(hand):
            return False
        touching: Hits = study.of(hits, character)
        told = touching.touching(hand, int(drawings[(frozen.first + frozen.last) // 2]))
        props = {p.name for p in study.shot.props}
        return bool(told) if frozen.part == hand else bool(props & set(told))

    def _note_on(self, study: Study, character: Character, group: list[Frozen]) -> Note:
        lead = group[0]
        motion: Motion = study.of(turn, character)
        first, last = (int(motion.drawings[i]) for i in (lead.first, lead.last))
        severity = self.limit.severity(lead.seconds + 1e-6)
        assert severity is not None
        if body.base(lead.part) == "hand":
            severity = Severity.LOW
        frames = study.shot.frame(first), study.shot.frame(last)
        parts = tuple(f.part for f in group)
        names = body.listed(parts)
        meters = character.leg_length * character.real_size
        text = (
            f"The {names} {'is' if len(parts) == 1 else 'are'} held dead for {lead.seconds:.2f} s, frames {frames[0]} "
            f"to {frames[1]}, turning under {DEAD:.0f} degrees a second while the body carries "
            f"{'it' if len(parts) == 1 else 'them'} at {lead.carried * meters:.2f} m/s"
        )
        before = int(motion.drawings[max(0, lead.first - 1)])
        axis, angles = _drift(study, character, lead.part, (before, first, last), frames)
        chain = [p for p in parts if character.has(p)] + (["neck"] if "head" in parts and character.has("neck") else [])
        return self.note(
            study,
            character,
            lead.part,
            (first, last),
            (first + last) // 2,
            severity=severity,
            measured=lead.seconds,
            text=text,
            remedy=Drift(parts, axis, angles, frames),
            evidence=_evidence(study, character, lead.part, (first, last), f"dead for {lead.seconds:.2f} s"),
            keys=keys_in(character, chain, float(study.shot.frames[first]), float(study.shot.frames[last])),
            parts=parts,
        )


def _moving(motion: Motion) -> float:
    """The share of the parts that turn at all in the shot."""
    turns = [s for s in motion.signals if s.kind == "turn"]
    some = [s for s in turns if np.degrees(float(s.speed.max(initial=0.0)) / lever(s.part)) > DEAD]
    return len(some) / max(1, len(turns))


def _by_limb(found: list[Frozen]) -> list[list[Frozen]]:
    """Frozen parts of one limb over the same frames in one group, the nearest to the trunk first."""
    groups: list[list[Frozen]] = []
    for one in found:
        for group in groups:
            lead = group[0]
            shared = min(one.last, lead.last) - max(one.first, lead.first)
            shorter = min(one.last - one.first, lead.last - lead.first)
            if body.side(one.part) == body.side(lead.part) != "" and shared >= SHARED * shorter:
                group.append(one)
                break
        else:
            groups.append([one])
    return groups


def _drift(
    study: Study, character: Character, part: str, span: tuple[int, int, int], frames: tuple[int, int]
) -> tuple[Place, tuple[float, ...]]:
    """A world axis, and degrees on each whole frame of the span: about the axis on which the part came to it, or else
    so that its end drags along its travel; span: the sample before it, its first and its last."""
    before, first, last = span
    coming = _coming(character, part, before, first)
    speed = float(np.degrees(norm(coming))) / max(1, first - before) * study.shot.rate
    if body.base(part) in FREE and speed > GOES_ON:
        x, y, z = unit(coming).tolist()
        return (x, y, z), _going_on(speed / study.shot.fps, frames[1] - frames[0], study.shot.fps)
    line = character.end(part)[(first + last) // 2] - character.head(part)[(first + last) // 2]
    way = character.head(part)[last] - character.head(part)[first]
    across = np.cross(line, way)
    if np.linalg.norm(across) < 1e-6 * max(1e-9, float(np.linalg.norm(line))):
        across = np.cross(line, np.eye(3)[int(np.argmin(np.abs(line)))])
    x, y, z = unit(across).tolist()
    count = frames[1] - frames[0]
    sways = max(1, ceil(count / study.shot.fps / SWAY_SECONDS))
    share = (1 - np.cos(2 * np.pi * sways * np.arange(count + 1) / max(1, count))) / 2
    return (x, y, z), tuple((DRIFT * share).tolist())


def _coming(character: Character, part: str, before: int, first: int) -> Array:
    """The part's last turn (3,) before it is dead, against what it is judged against: a world vector, radians, square to
    the part's own line, for a twist about that brings its end nowhere."""
    assert character.axes is not None
    own, above = (character.axes[[before, first], character.index[p]] for p in (part, AGAINST[part]))
    seen = relative(above, own)
    whole = above[1] @ log(seen[1] @ seen[0].T)
    line = unit(character.end(part)[first] - character.head(part)[first])
    return np.asarray(whole - (whole @ line) * line)


def _going_on(speed: float, count: int, fps: float) -> tuple[float, ...]:
    """Degrees on the frames 0 to ``count``: on at ``speed``, degrees a frame, as far as the drift goes, then to and fro
    until none is left."""
    sway = SWAY_SECONDS / 2 * fps
    rises = min(max(2, round(min(3 * DRIFT / speed, sway))), max(1, count // 2))
    rising = hermite(np.zeros(1), np.full(1, DRIFT), np.full(1, min(speed * rises, 3 * DRIFT)), np.zeros(1),
                     np.arange(rises) / rises)
    left = max(1, count - rises)
    halves = 2 * max(0, round((left / sway - 1) / 2)) + 1
    back = DRIFT * (1 + np.cos(np.pi * halves * np.arange(left + 1) / left)) / 2
    return tuple(np.concatenate([rising, back])[: count + 1].tolist())


def _evidence(
    study: Study, character: Character, part: str, span: tuple[int, int], label: str
) -> tuple[Evidence, ...]:
    first, last = span
    middle = (first + last) // 2
    frame = study.shot.frame
    frames = frame(first), frame(last)
    bone = np.stack([character.head(part)[middle], character.end(part)[middle]])
    return (
        Polyline("found", frames, places(character.end(part)[first : last + 1]), ticks=True),
        Polyline("found", (frame(middle), frame(middle)), places(bone)),
        Label("found", frames, places(bone)[1], label),
    )
