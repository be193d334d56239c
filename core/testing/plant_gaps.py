# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted gaps: a foot that must carry the body stands over or in a known ground by known sizes.

The clip is set down on a level floor first (floors.on_floor), its soles told by the card. Over: one contact of a foot
is raised by its leg, eased in the swings before and after. Into: a slab is laid under one footprint, the motion left as
it is, so high over the foot's lowest place that is held for 0.1 s: a clip's foot may stand a centimeter off the floor.
What each needs to be a fault that can be asked for, said before any check was run:

- the contact lasts 0.35 s at least, and no note on the leg is near;
- the foot must carry: for 0.2 s of it the other foot swings, or stands and the center of mass is 8 cm and more
  aside of it; nothing but feet is low enough to bear (Clean.upright). The first and last 0.1 s and a frame of the shot
  count for nothing there: what the motion asks of the ground takes so many samples to both sides to be known;
- over: the ankle stays within 14 degrees of its range in the clip; into: no other footprint reaches the slab.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from .. import body
from ..measures.footfalls import Footfall, Footfalls, footfalls
from ..measures.mass_motion import MassMotion, mass_motion
from ..measures.sole import carried, sole_of
from ..numeric.spans import held, samples, spans
from ..shot import SOLE_POINTS, Character, Surface
from ..study import Study
from . import edit
from .floors import on_floor
from .plants import SIZES, Case, Clean, min_jerk, prepared, quiet

Array = np.ndarray

#: Meters on an adult whose leg is ADULT long; scaled by the figure's own.
FAR = dict(zip(SIZES, (0.02, 0.05, 0.10), strict=True))
SEVERITY = dict(zip(SIZES, ("low", "medium", "high"), strict=True))
ADULT = 0.85
#: The share and meters by which a size may be read wrong.
SHARE, LEAST = 0.1, 0.01
LASTS, CARRIES, RAMP = 0.35, 0.2, 0.2
#: Meters a second: a foot that stands nowhere and goes faster swings.
SWINGS = 0.6
#: Meters between the center of mass and a sole that cannot carry it alone, seen from above.
ASIDE = 0.08
#: Degrees beyond the clip's own range of an ankle to which a raised foot may bring it.
ANKLE = 14.0
#: Meters round a footprint that its slab reaches, and that other footprints keep away.
ROUND, AWAY = 0.02, 0.03
PLACES = 3
#: s for which a depth must be there to be asked for, and s in which a foot still comes down or goes up already.
HELD, COMES = 0.1, 0.08


def gaps(clean: Clean) -> Iterator[Case]:
    """All planted gaps of a clean shot."""
    floored = prepared(on_floor(clean.shot))
    study = Study(floored.shot)
    fallen: Footfalls = study.of(footfalls, floored.character)
    for side in body.SIDES:
        part = f"foot.{side}"
        if not floored.character.has("pelvis", *body.LIMBS[f"leg.{side}"]):
            continue
        count = {"foot over the ground": 0, "foot in the ground": 0}
        for fall in fallen.falls.get(part, ()):
            window = (fall.span.first, fall.span.last)
            if (window[1] - window[0]) / floored.shot.rate < LASTS or not _carries(floored, fallen, fall):
                continue
            if not quiet(floored.result, floored.shot, window, body.LIMBS[f"leg.{side}"]):
                continue
            for kind, make in (("foot over the ground", _over), ("foot in the ground", _into)):
                made = list(make(floored, fallen, fall, kind)) if count[kind] < PLACES else []
                yield from made
                count[kind] += bool(made)


def _carries(clean: Clean, fallen: Footfalls, fall: Footfall) -> bool:
    """Whether the foot must carry the body for a while of its contact."""
    c = clean.character
    rows = slice(fall.span.first, fall.span.last + 1)
    other = body.mirror(fall.part)
    if not c.has(other) or not clean.upright((fall.span.first, fall.span.last)):
        return False
    moved: MassMotion | None = clean.study.of(mass_motion, c)
    if moved is None:
        return False
    middle = moved.center[rows, None, :2]
    sole = carried(c, sole_of(c, body.side(other) or ""))[rows, :, :2]
    aside = np.linalg.norm(sole - middle, axis=-1).min(1) > ASIDE
    stands = np.zeros(clean.shot.count, bool)
    for f in fallen.falls.get(other, ()):
        stands[f.span.first:f.span.last + 1] = True
    speed = np.linalg.norm(np.gradient(c.head(other)[:, :2], axis=0), axis=-1)[rows] * clean.shot.rate
    must = (~stands[rows] & (speed > SWINGS)) | (stands[rows] & aside)
    return bool(spans(must & moved.sure[rows], samples(CARRIES, clean.shot.rate)))


