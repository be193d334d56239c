# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted flights: jumps whose time in the air is stretched, and landings that stop within frames.

Stretched are flights that a clip itself makes within 7 % of gravity, sideways under 0.12 g; those that it makes
otherwise, put right first (played at another pace and laid on the parabola that gravity draws between their ends, limbs
as they move in the clip); and figures thrown up out of any upright motion, from a crouch and into a give: by 10, 25 and
50 % in time, so that they read 1 / share^2 of gravity. The clip may have faults elsewhere.

A landing is stopped evenly within 3, 2 and 1 frames of 24: of a clip's own jump by holding the hips over feet that
stay while arms and trunk go on, or by freezing the whole figure; of a figure thrown up and caught again by letting the
hips sink so long. The work of the fall over what the center of mass still sinks gives the force that is asked for.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice

import numpy as np

from ..checks.airborne import FLOATS, RETIMED, SURE
from ..checks.hard_landing import HardLanding
from ..measures.flights import Flight, flights
from ..measures.footfalls import Footfalls, footfalls
from ..measures.mass import Masses, masses_of
from ..note import Result, Severity
from ..shot import GRAVITY, Character, Shot
from ..study import Study
from ..tables.segments import FEMALE
from . import edit
from .plants import SIZES, Case, Clean, Window, centres, min_jerk, prepared, quiet, spaced
from .replay import replayed, stretched

Array = np.ndarray

SHARES = dict(zip(SIZES, (1.1, 1.25, 1.5), strict=True))
FRAMES = dict(zip(SIZES, (3, 2, 1), strict=True))
#: A host's own flight is this near to gravity's, and sideways.
TRUE, STRAIGHT = 0.07, 0.12
#: s in the air of a thrown figure, before it is stretched, and s of even give into which it is caught.
THROWN, EASY = 0.5, 0.18
#: s for which a foot stands before it is thrown and after it.
FOOTING = 0.2
#: s in the air of a figure whose landing is stopped, tried one after the other; m of even push before that; s of the
#: crouch into it, and of the way back up after the landing.
JUMPS, PUSH, CROUCH, RISES = (0.46, 0.5, 0.42, 0.54), 0.2, 0.45, 0.6
#: s before and after the jump that the clip must last: the crouch and the way up may be cut.
AROUND = 0.2
#: s: a force is asked for its severity where a touch so much sooner and so much later would have the same.
SOONER, LATER = 0.003, 0.007
#: Of gravity: what a flight reads is known to this and SURE errors of its fit; a step so near is not asked for.
READ = 0.02
#: s: what the moment of a touch is known to; forces with so much of fall added to the give.
LATE = 0.010
WITHIN = (LATE, 2 * LATE, 0.0)
#: s after a touch within which a body has given.
GIVES = 0.6
PARTS = ("pelvis", "foot.L", "foot.R")
#: Samples by which a flight that is put right may last shorter than its height asks, tried in turn: a landing that is
#: hard at its full height is not where another fault is to be planted.
SHORTER = (0, 1, 2)
#: Checks whose notes say that a flight is wrong, or how it ends, however low.
FLYING = ("airborne",)
LANDING = ("airborne", "hard-landing")
#: Checks of a body that stands: their notes say nothing of how it flies.
STANDING = ("hard-landing", "undriven-move", "off-balance")


