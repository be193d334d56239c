# SPDX-License-Identifier: GPL-3.0-or-later
"""How far each two-bone limb is stretched out: its bend, its stretch, the gap to its goal, and where it stands flat."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .. import body
from ..need import Need
from ..numeric.rotation import norm
from ..numeric.spans import Span, joined, samples, spans
from ..shot import Character
from ..study import Study, measure
from .limbs import Limbs, limbs

Array = np.ndarray

FLAT = 1.0  # degrees of bend under which a limb can be flat
STILL = 0.1  # degrees within which its bend then stays
FLAT_SECONDS = 0.1  # for at least this long, and three samples
OPEN = 5.0  # degrees of bend above which a gap is the rig's own (a goal with an offset), not reach


@dataclass(frozen=True)
class Reach:
    """One limb. root, mid, end (F, 3) joint centers in world meters.

    length (F,): the chain at rest times the character's scale, m. flexion (F,): degrees between the two bones' lines,
    0 = straight, whichever way it bends. stretch (F,): share by which the two bones are longer than at rest (negative:
    shorter). gap (F,): distance from the goal to the chain's end over the length, times the constraint's influence, on
    frames that are straight within OPEN; 0 elsewhere and without a goal. goal (F, 3): the farthest such goal, or the
    limb's end. flat: spells in which the bend is under FLAT and stays within STILL.
    """

    limb: str
    root: Array
    mid: Array
    end: Array
    length: Array
    flexion: Array
    stretch: Array
    gap: Array
    goal: Array
    has_goal: bool
    flat: tuple[Span, ...]

    @cached_property
    def _bones(self) -> tuple[float, float]:
        """The upper and the lower bone's mean length, m."""
        upper = float(np.nanmean(norm(self.mid - self.root)))
        return upper, float(np.nanmean(norm(self.end - self.mid)))

    def reach_at(self, bend: float) -> float:
        """The share of its length that the limb reaches at ``bend`` degrees, its bones as long as on average."""
        upper, lower = self._bones
        total = upper + lower
        return (
            float(np.sqrt(upper**2 + lower**2 + 2 * upper * lower * np.cos(np.radians(bend))) / total) if total else 1.0
        )


def flat_spells(flexion: Array, rate: float) -> tuple[Span, ...]:
    """Spells with a bend (F,) under FLAT degrees that stays within STILL degrees over any stretch of FLAT_SECONDS."""
    count = samples(FLAT_SECONDS + 0.5 / rate - 1e-9, rate, 3)
    if len(flexion) < count:
        return ()
    windows = np.lib.stride_tricks.sliding_window_view(np.nan_to_num(flexion, nan=np.inf), count)
    highest = windows.max(axis=1)
    with np.errstate(invalid="ignore"):
        good = (highest < FLAT) & (highest - windows.min(axis=1) < STILL)
    return tuple(joined([(first, last + count - 1) for first, last in spans(good)], 1))


@measure(Need.JOINTS | Need.GOALS, uses=(limbs,))
def reach(study: Study, character: Character) -> dict[str, Reach]:
    """Limb name ('leg.L') -> Reach, for the limbs that are wholly in the body map."""
    known: Limbs = study.of(limbs, character)
    parts = [body.LIMBS[name] for name in known.names]
    rest = np.array([character.rest_length(p[0]) + character.rest_length(p[1]) for p in parts])
    length = rest[:, None] * character.scale
    length = np.where(length > 1e-9, length, np.nan)
    flexion = np.degrees(known.bend)
    stretch = (known.upper + known.lower) / length - 1.0
    return {
        name: _reach(study, character, known, k, (length[k], flexion[k], stretch[k]))
        for k, name in enumerate(known.names)
        if character.has(*parts[k])
    }


def _reach(
    study: Study, character: Character, known: Limbs, k: int, measured: tuple[Array, Array, Array]
) -> Reach:
    limb, a, b, c = known.names[k], known.root[k], known.mid[k], known.end[k]
    length, flexion, stretch = measured
    gap, place = np.zeros(len(a)), c
    goals = [g for g in character.goals if g.part == body.LIMBS[limb][2]]
    with np.errstate(invalid="ignore"):
        for goal in goals:
            far = np.linalg.norm(goal.place - goal.reach, axis=-1) / length * goal.influence
            far = np.where((flexion < OPEN) & np.isfinite(far), far, 0.0)
            place = np.where((far > gap)[:, None], c + goal.place - goal.reach, place)
            gap = np.maximum(gap, far)
    return Reach(
        limb, a, b, c, length, flexion, stretch, gap, place, bool(goals), flat_spells(flexion, study.shot.rate)
    )
