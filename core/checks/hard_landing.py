# SPDX-License-Identifier: GPL-3.0-or-later
"""hard-landing: a landing or a take-off with no give."""
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from ..check import Check
from ..evidence import Evidence, Polyline, places
from ..measures.flights import STRAYS, Flight, Flights, flights, on_frames, unfit
from ..measures.key_refs import keys_in
from ..measures.mass import masses, no_more_than
from ..measures.mass_held import held_loads
from ..measures.mass_motion import MassMotion, mass_motion, told
from ..measures.sinking import STANDS_ON, sinking
from ..need import Need
from ..note import Limit, Note, Severity
from ..numeric.ease import min_jerk
from ..remedy import Give
from ..shot import Character, Shot
from ..study import Study
from .airborne import doubtful

Array = np.ndarray

WITHIN = 0.6            # s from the touch to the end of the give
#: Of sqrt(gravity x leg): slower falls (1 m/s, a fall of 5 cm) are steps.
SLOW = 0.35
#: s: how far touches spread about those of force plates, at 24, 30 and 60 fps alike (9 to 11 ms, 27 at worst, nearly
#: all of them steps: tests.corpus.plate_contacts). So long the body may have fallen on with the ground already under
#: it: the give is read as longer by as much.
TOUCH = 0.010
#: Of the leg: no give is read shorter, since a center of mass is not known closer (1 cm).
LEAST_GIVE = 0.012
#: Of the speed at the touch: a body that still sinks faster at the shot's end is not stopped there.
STOPPED = 0.2
LAST = 0.12             # s of a flight from which the speed is read where no parabola fits the whole
#: Body weights that the remedy leaves, as a captured jump takes (2.2 to 2.8), and the share of what the hips sink that
#: the center of mass does: the feet stay and the knees go half as far, by the mean of de Leva's men and women.
ASKED, CARRIED = 2.5, 0.85
#: Of the leg: deeper the hips of a body on straight legs are never asked to sink, or the ankles of its flat feet would
#: leave their range (55 degrees).
DEEPEST = 0.38
RETURNS = 0.6           # s over which the remedy comes back to the shot's own path


@dataclass(frozen=True)
class Impact:
    """One end of a flight. sign: 1 landing, -1 push-off, whose time runs backward: what is said of the landing holds.

    moment: sample, fractions allowed, at which it touches; lowest: the sample of the deepest give; limit_at: the sample
    at which what can be counted as give ends; speed m/s, give m as read; force, most: body weights on the mean, with
    the give that the touch may hide and without. doubtful: no gravity makes the flight itself.
    """
    sign: int
    moment: float
    lowest: int
    limit_at: int
    speed: float
    give: float
    force: float
    most: float
    doubtful: bool


