# SPDX-License-Identifier: GPL-3.0-or-later
"""Paths that turn in one frame without slowing down for it."""

from collections.abc import Iterator

from .. import body
from ..check import Check
from ..measures.breaks import Break, breaks
from ..measures.exposure import exposure
from ..measures.hits import hits
from ..measures.landing import evidence_of, keys_at, off_path, remedy_of
from ..measures.ticks import PATHS, Ticks, held_paths, ticks, unjudged
from ..need import Need
from ..note import COMMON_PRACTICE, Limit, Note, Severity, Skip
from ..shot import Character
from ..study import Study


class ArcBreak(Check):
    """A path turns in a single frame at full speed, or one frame stands beside its arc.

    Seen as: a kink: the hand changes course as if it had bounced off nothing; one pose that is off the arc.
    Measures: the paths of pelvis, chest, head and wrists in the world: the turn of the path at one frame, in degrees,
    where both steps there are over 0.4 leg/s and not slower than 60 % of the smaller step beside them, where the turn
    is at least twice as sharp as those before and after it (of 45 degrees and more, far out of all that is near: a
    quarter sharper), and where the frames around it show the trace of a corner, or of one frame beside its path, and
    nothing as large within 0.75 s. A corner of 30 degrees that holds 60 % of the turning there, and changes the step
    twice as much as any frame near it, counts where up to three times as large a jump is near, low; on motion with
    noise of its own one of 45 degrees with 45 % and one and a half times as much. Hands turn sharply all the time, but
    slow down for it and spread the turn over frames. Above 36 frames a second each phase of every second (third, ...)
    frame is read too; above 72 corners on those alone, and of single frames those that stand 0.004 legs off.
    Limit: 20 degrees low, 45 medium, 75 high, so that kinks of 30, 60 and 90 degrees are one step apart; above low only
    where it is 8 times the motion's own restlessness, within 0.75 s and within half a second, and one and a half times
    the largest other departure near it, on at most 72 frames a second: shots are shown on no more. Clean keyed and
    hand-keyed clips have 0 to 2 low notes a minute; captured ones at 24 10 to 15, and above low one in two minutes: a
    hand that jumps. Planted ones are found as asked (docs/corpus_spacing.md). Not on trial: on clean clips
    nothing is above low but a frame at which a capture itself jumps, and the kinks that another fault makes its note
    owns (core/precedence.py).
    Silent when: the part slows down for the turn or spreads it; motion on twos or stepped (said among what was
    skipped); feet, which the ground leads. At most low where a hand, head or the trunk has just come to the ground, a
    prop, another figure or the own body: right if it hits.
    Cannot see: a turn spread over two frames or more; the first and last three frames of the shot; a hit on something
    that the shot does not hold; a turn that only the camera sees.
    Remedy: move the frame to where its path lands (a hand no farther than its arm is stretched beside it), above 36
    frames a second with those beside it: the corner is then spread over three frames of 24.
    """

    lane = "Arcs"
    uses = (breaks, ticks, exposure, hits)
    own_needs = Need.JOINTS | Need.KEYS
    limit = Limit(20.0, 45.0, 75.0, "deg", COMMON_PRACTICE)
    metric = True

    def unjudged(self, study: Study, character: Character) -> str:
        return unjudged(study, character)

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        assert character is not None
        why, off = held_paths(study, character)
        if why:
            yield self.skip(character, why)
        for one in study.of(breaks, character):
            severity = self.limit.severity(one.turn)
            if one.kind != "along" and severity is not None and one.part not in off:
                yield self._note_on(study, character, one, severity if one.sure else Severity.LOW)

    def _note_on(self, study: Study, character: Character, one: Break, severity: Severity) -> Note:
        known: Ticks = study.of(ticks, character)
        at = int(known.drawings[one.drawing])
        own = one.part if character.has(one.part) else PATHS[one.part]
        hit = study.of(hits, character).of(own, at)
        cm = 100 * off_path(known, one) * character.leg_length * character.real_size
        what = "turns" if one.kind == "corner" else "leaves its arc, turning"
        text = (
            f"The path of the {body.spoken(one.part)} {what} by {one.turn:.0f} deg in frame {study.shot.frame(at)} "
            f"without slowing down, {cm:.1f} cm off the smooth path"
        )
        if hit:
            text += f"; right if it hits the {hit}"
        return self.note(
            study,
            character,
            one.part,
            (at, at),
            at,
            severity=Severity.LOW if hit else severity,
            measured=one.turn,
            text=text,
            remedy=remedy_of(study, character, one),
            evidence=evidence_of(study, character, one, f"{one.turn:.0f} deg in one frame"),
            keys=keys_at(study, character, one),
            kind=one.kind,
            parts=one.parts,
        )