@dataclass(frozen=True)
class _Host:
    """A flight that gravity makes, and the shot that it is in. right: it was put right; own: it is the clip's own."""

    clean: Clean
    flight: Flight
    right: bool = False
    own: bool = True

    def case(self, kind: str, size: str, shot: Shot, check: str, severity: str | None, measured: float,
             tolerance: float, window: Window, worst: Window, note_kind: str, known: Result | None = None) -> Case:
        return Case(f"{kind}, put right first" if self.right else kind, size, shot, check, "pelvis", severity,
                    measured, tolerance, window, worst, note_kind,
                    known=known or (None if self.own else self.clean.result))

    def longer(self, kind: str, size: str) -> Case:
        """The flight stretched in time, by a frame more where what it then reads is too near a step to be asked for."""
        flight, shot = self.flight, self.clean.shot
        first, last = shot.frame(flight.first - 1), shot.frame(flight.last + 1)
        added = round((SHARES[size] - 1) * (last - first))
        while not _clear(flight, (last - first + added) / (last - first)):
            added += 1
        now = flight.pull / ((last - first + added) / (last - first)) ** 2
        return self.case(kind, size, stretched(shot, self.clean.character.name, first, last, added), "airborne",
                         _floating(now), now, 0.1 * now, (flight.first, flight.last + added), (first, last + added),
                         "floats", _later(self.clean.result, first, last, added))


def _later(result: Result, first: int, last: int, added: int) -> Result:
    """What is said of the clip itself, where it is and where it comes to be when frames are put in between two."""
    def when(frame: int) -> int:
        return round(float(np.interp(frame, [first, last, last + 1], [first, last + added, last + added + 1])
                           + max(frame - last - 1, 0)))

    moved = [replace(n, start=when(n.start), end=when(n.end), worst=when(n.worst))
             for n in result.notes if n.check != "airborne"]
    return replace(result, notes=(*result.notes, *(m for m in moved if m not in result.notes)))


def floats(clean: Clean) -> Iterator[Case]:
    """All stretched flights of a clean shot."""
    for host in _hosts(clean, FLYING):
        for size in SIZES:
            yield host.longer("flight stretched", size)


def throws(clean: Clean) -> Iterator[Case]:
    """The whole figure thrown up out of a crouch and caught again into a give, limbs as they move in the clip, on a
    parabola that gravity draws in 0.5 s, stretched in time."""
    shot = clean.shot

    def found() -> Iterator[tuple[int, Callable[[str], Case]]]:
        for centre in centres(shot, THROWN + 2 * AROUND):
            window = _jump(clean, centre, THROWN)
            if clean.upright(window) and _stands(clean, window) and quiet(clean.result, shot, window, PARTS):
                lands, whole = clean.with_(landed(clean, window, EASY)), (window[0] + 1, window[1] - 1)
                # whether it flies as it should is told sooner than what is said of it
                host = _made(prepared(lands, clean.checks), *whole) if _fitting(lands, *whole) else None
                if host is not None and _calm(host.clean, host.flight, LANDING):
                    yield centre, partial(host.longer, "flight thrown")

    for make in spaced(found(), shot, 2 * THROWN):
        for size in SIZES:
            yield make(size)


def _stands(clean: Clean, window: Window) -> bool:
    """Whether a foot stands before the window, and one after it, by its speed over the whole frame and by its moments
    between frames: nobody can tell when who skates has landed."""
    some = np.zeros(clean.shot.count, bool)
    fallen: Footfalls = clean.study.of(footfalls, clean.character)
    for part in clean.touch.planted:
        stands = np.zeros(clean.shot.count, bool)
        for fall in fallen.falls.get(part, ()):
            stands[fall.span.first:fall.span.last + 1] = True
        some |= clean.touch.standing(part) & stands
    wide = round(FOOTING * clean.shot.rate)
    first, last = window
    return first >= wide and bool(some[first - wide:first + 1].all() and some[last:last + wide + 1].all())


def thrown(clean: Clean, window: Window, pull: float) -> Character:
    """The character moved as a whole so that its center of mass draws a parabola over the window, of ``pull`` times the
    scene's gravity, from where it is to where it will be."""
    shot, c = clean.shot, clean.character
    center = centers(c)
    first, last = window
    s = (np.arange(shot.count) - first) / (last - first)
    seconds = (last - first) / shot.rate
    line = center[first] + np.clip(s, 0, 1)[:, None] * (center[last] - center[first])
    path = line - pull * shot.gravity * (s * (1 - s))[:, None] * seconds**2 / 2
    return edit.shift(c, np.where(((s > 0) & (s < 1))[:, None], path - center, 0.0))