class HardLanding(Check):
    """A landing or a take-off with no give.

    Seen as: the body hits the ground like a post and is still, or leaves it as if thrown, with no crouch.
    Measures: the mean force in body weights that stops the fall over the give: 1 + v^2 / (2 g d), v the speed of the
    center of mass at the touch by the flight's parabola, d how far it sinks from there to its lowest within 0.6 s. At a
    push-off likewise, from its lowest within 0.6 s to the take-off. Work, not the peak of a smoothed force, which reads
    the same for one frame and for four. Masses by a table or the card.
    Limit: 3 low, 4 medium, 6 high, body weights on the mean. Two captured jumps take 1.3 to 2.8; the peak of a
    landing over a force plate was 5.8 (BMC laboratory, a jump of 24 cm), about twice the mean. The steps are common
    practice, no source. Not on trial: on clean clips nothing is above low, and planted landings are told
    (docs/corpus_weight.md).
    Silent when: the body does not come from a flight (so steps and sits never speak), falls slower than 0.35 of
    sqrt(gravity x leg), 1 m/s, or is not stopped yet where the shot ends. Stepped motion and figures without known
    masses are said as skipped. Never more than low: after a flight that no gravity makes by a medium step of airborne,
    and for a figure whose masses are only a guess, since it is not built like people.
    Cannot see: soft ground that gives; a roll that takes up speed along the ground; what a flight under 0.1 s or a hop
    under 13 cm does. The moment of the touch is known to 10 ms, which is worth a third of the force where one frame of
    24 stops the body, and 10 % where three do: the note tells the range, and its lower end decides.
    Remedy: let the hips sink so many centimeters over so many frames, feet where they are, and rise again; before a
    push-off crouch as deep. Never deeper than 0.38 of the leg, nor than hips and ankles of a leg that stands can bend:
    a fall of over 0.5 m, or into a deep crouch, is then still hard, and must be made lower.
    """
    lane = "Balance"
    uses = (flights, mass_motion, masses, held_loads, *STANDS_ON)
    own_needs = Need.JOINTS | Need.KEYS  # keys for the note to name, never for the finding
    groups = (("pelvis", "foot.L", "foot.R"),)
    metric = True
    limit: ClassVar[Limit] = Limit(
        3.0, 4.0, 6.0, "BW",
        "a jump's landing peaks at 5.8 body weights over a force plate (BMC laboratory), about twice its mean; "
        "the steps: common practice, no source")

    def unjudged(self, study: Study, character: Character) -> str:
        return unfit(study, character)

    def run(self, study: Study, character: Character | None) -> Iterator[Note]:
        assert character is not None
        found: Flights = study.of(flights, character)
        for impact in impacts(study, character, found.found):
            severity = self.limit_on(character).severity(impact.force)
            if severity is not None:
                severity = Severity.LOW if impact.doubtful else no_more_than(study.of(masses, character), severity)
                yield self._note(study, character, impact, severity)

    def _note(self, study: Study, character: Character, impact: Impact, severity: Severity) -> Note:
        shot = study.shot
        moved: MassMotion = study.of(mass_motion, character)
        near = int(np.ceil(impact.moment)) if impact.sign > 0 else int(np.floor(impact.moment))
        first, last = sorted((near, impact.lowest))
        touch = shot.frame(near)
        size = character.real_size
        if impact.sign > 0:
            text = (f"The landing in frame {touch} stops a fall of {impact.speed * size:.1f} m/s in "
                    f"{100 * impact.give * size:.0f} cm")
        else:
            text = (f"The take-off after frame {touch} reaches {impact.speed * size:.1f} m/s in "
                    f"{100 * impact.give * size:.0f} cm")
        text += f": {impact.force:.1f} to {impact.most:.1f} body weights on the mean"
        if impact.doubtful:
            text += "; no gravity makes its flight, so never more than low"
        remedy, path = _give(study, character, impact, moved)
        if remedy is None:
            text += "; the legs are bent as far as they go, so only a lower jump is softer"
        named = remedy.frames if remedy is not None else (shot.frame(first), shot.frame(last))
        return self.note(
            study, character, "pelvis", (first, last), near, severity=severity, measured=impact.force,
            text=text + told(study, character), remedy=remedy, evidence=_evidence(shot, moved, impact, path),
            kind="landing" if impact.sign > 0 else "push-off",
            keys=keys_in(character, ("pelvis",), *map(float, named)))


def impacts(study: Study, character: Character, found: tuple[Flight, ...]) -> list[Impact]:
    """Both ends of each flight at which the body is fast enough, in time order."""
    moved: MassMotion = study.of(mass_motion, character)
    out = []
    for k, flight in enumerate(found):
        if flight.off is not None:
            before = found[k - 1].last + 1 if k else 0
            out.append(_impact(study, character, moved, flight, -1, before))
        if flight.on is not None:
            after = found[k + 1].first - 1 if k + 1 < len(found) else study.shot.count - 1
            out.append(_impact(study, character, moved, flight, 1, after))
    return [impact for impact in out if impact is not None]


def _impact(study: Study, character: Character, moved: MassMotion, flight: Flight, sign: int, stop: int
            ) -> Impact | None:
    shot = study.shot
    gravity = float(np.linalg.norm(moved.gravity))
    leg = character.leg_length
    moment = flight.ends if sign > 0 else flight.begins
    outer = flight.last + 1 if sign > 0 else flight.first - 1
    reach = int(round(WITHIN * shot.rate))
    near, far = (outer, min(stop, outer + reach)) if sign > 0 else (max(stop, outer - reach), outer)
    rows = np.arange(near, far + 1)
    if not len(rows):
        return None
    height = moved.center[rows] @ moved.up
    place, velocity = _at(shot, moved, flight, moment, sign, STRAYS * leg)
    speed = -sign * float(velocity @ moved.up)
    if speed < SLOW * np.sqrt(gravity * leg):
        return None
    lowest = int(rows[int(height.argmin())])
    if lowest in (0, shot.count - 1):
        inner = moved.center[lowest + (1 if lowest == 0 else -1)] @ moved.up - height.min()
        if inner * shot.rate > STOPPED * speed:
            return None                                             # the shot cuts it before the body is stopped
    give = max(float(place @ moved.up - height.min()), LEAST_GIVE * leg)
    force, most = (1 + speed**2 / (2 * gravity * (give + late * speed)) for late in (TOUCH, 0.0))
    return Impact(sign, moment, lowest, int(rows[-1] if sign > 0 else rows[0]), speed, give,
                  force, most, doubtful(flight, leg))


