# SPDX-License-Identifier: GPL-3.0-or-later
"""Moves that march evenly from corner to corner, as a machine does."""
from collections.abc import Iterator
from math import isfinite

import numpy as np

from .. import body
from ..check import Check
from ..evidence import Evidence, Label, Polyline, places
from ..measures.even import EvenSpan, even
from ..measures.exposure import exposure
from ..measures.keyed import Keyed, keyed
from ..measures.turn import LEVER_LEG, Motion, turn
from ..note import COMMON_PRACTICE, KeyReference, Limit, Note, Severity, Skip
from ..numeric.ease import ease_places
from ..remedy import Ease
from ..shot import Character
from ..study import Study

Array = np.ndarray

#: Corners softer than this share of the speed are left as they are by the remedy.
SOFT_END = 0.08
#: Of a merged note, so many parts are drawn.
DRAWN = 3


class LinearSpan(Check):
    """A part marches evenly between two corners instead of easing in and out.

    Seen as: a robotic move: it starts at full speed, keeps it, and stops or turns off at once.
    Measures: the turn of each part against its parent, times its lever, and the paths of the pelvis and of the targets
    of
    inverse kinematics, in leg lengths a second: spans of at least 4 drawings and 0.16 s whose velocity changes by at
    most
    3 % from drawing to drawing, faster than 0.25 leg/s, with ends at which it changes by over 25 % and 20 % of the
    speed
    (over 8 % at one end where the span is even within half a percent, or where straight keys are known to lie under
    it).
    The number told is the change of speed at the harder end, in m/s at the part's lever. A second, noisy test (0.33 s
    within 1.2 % of its travel of an even march, ends over 30 %) speaks low and on trial.
    Limit: a change of speed of 0.1 leg/s low, 0.25 medium, 0.5 high, at the harder end. On captured motion no span
    passes.
    Silent when: the shot is stepped (said among what was skipped); a slow moving hold (under 0.25 leg/s); the span is
    the whole shot, as in a cycle or
    on a conveyor; the speeds outside match, so there is no corner to see.
    Cannot see: even moves of 3 drawings or less; marches under noise of over half a percent of their travel; legs
    marched
    through the world by baked inverse kinematics, whose turns are not even and whose targets are gone.
    Remedy: ease the part in and out between the same two poses, toward the speeds outside; where the motion turns off
    beyond an end, let it come to rest there and set out softly.
    """
    lane = "Spacing"
    uses = (even, turn, keyed, exposure)
    limit = Limit(0.1 * LEVER_LEG, 0.25 * LEVER_LEG, 0.5 * LEVER_LEG, "m/s",
                  f"{COMMON_PRACTICE}; told for an adult's leg of {LEVER_LEG} m and scaled by the character's")
    metric = True

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        assert character is not None
        shown = study.of(exposure, character)
        if shown.stepped:
            yield self.skip(character, shown.sentence)
            return
        spans = [s for s in study.of(even, character) if self.limit.severity(s.corner * LEVER_LEG) is not None]
        for group in merged(spans):
            yield self._note_on(study, character, group)

    def _note_on(self, study: Study, character: Character, group: list[EvenSpan]) -> Note:
        motion: Motion = study.of(turn, character)
        keys: Keyed = study.of(keyed, character)
        worst = group[0]
        meters = character.leg_length * character.real_size
        noisy = worst.noisy
        severity = self.limit.severity(worst.corner * LEVER_LEG)
        assert severity is not None
        severity = Severity.LOW if noisy else severity
        first, last, at = (int(motion.drawings[i]) for i in (worst.first, worst.last, worst.worst))
        frames = study.shot.frame(first), study.shot.frame(last)
        parts = tuple(dict.fromkeys(s.signal.part for s in group))
        behind = keys.references(parts, float(study.shot.frames[first]), float(study.shot.frames[last]))
        step = self.limit.step(severity) * meters / LEVER_LEG
        return self.note(
            study, character, worst.signal.part, (first, last), at, severity=severity, measured=worst.corner * meters,
            limit=step, unit="m/s", text=self._text(study, group, frames, study.shot.frame(at), worst.corner * meters,
            behind),
            remedy=_remedy(group, frames), evidence=_evidence(study, character, motion, group, frames, meters),
            keys=behind, kind="noisy" if noisy else "even", parts=parts, trial=True if noisy else None)

    def _text(self, study: Study, group: list[EvenSpan], frames: tuple[int, int], at: int, corner: float,
              behind: tuple[KeyReference, ...]) -> str:
        names = [_spoken(s) for s in group]
        names = list(dict.fromkeys(names))
        who = body.in_a_row(names)
        verb = "moves" if len(names) == 1 else "move"
        text = (f"The {who} {verb} evenly from frame {frames[0]} to {frames[1]} "
                f"(peak {group[0].ratio:.2f} times "
                f"the mean speed, eased moves 1.6 to 1.9) and change speed by {corner:.2f} m/s in frame {at}")
        if len(names) == 1:
            text = text.replace(" and change speed", " and changes speed")
        if group[0].noisy:
            text += "; within the noise of the motion, so only a hint"
        if behind:
            owners = list(dict.fromkeys(k.owner for k in behind))
            more = f" and {len(owners) - 3} more" if len(owners) > 3 else ""
            text += f"; straight keys: {', '.join(owners[:3])}{more}"
        return text