def posts(clean: Clean) -> Iterator[Case]:
    """All landings of a clean shot, stopped."""
    for host in _hosts(clean, LANDING):
        flight, shot = host.flight, host.clean.shot
        if flight.on is None:
            continue
        for kind, size in ((kind, size) for kind in ("landing stopped", "landing frozen") for size in SIZES):
            seconds = FRAMES[size] / 24
            planted = (stopped if kind == "landing stopped" else frozen)(host.clean, flight, seconds)
            if planted is None:
                continue
            fall = _stop(shot, planted, flight)
            force, least, most = (_mean(*fall, late) for late in WITHIN)
            if not _sure(*fall):
                continue
            severity = HardLanding.limit.severity(force)
            stop = min(int(flight.on + np.ceil(seconds * shot.rate)) + 1, shot.count - 1)
            at = shot.frame(flight.last + 1)
            yield host.case(kind, size, host.clean.with_(planted), "hard-landing",
                            None if severity is None else severity.value, force, max(most - least, 0.5),
                            (flight.last + 1, stop), (at, at), "landing")


def caught(clean: Clean) -> Iterator[Case]:
    """The whole figure thrown up out of a crouch and falling as gravity has it, its landing stopped."""
    shot = clean.shot
    around = JUMPS[0] + 2 * AROUND

    def found() -> Iterator[tuple[int, Callable[[str], list[Case]]]]:
        for centre in centres(shot, around):
            window = _jump(clean, centre, JUMPS[0])
            if clean.upright(window) and _stands(clean, window) and quiet(clean.result, shot, window, PARTS):
                yield centre, partial(_caught_cases, clean, centre)

    for make in spaced(found(), shot, around):
        for size in SIZES:
            yield from make(size)


def landed(clean: Clean, window: Window, seconds: float) -> Character:
    """The figure thrown up over the window by gravity, the hips braked evenly within ``seconds`` of its end."""
    shot, c = clean.shot, clean.character
    up = thrown(clean, window, 1.0)
    speed = _fall(clean, window)
    t = np.arange(shot.count) / shot.rate
    after = np.clip(t - window[1] / shot.rate, 0.0, None)
    before = np.clip(window[0] / shot.rate - t, 0.0, None)
    hips = _given(after, speed, speed * seconds / 2, RISES) + _given(before, speed, PUSH, CROUCH)
    return edit.carry_root(up, hips[:, None] * c.up)


def _given(since: Array, speed: float, give: float, back: float) -> Array:
    """Height (F,) m of hips that are stopped evenly from ``speed`` over ``give``, and are back within ``back`` s."""
    lasts = 2 * give / speed
    s = np.clip(since, 0.0, lasts)
    return np.asarray((speed**2 / (4 * give) * s**2 - speed * s) * (1 - min_jerk((since - lasts) / back)))


def _fall(clean: Clean, window: Window) -> float:
    """m/s downward at the window's end."""
    height = centers(clean.character) @ clean.character.up
    seconds = (window[1] - window[0]) / clean.shot.rate
    return float(np.linalg.norm(clean.shot.gravity) * seconds / 2 - (height[window[1]] - height[window[0]]) / seconds)


def _jump(clean: Clean, centre: int, seconds: float) -> Window:
    first = centre - round(seconds * clean.shot.rate / 2)
    return first, first + round(seconds * clean.shot.rate)


def _caught_cases(clean: Clean, centre: int, size: str) -> list[Case]:
    """The case of the first flight that asks for a force clear of any step; none where there is no such flight."""
    made = (_caught_case(clean, _jump(clean, centre, seconds), size) for seconds in JUMPS)
    return list(islice((case for case in made if case is not None), 1))


