# SPDX-License-Identifier: GPL-3.0-or-later
"""airborne: a flight that no gravity makes."""
from collections.abc import Iterator
from typing import ClassVar

import numpy as np

from ..check import Check
from ..evidence import Arrow, Evidence, Polyline, places
from ..measures.flights import STRAYS, Flight, Flights, flights, on_frames, unfit
from ..measures.key_refs import keys_in
from ..measures.mass import masses, only_guessed, sure_enough
from ..measures.mass_held import held_loads
from ..measures.mass_motion import MassMotion, mass_motion, told
from ..need import Need
from ..note import COMMON_PRACTICE, Limit, Note, Severity, Skip
from ..numeric.rotation import norm, unit
from ..remedy import Fly
from ..shot import Character, Shot
from ..study import Study

Array = np.ndarray

#: A step counts as passed where it still is with this many standard errors taken off.
SURE = 2.0
#: s: of shorter flights too few frames tell the curve, so that they are low at most.
SHORT = 0.15
#: Flights are never made shorter or longer by a larger share than this: the path takes what is left.
RETIMED = (0.5, 2.0)
_SEEN = "people tell 13 to 30 % more or less gravity in a flight (Jorges and others 2018); the steps between: " + (
    COMMON_PRACTICE)
FLOATS = Limit(0.87, 0.78, 0.62, "g", _SEEN)
DROPS = Limit(1.15, 1.28, 1.6, "g", _SEEN)
PUSHED = Limit(0.15, 0.25, 0.4, "g", _SEEN)
#: How far the center of mass strays from the parabola that fits it best, of the leg.
ASTRAY = Limit(STRAYS, 0.08, 0.16, "m", COMMON_PRACTICE)


class Airborne(Check):
    """A flight that no gravity makes.

    Seen as: the body hangs or floats in the air, is yanked down, or changes course where nothing can push it.
    Measures: the center of mass while no part of the body touches anything, for 3 frames and 0.1 s at least: a
    parabola is fitted to those frames, and its curvature over the scene's gravity is told, as is the push sideways.
    Beside them how far the center strays from that parabola; by 0.08 of the leg or more nothing else
    is told. Masses by a table or the card.
    Limit: floats below 0.87 low, 0.78 medium, 0.62 high, of the scene's gravity; drops above 1.15, 1.28, 1.6; pushed
    sideways above 0.15, 0.25, 0.4; strays more than 0.03, 0.08, 0.16 of the leg. A step counts as passed only where
    two standard errors of the fit leave it so: 0.28 g for 3 frames of 24, 0.12 for 4, 0.06 for 5. People tell 13 to
    30 % more or less gravity (Jorges and others 2018); straying: common practice, no source. Not on trial: on clean
    clips nothing is above low but their own faults, and planted flights are told (docs/corpus_weight.md).
    Silent when: any part touches, or skims the ground within 0.04 of the leg for 0.15 s while the body is borne; the
    body's lowest point does not come 0.15 of the leg (13 cm) over the line from where it left to where it lands, since
    so low a foot may slide on, or stand on what the scene does not show; it comes from or to a seat that no mesh shows,
    or is still and does not fall where the shot begins or ends in the air.
    Longer than 1.5 s off the ground is said as skipped, as are stepped motion and figures without known masses.
    Cannot see: flights under 0.1 s and low hops; which of the two ends is wrong; ropes, wings, water and wind; who
    stops dead in the air for 0.12 s, since he may stand there on what the scene does not show. Under 0.15 s it is never
    more than low. For a figure whose masses are only a guess, since it is not built like people, what would be high is
    low and the rest is silent, which is said as skipped.
    Remedy: frames to take out of the flight or put into it at this height, the rest by bringing the path onto the
    parabola; or how far its middle goes up or down at these frames. The true parabola is the evidence.
    """
    lane = "Balance"
    uses = (flights, mass_motion, masses, held_loads)
    own_needs = Need.JOINTS | Need.KEYS  # keys for the note to name, never for the finding
    groups = (("pelvis",),)
    metric = True
    limit: ClassVar[Limit] = FLOATS

    def unjudged(self, study: Study, character: Character) -> str:
        return unfit(study, character)

    def run(self, study: Study, character: Character | None) -> Iterator[Note | Skip]:
        assert character is not None
        found: Flights = study.of(flights, character)
        shot = study.shot
        for first, last in found.carried:
            yield self.skip(character, f"off the ground from frame {shot.frame(first)} to {shot.frame(last)}, too "
                                       "long for a flight: taken as carried by what the scene does not show")
        guess = only_guessed(study.of(masses, character))
        if guess and found.found:
            yield self.skip(character, guess)
        for flight in found.found:
            yield from self._flight(study, character, flight)

    def _flight(self, study: Study, character: Character, flight: Flight) -> Iterator[Note]:
        shot = study.shot
        moved: MassMotion = study.of(mass_motion, character)
        leg = character.leg_length * character.real_size
        moved_by = self.moved(character)
        faces = (
            ("floats", flight.pull, flight.pull + SURE * flight.doubt, FLOATS.raised(moved_by)),
            ("drops", flight.pull, flight.pull - SURE * flight.doubt, DROPS.raised(moved_by)),
            ("pushed", flight.push, flight.push - SURE * flight.push_doubt, PUSHED.scaled(moved_by)),
            ("strays", float(flight.astray.max()) * character.real_size,
             float(flight.astray.max()) * character.real_size, ASTRAY.scaled(leg * moved_by)),
        )
        passed = [(severity, k, face) for k, face in enumerate(faces)
                  if (severity := face[3].severity(face[2])) is not None]
        if not passed:
            return
        # a path that is no parabola tells no gravity; else the worst face names the note, of faces as bad the first
        strayed = [p for p in passed if p[2][0] == "strays" and p[0].rank >= 1]
        severity, _, (kind, measured, _, limit) = max(strayed or passed, key=lambda p: (p[0].rank, -p[1]))
        if (flight.last - flight.first + 1) / shot.rate < SHORT:
            severity = Severity.LOW
        sure = sure_enough(study.of(masses, character), severity)
        if sure is None:
            return
        frames = (shot.frame(flight.first), shot.frame(flight.last))
        text = f"{_WORDS[kind].format(self._number(kind, measured))} in the air from frame {frames[0]} to {frames[1]}"
        others = [_AND[face[0]].format(self._number(face[0], face[1])) for _, _, face in passed
                  if face[0] != kind and not strayed]
        text = "; ".join([text, *others]) + told(study, character)
        yield self.note(
            study, character, "pelvis", (flight.first, flight.last), _worst(flight, kind),
            severity=sure, measured=measured, limit=limit.step(sure), unit=limit.unit, source=limit.source,
            text=text, remedy=_fly(shot, moved, flight), evidence=_evidence(shot, moved, flight, kind), kind=kind,
            ratio=kind in ("floats", "drops"), keys=keys_in(character, ("pelvis",), *frames))

    @staticmethod
    def _number(kind: str, value: float) -> str:
        return f"{100 * value:.0f} cm" if kind == "strays" else f"{value:.2f} g"


