# SPDX-License-Identifier: GPL-3.0-or-later
"""One frame that stands too far along its path, or not far enough: a large step beside a small one."""

from collections.abc import Iterator

from .. import body
from ..check import Check
from ..measures.breaks import Break, breaks
from ..measures.exposure import exposure
from ..measures.landing import evidence_of, keys_at, off_path, remedy_of
from ..measures.ticks import Ticks, held_paths, ticks, unjudged
from ..need import Need
from ..note import COMMON_PRACTICE, Limit, Note, Severity, Skip
from ..shot import Character
from ..study import Study


class UnevenSpacing(Check):
    """One frame of a move stands too near to its neighbor: a big step, a tiny one, a big one.

    Seen as: a hitch in the move: it stutters on one frame, or jumps and waits.
    Measures: the paths of pelvis, chest, head and wrists: how far one frame lies from the smooth (cubic) path through
    two frames on each side, along the path, as a share of the mean step around it. The frames around it must show just
    the trace that one frame out of place leaves (90 % of it), more than the motion shows anyway within 0.75 s, and a
    step that is longer than those beside it next to one that is shorter, by 10 % of a step, unless it is 12 times the
    motion's own restlessness. By 20 % of a step, 85 % of the trace will do, and larger departures may be near, low; or
    65 % of it, where it is 10 times the restlessness and 3 times any other near it. Frames that go to and fro all alike
    are a wiggle, of which none is out of place.
    Limit: 20 % of a step low, 30 % medium, 60 % high; above low only where it is 8 times the motion's own restlessness,
    within 0.75 s and within half a second, and one and a half times the largest other departure near it, on at most 72
    frames a second: shots are shown on no more. A frame moved by 20 % of its step hides among natural changes of speed.
    Clean keyed and hand-keyed clips have none; of captured clips at 24, 3 to 12 low notes a minute, none above. Planted
    ones are found as asked (docs/corpus_spacing.md). Not on trial: on clean clips nothing is above low
    but a frame at which a capture itself jumps, and what another fault does to a frame that fault's note owns
    (core/precedence.py).
    Silent when: the change of speed is spread over frames, or stays; motion on twos or stepped (said among what was
    skipped); the frame is off by less than 0.1 leg/s; feet, which the ground leads; a wiggle (jitter tells it).
    Cannot see: two or more neighboring frames that are displaced together; moves under 6 frames; the first and last
    three frames of the shot; spikes of raw capture as anything but low.
    Remedy: move the one frame to where its path lands, a hand no farther than its arm is stretched beside it.
    """

    lane = "Spacing"
    uses = (breaks, ticks, exposure)
    own_needs = Need.JOINTS | Need.KEYS
    limit = Limit(0.2, 0.3, 0.6, "1", COMMON_PRACTICE)
    metric = True

    def unjudged(self, study: Study, character: Character) -> str:
        return unjudged(study, character)

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        assert character is not None
        why, off = held_paths(study, character)
        if why:
            yield self.skip(character, why)
        for one in study.of(breaks, character):
            severity = self.limit.severity(one.ratio)
            if one.kind == "along" and severity is not None and one.part not in off:
                yield self._note_on(study, character, one, severity if one.sure else Severity.LOW)

    def _note_on(self, study: Study, character: Character, one: Break, severity: Severity) -> Note:
        known: Ticks = study.of(ticks, character)
        at = int(known.drawings[one.drawing])
        frame = study.shot.frame(at)
        cm = 100 * off_path(known, one) * character.leg_length * character.real_size
        text = (
            f"The {body.spoken(one.part)} is {cm:.1f} cm off along its path in frame {frame}, "
            f"{100 * one.ratio:.0f} % of a step: a large step beside a small one"
        )
        return self.note(
            study,
            character,
            one.part,
            (at, at),
            at,
            severity=severity,
            measured=one.ratio,
            text=text,
            remedy=remedy_of(study, character, one),
            evidence=evidence_of(study, character, one, f"{100 * one.ratio:.0f} % of a step"),
            keys=keys_at(study, character, one),
            kind=one.kind,
            parts=one.parts,
        )
