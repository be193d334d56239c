# SPDX-License-Identifier: GPL-3.0-or-later
"""Flights: when nothing carries the body, and the parabola that its center of mass then draws.

The parabola is fitted to the samples in the air, all alike and unfiltered. Gravity is read from its curvature, never
from the time in the air and the height: half a frame at either end, which nothing can tell, would be worth 10 % of it.
"""
from dataclasses import dataclass

import numpy as np

from ..frozen import freeze
from ..need import NOTHING
from ..numeric.between import between
from ..numeric.rotation import norm
from ..numeric.spans import spans
from ..shot import Character, Shot
from ..study import Study, measure
from .exposure import exposure
from .mass import Masses, masses
from .mass_motion import MassMotion, mass_motion
from .supports import Support, Supports, supports
from .tread import Tread, tread
from .underbody import Underbody, underbody

Array = np.ndarray

LEAST_FRAMES, LEAST = 3, 0.1    # drawings and seconds: what is shorter is no flight
LEAST_CUT = 0.15                # s: of one that the shot's end cuts, so that a contact that shows late is none
#: Of a leg: in the air all of the body clears the ground. Where its lowest point does not come so far over the line
#: from where it left to where it lands, it may have slid, or stood on what the scene does not show: a foot too fast or
#: too high to count as planted may still carry. Captured dances, kicks and rolls come to 0.14 so, jumps to 0.22
#: (two clips, both of the third that is held back: no clip is left on which this was not chosen).
CLEARS = 0.15
#: Of a leg: at the ends of a flight what has not come so high (1.7 cm) may still drag; seconds after which it does.
GRAZES, DRAGS = 0.02, 0.04
#: s and body weights: a contact so short under so little load at the top of a flight is a foot that turns back there.
APEX, FALLS = 0.5, 0.8
#: Of a leg, and s: under a body that is borne (FALLS) a foot that skims the ground so low for so long carries it,
#: however fast it slides.
SKIMS, SKIMS_FOR = 0.04, 0.15
#: Of sqrt(gravity x leg): who is no faster where the shot cuts a flight, and does not fall there, sits or stands on
#: what the scene does not show.
RESTS = 0.1
LONGEST = 1.5                   # s, a rise of 2.8 m: who stays up longer is carried by what the scene does not show
#: A center of mass is known no better than this, of a leg (1 mm), however well a parabola fits.
KNOWN = 0.0012
SMOOTH_RATE = 30.0              # drawings a second; above, neighbors err together and tell no more


#: Of a leg: farther than this off the parabola that fits it best no flight goes by itself; captured jumps go 0.006,
#: keyed ones 0.018.
STRAYS = 0.03


@dataclass(frozen=True)
class Flight:
    """One flight. first, last: its samples; off, on: the moments in samples at which the last contact ended and the
    next began, None where the shot cuts it; rows (N,): the drawings that the parabola was fitted to.

    start s: the time of the fit's zero; fit (3, 3): place m, velocity m/s and half the acceleration m/s2 then, a row
    each. pull: gravity that it reads over the scene's; push: sideways acceleration over gravity; doubt, push_doubt:
    standard errors of both. astray (N,) m: how far each drawing lies off the parabola. clear m: how high the lowest
    point of the body comes over the line from where it left to where it lands.
    """
    first: int
    last: int
    off: float | None
    on: float | None
    rows: Array
    start: float
    fit: Array
    pull: float
    push: float
    doubt: float
    push_doubt: float
    astray: Array
    clear: float

    def __post_init__(self) -> None:
        freeze(self, "fit", (3, 3))

    @property
    def begins(self) -> float:
        """The take-off in samples, the first sample where the shot cuts it."""
        return float(self.first) if self.off is None else self.off

    @property
    def ends(self) -> float:
        """The touch-down in samples, the last sample where the shot cuts it."""
        return float(self.last) if self.on is None else self.on

    def place(self, times: Array | float) -> Array:
        """Places (..., 3) m on the parabola at times s of the shot."""
        t = np.asarray(times, float)[..., None] - self.start
        return np.asarray(self.fit[0] + t * (self.fit[1] + t * self.fit[2]))

    def velocity(self, times: Array | float) -> Array:
        """Velocities (..., 3) m/s."""
        t = np.asarray(times, float)[..., None] - self.start
        return np.asarray(self.fit[1] + 2 * t * self.fit[2])