def _sure(speed: float, sinks: float, sooner: float = 0.0) -> bool:
    """Whether a touch a little sooner or later would have the landing asked for the same, or for silence above low.
    sooner s: where the moment is that of the edit and not read off the feet, they may tell it so much sooner, with the
    body still higher by what it falls meanwhile and that much slower."""
    told = [HardLanding.limit.severity(_mean(speed, sinks, late)) for late in (LATE, LATE - SOONER, LATE + LATER)]
    told.append(HardLanding.limit.severity(
        _mean(speed - GRAVITY * sooner, sinks + speed * sooner - GRAVITY * sooner**2 / 2, LATE)))
    return len(set(told)) == 1 or (told[0] is None and set(told) == {None, Severity.LOW})


def _mean(speed: float, sinks: float, late: float) -> float:
    """Body weights on the mean by the work of the fall, with ``late`` s of fall added to the give."""
    return float(1 + speed**2 / (2 * GRAVITY * (max(sinks, 0.01) + late * speed)))


def _caught_case(clean: Clean, window: Window, size: str) -> Case | None:
    shot = clean.shot
    planted = landed(clean, window, FRAMES[size] / 24)
    height = centers(planted) @ planted.up
    stop = min(window[1] + round(0.6 * shot.rate), shot.count - 1)
    speed, sinks = _fall(clean, window), float(height[window[1]] - height[window[1]:stop].min())
    force, least, most = (_mean(speed, sinks, late) for late in WITHIN)
    severity = HardLanding.limit.severity(force)
    if not _sure(speed, sinks, LATER):
        return None
    at = shot.frame(window[1])
    last = min(window[1] + FRAMES[size] * round(shot.rate / 24) + 1, shot.count - 1)
    return Case("landing of the thrown", size, clean.with_(planted), "hard-landing", "pelvis",
                None if severity is None else severity.value, force, max(most - least, 0.5),
                (window[1], last), (at, at), "landing")


def _hosts(clean: Clean, about: tuple[str, ...]) -> Iterator[_Host]:
    """The flights of a clip that are whole and have nothing wrong near them, put right where gravity does not make
    them. about: FLYING or LANDING, what is to be planted."""
    shot = clean.shot
    for flight in Study(shot).of(flights, clean.character).found:
        if flight.first == 0 or flight.last == shot.count - 1:
            continue
        host = _Host(clean, flight) if _fits(flight) else _righted(clean, flight, about)
        if host is not None and _calm(host.clean, host.flight, about):
            yield host


def _fits(flight: Flight) -> bool:
    return abs(flight.pull - 1) < TRUE and flight.push < STRAIGHT


def _calm(clean: Clean, flight: Flight, about: tuple[str, ...]) -> bool:
    """Whether near a flight nothing is noted of hips and feet that makes doubtful what it is ``about``: no note of
    these checks, and no other of medium severity or above, but of a foot that skids before it leaves or after it has
    landed, and where only the flight counts of how the body stands."""
    shot = clean.shot
    first, last = shot.frame(flight.first), shot.frame(flight.last)
    fine = STANDING if about == FLYING else ()
    against = tuple(n for n in clean.result.notes if (n.severity.rank >= 1 or n.check in about) and n.check not in fine
                    and (n.check != "slip" or (n.start <= last + 1 and first - 1 <= n.end)))
    return quiet(replace(clean.result, notes=against), shot, (flight.first, flight.last), PARTS)


def _righted(clean: Clean, flight: Flight, about: tuple[str, ...]) -> _Host | None:
    """The clip with one flight as gravity makes it, from the same frame and place on to the same place; None where its
    pace would change by more than RETIMED or no such flight comes of it that has nothing noted near."""
    shot, c = clean.shot, clean.character
    if not RETIMED[0] ** 2 <= flight.pull <= RETIMED[1] ** 2:
        return None
    ends = flight.first - 1, flight.last + 1
    first, last = (shot.frame(i) for i in ends)
    for shorter in SHORTER:
        added = round((np.sqrt(flight.pull) - 1) * (last - first)) - shorter
        moved = replace(clean, shot=stretched(shot, c.name, first, last, added))
        made = prepared(moved.with_(thrown(moved, (ends[0], ends[1] + added), 1.0)), clean.checks)
        host = _made(made, flight.first, flight.last + added, right=True)
        if host is not None and _calm(host.clean, host.flight, about):
            return host
    return None


