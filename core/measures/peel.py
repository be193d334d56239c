# SPDX-License-Identifier: GPL-3.0-or-later
"""How feet peel off in a walk: when the heel leaves, how far the shin leans over the flat foot by then, and how far the
body has gone past it."""
from dataclasses import dataclass

import numpy as np

from ..need import NOTHING
from ..numeric.rotation import dot, unit
from ..shot import SOLE_POINTS, Character
from ..study import Study, measure
from .belt import belt
from .footfalls import Footfall, Footfalls, footfalls
from .mass_motion import MassMotion, mass_motion
from .sole_tilt import SoleTilt, sole_tilt
from .tread import Tread, tread

Array = np.ndarray

#: Degrees over the stance's usual pitch at which the heel has left.
OFF = 10.0
#: s: the lean is read up to so long after the last drawing on which the heel is down: a frame of 24.
SEEN = 1 / 24
#: u: a body that is slower does not walk. It goes ahead where its way and the foot's heading agree so far (cosine).
WALKS, AHEAD = 0.15, 0.7
#: s: shorter contacts are no steps of a walk.
LASTS = 0.3
#: Of the leg: a body whose hips nowhere come so high over the ankle while the sole lies flat crouches, and the shins of
#: who crouches lean over flat feet.
UPRIGHT = 0.88
#: s after the heel leaves in which its fastest rise, over SEEN, is looked for; s before, over which the body's way
#: there is read; of the leg: the travel that the rise is told for.
SNAPS_IN, GOES, TENTH = 0.125, 0.15, 0.1
#: s round the foot's lift-off within which the other foot comes down, so many legs ahead of it.
NEXT, STEPS = 0.35, 0.1
_BALL = SOLE_POINTS.index("ball")


@dataclass(frozen=True)
class Peel:
    """One step of a walk, on the drawings of the tread measure. fall: its contact; flat: the first drawing at which the
    sole lies as it usually does; down: the last before the heel leaves; heel_off: whether it leaves before the foot;
    lean degrees: the greatest by which the shin leans ahead over the foot from ``flat`` to 1/24 s after ``down``;
    rise (D,) degrees of the heel over the stance's usual pitch; past (D,) m: how far the center of mass is ahead of the
    ball; beyond m: the same at ``down``; snap degrees: how far the heel then rises, at its fastest, while the body goes
    on by a tenth of the leg; step m: from this ball to the other foot's where that comes down next, on the way; higher
    m: how much higher that foot's sole is then; way (3,): the unit way that the body goes."""

    fall: Footfall
    flat: int
    down: int
    heel_off: bool
    lean: float
    rise: Array
    past: Array
    beyond: float
    snap: float
    step: float
    higher: float
    way: Array


@measure(NOTHING, uses=(tread, footfalls, sole_tilt, mass_motion, belt))
def peels(study: Study, character: Character) -> tuple[Peel, ...]:
    """All whole steps of an upright walk ahead, in the order of the feet: the other foot comes down ahead round each
    lift-off."""
    t: Tread = study.of(tread, character)
    fallen: Footfalls = study.of(footfalls, character)
    tilt: SoleTilt = study.of(sole_tilt, character)
    moved: MassMotion | None = study.of(mass_motion, character)
    if moved is None or not fallen.kind.size:
        return ()
    velocity = (moved.velocity - study.of(belt, character).velocity)[t.samples]
    velocity = velocity - (velocity @ t.up)[:, None] * t.up
    out = []
    for k, side in enumerate(t.sides):
        if not character.has(f"shin.{side}"):
            continue
        shin = (character.head(f"shin.{side}") - character.head(f"foot.{side}"))[t.samples]
        high = (character.head(f"thigh.{side}") - character.head(f"foot.{side}"))[t.samples] @ t.up
        balls = t.places[:, t.columns(side)][:, _BALL]
        for fall in fallen.falls[f"foot.{side}"]:
            if fall.span.on is None or fall.span.off is None or fall.span.last - fall.span.first < LASTS * t.rate:
                continue
            a, b = (int(i) for i in t.samples.searchsorted((fall.span.first, fall.span.last + 1)))
            rise = -tilt.pitch[:, k] + float(np.median(tilt.pitch[a:b, k]))
            flat, down = _stands_flat(rise, a, b - 1)
            if flat < 0:
                continue
            mean = velocity[flat:down + 1].mean(0)
            way = unit(mean)
            ahead = tilt.ahead[flat, k] - (tilt.ahead[flat, k] @ t.up) * t.up
            if np.linalg.norm(mean) < WALKS * t.speed or unit(ahead) @ way < AHEAD:
                continue
            step = _steps_on(t, fallen, side, (flat, b - 1), way)
            if high[flat:down + 1].max() < UPRIGHT * t.leg or step is None:
                continue
            leans = np.degrees(np.arctan2(shin @ way, shin @ t.up))
            seen = float(np.interp(min(down + SEEN * t.rate, b - 1), np.arange(len(leans)), leans))
            past = (moved.center[t.samples] - balls) @ way
            out.append(Peel(fall, flat, down, down < b - 1, max(seen, float(leans[flat:down + 1].max())), rise, past,
                            float(past[down]), _snap(t, rise, past, (flat, down)), *step, way))
    return tuple(out)


def _snap(t: Tread, rise: Array, past: Array, rows: tuple[int, int]) -> float:
    """Degrees by which the heel rises at its fastest, after it lay flat from one to the other drawing, for a tenth of
    the leg that the body goes: who walks faster peels faster."""
    time = np.concatenate([[0.0], np.cumsum(t.dt)])
    flat, down = rows
    begins = time[down] + np.arange(0.0, SNAPS_IN, SEEN / 4)
    ends = np.minimum(begins + SEEN, time[-1])
    rises = float((np.interp(ends, time, rise) - np.interp(begins, time, rise)).max()) / SEEN
    before = min(max(flat, int(np.searchsorted(time, time[down] - GOES))), down - 1)
    goes = float((past[down] - past[before]) / (time[down] - time[before]))
    return rises * TENTH * t.leg / max(goes, WALKS * t.speed)


def _stands_flat(rise: Array, a: int, b: int) -> tuple[int, int]:
    """First and last drawing of a to b at which the sole lies as it usually does, before its heel leaves for good; -1
    where it nowhere does."""
    over = np.flatnonzero(rise[a:b + 1] <= OFF)
    if not len(over):
        return -1, -1
    down = a + int(over[-1])
    level = np.flatnonzero(np.abs(rise[a:down + 1]) <= OFF)
    return (a + int(level[0]), down) if len(level) else (-1, -1)


def _steps_on(t: Tread, fallen: Footfalls, side: str, rows: tuple[int, int], way: Array) -> tuple[float, float] | None:
    """How far ahead of this one, in meters, the other foot comes down after it lay flat and near its lift-off, and how
    much higher its lowest point is then; None where it does not."""
    for other in t.sides:
        for next_fall in fallen.falls[f"foot.{other}"] if other != side else ():
            on = int(t.samples.searchsorted(next_fall.span.first))
            if on <= rows[0] or abs(on - rows[1]) > NEXT * t.rate or on >= len(t.samples):
                continue
            there, here = (t.places[min(on, rows[1]) if s == side else on, t.columns(s)][_BALL] for s in (other, side))
            ahead = float(dot(there - here, way))
            if ahead > STEPS * t.leg:
                low = [float((t.places[row, t.columns(s)] @ t.up).min()) for row, s in ((on, other), (rows[0], side))]
                return ahead, low[0] - low[1]
    return None