@dataclass(frozen=True)
class Flights:
    """found: the flights in time order; carried: (first, last) samples of spans off the ground that are too long for a
    flight."""
    found: tuple[Flight, ...]
    carried: tuple[tuple[int, int], ...]


def unfit(study: Study, character: Character) -> str:
    """Why flights of a character cannot be judged, '' where they can."""
    known: Masses = study.of(masses, character)
    if known.why:
        return f"{known.why}, so flights and landings are not judged"
    if study.of(exposure, character).stepped:
        return str(study.of(exposure, character).sentence)
    if study.of(mass_motion, character) is None:
        return "too few frames to judge flights and landings"
    return "" if np.linalg.norm(study.shot.gravity) > 0 else "the scene has no gravity to judge flights by"


def on_frames(shot: Shot, path: Array, frames: Array) -> Array:
    """A path (F, 3) of the samples at scene frames (N,), fractions too."""
    return between(path, (frames - shot.frames[0]) / shot.fps * shot.rate)


@measure(NOTHING, uses=(supports, masses, mass_motion, exposure, tread, underbody))
def flights(study: Study, character: Character) -> Flights:
    """Every span in which no part of the body touches anything; none where the mass is not known or poses are
    stepped."""
    moved: MassMotion | None = study.of(mass_motion, character)
    shot = study.shot
    if moved is None or float(np.linalg.norm(moved.gravity)) <= 0:
        return Flights((), ())
    held: Supports = study.of(supports, character)
    drawings = study.of(exposure, character).drawings
    low = _lowest(study, character)
    leg = character.leg_length
    found, carried = [], []
    aloft = _aloft(held, moved, low, leg, shot.rate)
    for first, last in spans(aloft & ~_skims(aloft, moved, low, leg, shot.rate)):
        over = _over(low, first, last)
        if over.max() < CLEARS * leg or _rests(held, moved, leg, first, last):
            continue
        if (last - first + 1) / shot.rate > LONGEST:
            carried.append((first, last))
            continue
        high = np.flatnonzero(over > GRAZES * leg)
        off = max((s.span.off for s in held.found if s.span.last == first - 1 and s.span.off is not None),
                  default=None if first == 0 else first - 0.5)
        on = min((s.span.on for s in held.found if s.span.first == last + 1 and s.span.on is not None),
                 default=None if last == shot.count - 1 else last + 0.5)
        a, b = first + int(high[0]), first + int(high[-1])
        if a - first > DRAGS * shot.rate:
            off = a - 0.5
        if last - b > DRAGS * shot.rate:
            on = b + 0.5
        rows = drawings[(drawings >= a) & (drawings <= b)]
        least = LEAST_CUT if a == 0 or b == shot.count - 1 else LEAST
        if len(rows) >= LEAST_FRAMES and (b - a + 1) / shot.rate >= least:
            found.append(fitted(moved, shot.times, rows, a, b, off, on, float(over.max()), KNOWN * leg))
    return Flights(tuple(found), tuple(carried))


def _rests(held: Supports, moved: MassMotion, leg: float, first: int, last: int) -> bool:
    """Whether a span off the ground leads from or to something that no mesh shows: a seat that is only told by what the
    body needs, or whatever it is still on where the shot begins or ends."""
    if any(s.assumed and (s.span.last == first - 1 or s.span.first == last + 1) for s in held.found):
        return True
    slow = RESTS * float(np.sqrt(np.linalg.norm(moved.gravity) * leg))
    ends = [k for k, cut in ((first, first == 0), (last, last == len(moved.center) - 1)) if cut]
    return any(float(norm(moved.velocity[k])) < slow and moved.load[k] > FALLS for k in ends)