def _made(made: Clean, first: int, last: int, right: bool = False) -> _Host | None:
    """The flight from sample ``first`` to ``last``, give or take one, where it is as gravity makes it."""
    flight = _fitting(made.shot, first, last)
    return None if flight is None else _Host(made, flight, right, own=False)


def _fitting(shot: Shot, first: int, last: int) -> Flight | None:
    for flight in Study(shot).of(flights, shot.characters[0]).found:
        if abs(flight.first - first) <= 1 and abs(flight.last - last) <= 1 and _fits(flight):
            return flight
    return None


def _floating(pull: float) -> str | None:
    severity = FLOATS.severity(pull)
    return None if severity is None else severity.value


def _clear(flight: Flight, longer: float) -> bool:
    """Whether a flight so many times as long reads far enough from every step to be asked for its severity."""
    now, doubt = flight.pull / longer**2, SURE * flight.doubt / longer**2
    return _floating(now * (1 - READ)) == _floating(now * (1 + READ) + doubt)


def centers(character: Character) -> Array:
    """(F, 3) m: the center of mass, by women's table: the check's own is the mean of men's and women's."""
    found: Masses = masses_of(character, FEMALE)
    return np.asarray(np.tensordot(found.centers(character), found.mass / found.total, ([1], [0])).T)


def stopped(clean: Clean, flight: Flight, seconds: float) -> Character | None:
    """The character whose hips are braked evenly to rest within ``seconds`` of the touch and go on where the clip's own
    come up to them from their lowest; None where they never sink so far."""
    shot, c = clean.shot, clean.character
    assert flight.on is not None
    t = shot.times - flight.on / shot.rate
    height = c.head("pelvis") @ c.up
    speed = -float(flight.velocity(np.array(flight.on / shot.rate)) @ c.up)
    start = float(np.interp(flight.on, np.arange(shot.count), height))
    s = np.clip(t, 0.0, seconds)
    braked = start - speed * s + speed / (2 * seconds) * s**2
    after = np.flatnonzero(t > 0)
    lowest = after[height[after][t[after] < GIVES].argmin()]
    back = after[(after > lowest) & (t[after] > seconds) & (height[after] >= braked[after])]
    rows = (t > 0) & (height < braked) & (np.arange(shot.count) < (back[0] if len(back) else shot.count))
    return edit.carry_root(c, np.where(rows, braked - height, 0.0)[:, None] * c.up) if rows.any() else None


def frozen(clean: Clean, flight: Flight, seconds: float) -> Character:
    """The character that goes on ever slower from the touch, to a dead hold within ``seconds``: like a post."""
    shot, c = clean.shot, clean.character
    assert flight.on is not None
    at = np.arange(shot.count, dtype=float)
    since = np.clip((at - flight.on) / shot.rate, 0.0, seconds)
    at = np.where(at > flight.on, flight.on + shot.rate * (since - since**2 / (2 * seconds)), at)
    return replace(replayed(c, at), keys=c.keys)


def _touched_at(shot: Shot, character: Character, flight: Flight) -> float:
    """m: the height of the center of mass at the touch: from the last sample in the air on along the parabola."""
    assert flight.on is not None
    touch, last = (flight.place(np.array(i / shot.rate)) for i in (flight.on, flight.last))
    return float(centers(character)[flight.last] @ character.up + (touch - last) @ character.up)


def _stop(shot: Shot, character: Character, flight: Flight) -> tuple[float, float]:
    """How fast the center of mass falls at the touch, m/s, and how far it sinks from there, m."""
    assert flight.on is not None
    touch = flight.on / shot.rate
    speed = -float(flight.velocity(np.array(touch)) @ character.up)
    rows = (shot.times > touch) & (shot.times < touch + GIVES)
    sinks = _touched_at(shot, character, flight) - float((centers(character)[rows] @ character.up).min())
    return speed, sinks