def _case(clean: Clean, fall: Footfall, kind: str, size: str, character: Character,
          surfaces: tuple[Surface, ...]) -> Case:
    far = FAR[size] * clean.character.leg_length / ADULT
    window = (fall.span.first, fall.span.last)
    shot = replace(clean.with_(character), surfaces=surfaces)
    return Case(kind, size, shot, "ground-gap", fall.part, SEVERITY[size], far, max(SHARE * far, LEAST), window,
                (shot.frame(window[0]), shot.frame(window[1])), "over" if kind.endswith("over the ground") else "into",
                known=clean.result)


def _over(clean: Clean, fallen: Footfalls, fall: Footfall, kind: str) -> Iterator[Case]:
    for size in SIZES:
        raised = lifted(clean, fallen, fall, FAR[size] * clean.character.leg_length / ADULT)
        if clean.ankles_stay(raised, ANKLE):
            yield _case(clean, fall, kind, size, raised, clean.shot.surfaces)


def lifted(clean: Clean, fallen: Footfalls, fall: Footfall, far: float) -> Character:
    """The character with one contact's foot raised by its leg, eased in the swings."""
    rate, every = clean.shot.rate, np.arange(clean.shot.count)
    before = max((f.span.last for f in fallen.falls[fall.part] if f.span.last < fall.span.first), default=-10**6)
    after = min((f.span.first for f in fallen.falls[fall.part] if f.span.first > fall.span.last), default=10**6)
    rise = min(RAMP * rate, fall.span.first - before)
    sink = min(RAMP * rate, after - fall.span.last)
    weight = np.minimum(min_jerk(1 - (fall.span.first - every) / rise), min_jerk(1 - (every - fall.span.last) / sink))
    c = clean.character
    rise_by = far * weight[:, None] * np.array([0.0, 0.0, 1.0])
    return edit.reach(c, f"leg.{body.side(fall.part)}", c.head(fall.part) + rise_by)


def _into(clean: Clean, fallen: Footfalls, fall: Footfall, kind: str) -> Iterator[Case]:
    c = clean.character
    mine = _print(c, fall)
    low, high = mine.min((0, 1)) - ROUND, mine.max((0, 1)) + ROUND
    for rows in fallen.falls.values():
        for other in rows:
            if other is not fall:
                points = _print(c, other)
                if ((points > low - AWAY) & (points < high + AWAY)).all(-1).any():
                    return
    level = _held_low(clean, fall)
    for size in SIZES:
        top = FAR[size] * c.leg_length / ADULT + level
        a, b, d, e = ([x, y, top] for x, y in ((low[0], low[1]), (high[0], low[1]), (high[0], high[1]),
                                              (low[0], high[1])))
        slab = Surface("Slab", "it is marked as ground", np.array([[a, b, d], [a, d, e]]), np.eye(4)[None])
        yield _case(clean, fall, kind, size, c, (*clean.shot.surfaces, slab))


def _held_low(clean: Clean, fall: Footfall) -> float:
    """m: the least height that the foot's lowest point keeps under for HELD s of the contact, the first and last COMES
    s left off. Without a toe bone the tip does not count, since the foot bends where no bone does."""
    c, rate = clean.character, clean.shot.rate
    side = body.side(fall.part) or ""
    rigid = [k for k, point in enumerate(SOLE_POINTS) if point != "toe_tip" or c.has(f"toe.{side}")]
    comes = samples(COMES, rate)
    lowest = carried(c, sole_of(c, side))[fall.span.first + comes:fall.span.last + 1 - comes, rigid, 2].min(1)
    return -float(held(-lowest, samples(HELD, rate)).max())


def _print(character: Character, fall: Footfall) -> Array:
    """(n, 7, 2) m: the sole's points on the plane while the foot stands."""
    sole = carried(character, sole_of(character, body.side(fall.part) or ""))
    return np.asarray(sole[fall.span.first:fall.span.last + 1, :, :2])