def fitted(moved: MassMotion, times: Array, rows: Array, first: int, last: int, off: float | None, on: float | None,
           clear: float, known: float) -> Flight:
    """The parabola through the center of mass at these samples, (N,); the rest as Flight has it, ``known`` m: no point
    is known better."""
    start = float(times[rows].mean())
    t = times[rows] - start
    basis = np.stack([np.ones_like(t), t, t * t], 1)
    inverse = np.linalg.inv(basis.T @ basis)
    fit = inverse @ basis.T @ moved.center[rows]
    away = moved.center[rows] - basis @ fit
    gravity = float(np.linalg.norm(moved.gravity))
    acceleration = 2 * fit[2]
    rise = float(acceleration @ moved.up)
    level = acceleration - rise * moved.up
    upright = away @ moved.up
    aside = away - upright[:, None] * moved.up
    # the error of a parabola's bend from that of its points: 2 sqrt of its variance, 0.14 g for 3 frames of 24
    lone = 2 * float(np.sqrt(inverse[2, 2])) / gravity
    lone *= float(np.sqrt(max(1.0, 1 / (np.median(np.diff(t)) * SMOOTH_RATE))))
    spread = [max(float(np.sqrt((part**2).mean())), known) for part in (upright, norm(aside) / np.sqrt(2))]
    return Flight(first, last, off, on, rows, start, fit, -rise / gravity, float(np.linalg.norm(level)) / gravity,
                  lone * spread[0], lone * spread[1], norm(away), clear)


def _lowest(study: Study, character: Character) -> Array:
    """(F,) m: how high the lowest point of the body lies over the ground below it, or over any one level."""
    t: Tread = study.of(tread, character)
    under: Underbody = study.of(underbody, character)
    f = study.shot.count
    out = np.full(f, np.inf)
    if t.over.shape[1]:
        sole = t.over.min(1)
        out = np.interp(np.arange(f), t.samples, sole)
    if under.names:
        # feet without a mesh below them are told from zero up, the other parts from where the feet stand
        base = np.where(under.known, 0.0, under.level[:, None])
        out = np.minimum(out, (under.over - under.reach + base).min(1))
    return out


def _aloft(held: Supports, moved: MassMotion, low: Array, leg: float, rate: float) -> Array:
    """(F,) bool: nothing touches. A foot that comes nearly to rest at the top of a flight, high over its ends and with
    the body falling all the while, touches nothing: who stands on what the scene does not show is carried by it."""
    brief = [s for s in held.found if s.part.startswith("foot") and s.span.last - s.span.first + 1 <= APEX * rate
             and moved.load[s.span.first:s.span.last + 1].mean() < FALLS]
    out = np.asarray(~_touched(held, brief, len(low)))
    for first, last in spans(out):
        mine = [s for s in brief if first <= s.span.first and s.span.last <= last]
        over = _over(low, first, last)
        for s in mine:
            lowest = over[s.span.first - first:s.span.last - first + 1].min()
            if moved.load[first:last + 1].mean() > FALLS or lowest < CLEARS * leg:
                out[s.span.first:s.span.last + 1] = False
    return out


def _skims(aloft: Array, moved: MassMotion, low: Array, leg: float, rate: float) -> Array:
    """(F,) bool: where nothing seems to touch, the body's lowest point skims the ground while something bears it."""
    out = np.zeros(len(low), bool)
    for first, last in spans(aloft & (low < SKIMS * leg) & (moved.load > FALLS)):
        out[first:last + 1] = (last - first + 1) / rate >= SKIMS_FOR
    return out


def _touched(held: Supports, but: list[Support], count: int) -> Array:
    """(F,) bool: some contact, these left out."""
    out = np.zeros(count, bool)
    for s in held.found:
        if not any(s is b for b in but):
            out[s.span.first:s.span.last + 1] = True
    return out


def _over(low: Array, first: int, last: int) -> Array:
    """(N,) m: a body's lowest point (F,) over the straight line between its heights before and after a span."""
    before = low[first - 1] if first > 0 else low[last + 1] if last + 1 < len(low) else low[first:last + 1].min()
    after = low[last + 1] if last + 1 < len(low) else before
    return np.asarray(low[first:last + 1] - np.linspace(before, after, last - first + 3)[1:-1])
