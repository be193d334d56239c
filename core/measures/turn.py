# SPDX-License-Identifier: GPL-3.0-or-later
"""How fast each part turns against its parent, and how fast the pelvis and the goals of IK chains travel.

All in one yardstick, so that one limit serves every part: leg lengths a second. A turn is taken times its lever, the
distance from the joint to the end of the chain that it swings (an upper arm .6 m, a head .2 m of an adult whose leg is
.85 m long).
"""
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .. import body
from ..need import Need
from ..numeric.rotation import dot, log, norm
from ..shot import Character
from ..study import Study, measure
from .exposure import exposure
from .local import handfuls, local_axes, local_turns, parent_on, seen

__all__ = ["LEVERS", "LEVER_LEG", "Motion", "Signal", "lever", "local_axes", "parent_on", "turn"]

Array = np.ndarray

#: Meters from a part's joint to the end of what it swings, on an adult with a leg of LEVER_LEG meters. From memory.
LEVERS = {"pelvis": 0.7, "spine": 0.6, "chest": 0.5, "neck": 0.25, "head": 0.2,
          "clavicle": 0.65, "upper_arm": 0.6, "forearm": 0.3, "hand": 0.1,
          "thigh": 0.85, "shin": 0.45, "foot": 0.15, "toe": 0.07}
LEVER_LEG = 0.85
#: A keyed hold has no noise at all; floors are never below this many legs.
LEAST_NOISE = 1e-5


@dataclass(frozen=True)
class Signal:
    """One part's motion between drawings. kind: 'turn' against its parent, 'path' in the world (the pelvis), or 'goal',
    the path of an inverse-kinematics target.

    velocity (D - 1, 3) legs a second: of a turn in the part's own axes, of a path in the world's. seconds (D - 1,).
    """
    part: str
    kind: str
    velocity: Array
    seconds: Array
    #: ``speed`` and ``change``, where they were measured for many signals at once.
    known: tuple[Array, Array] | None = None

    @cached_property
    def speed(self) -> Array:
        """Legs a second, (D - 1,)."""
        return norm(self.velocity) if self.known is None else self.known[0]

    @cached_property
    def change(self) -> Array:
        """How much the velocity changes from one step to the next, legs a second, (D - 2,)."""
        return norm(self.velocity[1:] - self.velocity[:-1]) if self.known is None else self.known[1]

    @cached_property
    def steps(self) -> Array:
        """Legs from drawing to drawing, (D - 1, 3)."""
        return np.asarray(self.velocity * self.seconds[:, None])

    @cached_property
    def noise(self) -> float:
        """Legs: the white noise of one drawing. Fourth differences of the path in windows of 9 drawings, their lowest
        decile: measured at the rate used, never converted, since motion leaks in as the rate falls."""
        s = self.steps
        d4 = s[3:] - 3 * (s[2:-1] - s[1:-2]) - s[:-3]
        if len(d4) < 1:
            return LEAST_NOISE
        power = dot(d4, d4) / 3 / 70
        width = min(9, len(power))
        windows = np.convolve(power, np.ones(width) / width, "valid")
        # the quantile as numpy interpolates it, by which only two values need to be found
        place = 0.1 * (len(windows) - 1)
        low = int(place)
        two = np.partition(windows, (low, min(low + 1, len(windows) - 1)))[low:low + 2]
        value = two[0] + (two[-1] - two[0]) * (place - low)
        return float(max(np.sqrt(value), LEAST_NOISE))

    @cached_property
    def agitation(self) -> Array:
        """Legs, (D,): what "beyond the noise" means about each drawing: the median of |fourth difference| / 6 within
        0.75 s, the three drawings nearest left out, so that a fault does not hide behind itself."""
        d4 = np.linalg.norm(np.diff(self.steps, n=3, axis=0), axis=-1) / 6
        count = len(self.steps) + 1
        out = np.full(count, LEAST_NOISE)
        reach = max(4, int(round(0.75 / float(np.median(self.seconds))))) if len(self.seconds) else 4
        for i in range(count):
            at = i - 2                                  # the fourth difference that is centered on drawing i
            near = np.concatenate([d4[max(0, at - reach):max(0, at - 3)], d4[max(0, at + 4):max(0, at + reach + 1)]])
            if len(near):
                out[i] = max(float(np.median(near)), LEAST_NOISE)
        return out


@dataclass(frozen=True)
class Motion:
    """All signals of a character. drawings (D,): the sample that each drawing stands for."""
    signals: tuple[Signal, ...]
    drawings: Array

    def of(self, part: str, kind: str = "turn") -> Signal | None:
        return next((s for s in self.signals if s.part == part and s.kind == kind), None)


def lever(part: str) -> float:
    """The part's lever in leg lengths."""
    return LEVERS[body.base(part)] / LEVER_LEG


@measure(Need.JOINTS | Need.ROTATIONS | Need.GOALS, uses=(exposure, local_turns))
def turn(study: Study, character: Character) -> Motion:
    """The signals, on the character's drawings: on twos one velocity spans two frames."""
    taken = study.of(exposure, character).drawings
    seconds = np.diff(study.shot.times[taken])
    leg = max(character.leg_length, 1e-9)
    signals: list[Signal] = []

    def add(part: str, kind: str, steps: Array) -> None:
        signals.append(Signal(part, kind, steps / seconds[:, None], seconds))

    if len(taken) > 1:
        axes = study.of(local_turns, character)
        if axes is not None:
            for some in handfuls(range(len(character.parts)), len(taken)):
                drawn = axes[:, :, some] if len(taken) == axes.shape[3] else axes[:, :, some][..., taken]
                vectors = log(seen(drawn[..., :-1], drawn[..., 1:]).transpose(2, 3, 0, 1))
                levers = np.array([lever(character.parts[k]) for k in some])
                velocity = vectors * levers[:, None, None] / seconds[:, None]
                known = norm(velocity), norm(velocity[:, 1:] - velocity[:, :-1])
                for at, k in enumerate(some):
                    signals.append(
                        Signal(character.parts[k], "turn", velocity[at], seconds, (known[0][at], known[1][at]))
                    )
        if character.has("pelvis"):
            add("pelvis", "path", np.diff(character.head("pelvis")[taken], axis=0) / leg)
        for goal in character.goals:
            add(goal.part, "goal", np.diff(goal.place[taken], axis=0) / leg)
    return Motion(tuple(signals), taken)
