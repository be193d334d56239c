# SPDX-License-Identifier: GPL-3.0-or-later
"""What a hand, head or trunk that stops may have hit: the ground, a prop, another figure, the own body."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .. import body
from ..need import Need
from ..shot import Character
from ..study import Study, measure
from .contacts import LEG_OF_HEIGHT
from .underbody import Underbody, underbody

Array = np.ndarray

#: A part this near to a surface touches it, of the leg.
NEAR = 0.025
#: Seconds within which it has come there.
COMES = 0.12
#: Feet that sink as the body lies down take no ground with them: it lies as high as they stood in so many seconds.
STOOD = 1.0
#: A trunk lies with its hips lower than this, of the leg, and the sine of its slope below that: chests may be large. It
#: is lying down where the hips sank by so much.
LIES, LEVEL, SINKS = 0.6, 0.5, 0.05
#: Flesh around the line from joint to joint, of the leg: from memory of body breadths; the head's about its middle.
FLESH = {"pelvis": 0.19, "spine": 0.17, "chest": 0.19, "neck": 0.08, "head": 0.13, "clavicle": 0.08,
         "upper_arm": 0.06, "forearm": 0.05, "hand": 0.05, "thigh": 0.10, "shin": 0.07, "foot": 0.06, "toe": 0.04}


@dataclass(frozen=True, eq=False)
class Hits:
    """Asked only where something stops or is held: each question looks at one part in one sample."""

    study: Study
    character: Character

    def of(self, part: str, sample: int) -> str:
        """What the part has come to touch in the sample, in words ('ground', 'own thigh', a prop's or figure's name),
        or ''. What it touched shortly before as well it carries, or rests on: that is no hit."""
        before = max(0, sample - max(1, round(COMES * self.study.shot.rate)))
        now = self.touching(part, sample)
        then = set(self.touching(part, before)) if now else set()
        return next((what for what in now if what not in then), "")

    def touching(self, part: str, sample: int) -> list[str]:
        """All that the part touches in the sample: what it holds or rests on as well."""
        found = ["ground"] if self._on_ground(part, sample) else []
        near = NEAR * self.character.leg_length
        points = self._points(part, sample)
        for prop in self.study.shot.props:
            if self._distance(points, prop.origin[sample], prop.origin[sample]) < prop.size / 2 + near:
                found.append(prop.name)
        for other in self.study.shot.characters:
            own = other is self.character
            leg = other.leg_length
            for other_part in other.parts:
                if own and (not part.startswith("hand") or other_part in self._carried_by[part]):
                    continue
                a, b = other.head(other_part)[sample], other.end(other_part)[sample]
                flesh = FLESH[body.base(other_part)] * leg
                if self._distance(points, a, b) < flesh + FLESH[body.base(part)] * self.character.leg_length + near:
                    found.append(f"own {body.spoken(other_part)}" if own else other.name)
        return found

    def lies_down(self, before: int, sample: int) -> bool:
        """Whether the trunk lies in the sample, its hips lower than legs may carry them, and was sinking since
        ``before``."""
        c = self.character
        if not c.has("pelvis", "chest") or "pelvis" not in self._under.parts:
            return False
        line = c.end("chest")[sample] - c.head("pelvis")[sample]
        if abs(float(line @ c.up)) > LEVEL * float(np.linalg.norm(line)):
            return False
        over, was = self._over("pelvis", sample), self._over("pelvis", before)
        return over < LIES * c.leg_length and was - over > SINKS * c.leg_length

    def _on_ground(self, part: str, sample: int) -> bool:
        if part not in self._under.parts:
            return False
        reach = float(self._under.reach[self._under.parts.index(part)])
        return self._over(part, sample) < reach * self._bulk(part) + NEAR * self.character.leg_length

    def _over(self, part: str, sample: int) -> float:
        """Meters of the part over the ground; where no mesh tells it, over where the feet stood."""
        under, k = self._under, self._under.parts.index(part)
        over = float(under.over[sample, k])
        if not under.known[sample, k]:
            stood = under.level[max(0, sample - round(STOOD * self.study.shot.rate)) : sample + 1]
            over -= float(stood.max() - under.level[sample])
        return over

    @property
    def _under(self) -> Underbody:
        found: Underbody = self.study.of(underbody, self.character)
        return found

    def _bulk(self, part: str) -> float:
        """By how much the part's flesh is larger than the leg tells: short legs go with large heads and trunks."""
        over_hips = body.base(part) in (*body.CENTRE, "clavicle", "upper_arm", "forearm", "hand")
        return max(1.0, LEG_OF_HEIGHT * self.character.height / self.character.leg_length) if over_hips else 1.0

    def _points(self, part: str, sample: int) -> Array:
        """Places (3, 3) along the part: its joint, middle and end."""
        a, b = self.character.head(part)[sample], self.character.end(part)[sample]
        return np.stack([a, (a + b) / 2, b])

    @cached_property
    def _carried_by(self) -> dict[str, set[str]]:
        """Hand -> the parts of its own arm, which are always near."""
        return {f"hand.{s}": {f"{p}.{s}" for p in ("clavicle", "upper_arm", "forearm", "hand")} for s in body.SIDES}

    @staticmethod
    def _distance(points: Array, a: Array, b: Array) -> float:
        """The least distance of points (N, 3) from the line between a and b (3,)."""
        way = b - a
        square = float(way @ way)
        share = np.clip((points - a) @ way / square, 0, 1) if square > 0 else np.zeros(len(points))
        return float(np.linalg.norm(points - a - share[:, None] * way, axis=-1).min())


@measure(Need.JOINTS | Need.PROPS, uses=(underbody,))
def hits(study: Study, character: Character) -> Hits:
    return Hits(study, character)