def merged(spans: list[EvenSpan]) -> list[list[EvenSpan]]:
    """Spans grouped to one note each, hardest corner first: those with the same ends, give or take one drawing."""
    groups: list[list[EvenSpan]] = []
    for span in sorted(spans, key=lambda s: (s.noisy, -s.corner)):
        for group in groups:
            lead = group[0]
            if span.noisy == lead.noisy and abs(span.first - lead.first) <= 1 and abs(span.last - lead.last) <= 1:
                group.append(span)
                break
        else:
            groups.append([span])
    return groups


def _spoken(span: EvenSpan) -> str:
    what = {"turn": "", "path": "path of the ", "goal": "goal of the "}[span.signal.kind]
    return what + body.spoken(span.signal.part)


def _remedy(group: list[EvenSpan], frames: tuple[int, int]) -> Ease:
    def hard(which: int) -> bool:
        return any(s.corners[which] > SOFT_END * s.speed for s in group)  # never where it is NaN

    targets = tuple(dict.fromkeys(s.signal.part for s in group if s.signal.kind == "turn"))
    paths = tuple(dict.fromkeys(s.signal.part for s in group if s.signal.kind != "turn"))
    return Ease(targets, frames, hard(0), hard(1), paths)


def _path(character: Character, span: EvenSpan) -> Array:
    """The world path (F, 3) at which the span is seen: the part's end, the pelvis, the goal."""
    part = span.signal.part
    if span.signal.kind == "goal":
        return next(g.place for g in character.goals if g.part == part)
    return character.head(part) if span.signal.kind == "path" else character.end(part)


def _evidence(study: Study, character: Character, motion: Motion, group: list[EvenSpan], frames: tuple[int, int],
              meters: float) -> tuple[Evidence, ...]:
    shapes: list[Evidence] = []
    for i, span in enumerate(group[:DRAWN]):
        first, last, at = (int(motion.drawings[k]) for k in (span.first, span.last, span.worst))
        path = _path(character, span)
        before = max(0, first - 1)
        near = path[before:last + 2]                       # the sample on each side tells the speeds outside
        eased = ease_places(near, first - before, last - before, *(isfinite(c) for c in span.corners))
        shapes.append(Polyline("found", frames, places(path[first:last + 1]), ticks=True))
        drawn = places(eased[first - before:last - before + 1])
        shapes.append(Polyline("held_against", frames, drawn, ticks=True, dashed=True))
        if i == 0:
            shapes.append(Label("found", frames, places(path[at:at + 1])[0],
                                f"even, corner {span.corner * meters:.2f} m/s in frame {study.shot.frame(at)}"))
    return tuple(shapes)