_WORDS = {
    "floats": "The body floats: it falls by {}",
    "drops": "The body is pulled down by {}",
    "pushed": "The body is pushed sideways by {}",
    "strays": "The body changes course by {}",
}
_AND = {
    "floats": "it falls by {}",
    "drops": "it falls by {}",
    "pushed": "it is pushed sideways by {}",
    "strays": "it strays from any parabola by {}",
}


def doubtful(flight: Flight, leg: float) -> bool:
    """Whether the flight is wrong by a medium step: what its speeds tell of a landing is then no more sure."""
    return not FLOATS.medium < flight.pull < DROPS.medium or float(flight.astray.max()) >= ASTRAY.medium * leg


def _worst(flight: Flight, kind: str) -> int:
    """A parabola is wrong all along: its middle stands for it; where the body strays, the farthest frame."""
    if kind == "strays":
        return int(flight.rows[int(flight.astray.argmax())])
    return (flight.first + flight.last) // 2


def _fly(shot: Shot, moved: MassMotion, flight: Flight) -> Fly:
    """Frames out of the flight or into it so that its curvature is gravity's, as near as whole frames come; the rest by
    moving the figure onto the parabola through both ends."""
    start, stop = max(flight.first - 1, 0), min(flight.last + 1, shot.count - 1)
    first, last = shot.frame(start), shot.frame(stop)
    count = last - first
    share = float(np.clip(np.sqrt(max(flight.pull, 0.0)), *RETIMED))
    # a body that hangs has no curvature to retime by, one that is only pushed aside needs no other frames
    wrong = not FLOATS.low <= flight.pull <= DROPS.low
    added = round((share - 1) * count) if wrong and RETIMED[0] ** 2 <= flight.pull else 0
    ratio = (count + added) / count
    new = np.arange(first + 1, last + added, dtype=float)
    off, on = (float(np.interp(s, np.arange(shot.count), shot.frames)) for s in (flight.begins, flight.ends))
    ends = on_frames(shot, moved.center, np.array([off, on]))
    line = first + (np.array([off, on]) - first) * ratio
    now = on_frames(shot, moved.center, first + (new - first) / ratio)
    true = _parabola(ends, line, new, shot.fps, moved.gravity)
    offsets = np.where(((new > line[0]) & (new < line[1]))[:, None], true - now, 0.0)
    seconds = (on - off) / shot.fps
    rise = (1 - flight.pull) * float(np.linalg.norm(moved.gravity)) * seconds**2 / 8
    return Fly("pelvis", (first, last), added, places(offsets), rise)


def _parabola(ends: Array, line: Array, frames: Array, fps: float, gravity: Array) -> Array:
    """(N, 3) m on frames (N,): the path under gravity through ends (2, 3) at the frames ``line`` (2,)."""
    t, whole = (frames - line[0])[:, None] / fps, (line[1] - line[0]) / fps
    return np.asarray(ends[0] + (ends[1] - ends[0]) * t / whole + gravity * t * (t - whole) / 2)


def _evidence(shot: Shot, moved: MassMotion, flight: Flight, kind: str) -> tuple[Evidence, ...]:
    """The center of mass on each frame of the flight, the parabola that gravity would draw between the same ends, and
    where it is pushed, its way: as long as the push would carry it in the flight's time."""
    frames = (shot.frame(flight.first), shot.frame(flight.last))
    whole = np.arange(frames[0], frames[1] + 1, dtype=float)
    path = on_frames(shot, moved.center, whole)
    off, on = (float(np.interp(s, np.arange(shot.count), shot.frames)) for s in (flight.begins, flight.ends))
    line = np.array([min(off, whole[0]), max(on, whole[-1])])
    true = _parabola(on_frames(shot, moved.center, line), line, whole, shot.fps, moved.gravity)
    found: list[Evidence] = [Polyline("held_against", frames, places(true), dashed=True),
                             Polyline("found", frames, places(path), ticks=True)]
    if kind == "pushed":
        push = 2 * (flight.fit[2] - flight.fit[2] @ moved.up * moved.up)
        middle = path[len(path) // 2]
        way = unit(push) * float(norm(push)) * ((on - off) / shot.fps) ** 2 / 2
        found.append(Arrow("found", frames, places(middle[None])[0], places((middle + way)[None])[0]))
    return tuple(found)