def _at(shot: Shot, moved: MassMotion, flight: Flight, sample: float, sign: int, strays: float) -> tuple[Array, Array]:
    """Place (3,) m and velocity (3,) m/s of the center of mass at an end of a flight, by the parabola; where none fits
    the whole flight, by one through its last frames there."""
    time = sample / shot.rate + float(shot.times[0])
    if flight.astray.max() <= strays:
        return flight.place(time), flight.velocity(time)
    rows = flight.rows[::-1] if sign > 0 else flight.rows
    rows = rows[:max(4, int(round(LAST * shot.rate)) + 1)]
    t = shot.times[rows] - time
    fit = np.polynomial.polynomial.polyfit(t, moved.center[rows], min(2, len(rows) - 1))
    return fit[0], fit[1]


def _give(study: Study, character: Character, impact: Impact, moved: MassMotion
          ) -> tuple[Give | None, Array]:
    """The hips' way down, and the path (N, 3) m of the center of mass on the whole frames in which it gives.

    Evenly braked from the touch over the give that leaves ASKED body weights, then back to the shot's own path; nowhere
    deeper than hips and ankles bend. None where they are bent to their end already.
    """
    shot = study.shot
    gravity = float(np.linalg.norm(moved.gravity))
    give = min(impact.speed**2 / (2 * gravity * (ASKED - 1)), DEEPEST * CARRIED * character.leg_length)
    lasts = 2 * give / impact.speed
    touch = float(np.interp(impact.moment, np.arange(shot.count), shot.frames))
    end = float(shot.frames[impact.limit_at]) if _flies_on(study, character, impact) else np.inf * impact.sign
    back = min(RETURNS, max(abs(end - touch) / shot.fps - lasts, 2 / shot.fps))
    edge = touch + impact.sign * (lasts + back) * shot.fps
    least, most = shot.frame(0), shot.frame(shot.count - 1)
    first = max(int(np.ceil(min(touch, edge))), least)
    last = min(int(np.floor(max(touch, edge))), most)
    whole = np.arange(first, last + 1, dtype=float)
    since = impact.sign * (whole - touch) / shot.fps                # s from the touch, into the ground's side of it
    own = on_frames(shot, moved.center, whole)
    height = own @ moved.up
    start = float(moved.center[impact.lowest] @ moved.up) + impact.give
    t = np.clip(since, 0.0, lasts)
    braked = start - impact.speed * t + impact.speed**2 / (4 * give) * t**2
    down = np.minimum((1 - min_jerk((since - lasts) / back)) * (braked - height), 0.0)
    before, after = np.searchsorted(shot.frames, first, "right") - 1, np.searchsorted(shot.frames, last)
    rows = slice(max(int(before), 0), int(after) + 1)
    room = CARRIED * np.interp(whole, shot.frames[rows], sinking(study, character, rows))
    down = np.where(since > 0, np.maximum(down, -room), down)
    deep = min(give, start - float((height + down).min()))
    held = since <= lasts + 1 / shot.fps
    path = (own + down[:, None] * moved.up)[held]
    if -down.min() < LEAST_GIVE * character.leg_length:
        return None, path
    offsets = down[:, None] / CARRIED * moved.up
    return Give("pelvis", (first, last), deep / CARRIED, max(1, round(lasts * shot.fps)), places(offsets),
                impact.sign > 0), path


def _flies_on(study: Study, character: Character, impact: Impact) -> bool:
    """Whether the give is cut short by another flight."""
    edge = impact.limit_at + impact.sign
    return any(f.first <= edge <= f.last for f in study.of(flights, character).found)


def _evidence(shot: Shot, moved: MassMotion, impact: Impact, needed: Array) -> tuple[Evidence, ...]:
    """The center of mass from the touch to its lowest, and the way that it needs."""
    near = impact.moment
    first, last = sorted((int(np.floor(near)) if impact.sign > 0 else int(np.ceil(near)), impact.lowest))
    frames = (shot.frame(max(first, 0)), shot.frame(min(last, shot.count - 1)))
    whole = np.arange(frames[0], frames[1] + 1, dtype=float)
    path = on_frames(shot, moved.center, whole)
    return (Polyline("held_against", frames, places(needed), dashed=True),
            Polyline("found", frames, places(path), ticks=True))
