# SPDX-License-Identifier: GPL-3.0-or-later
"""undriven-move: a body that is carried along with nothing pushing it."""
from collections.abc import Iterator
from typing import ClassVar

from ..check import Check
from ..measures.flights import unfit
from ..measures.mass import masses, only_guessed
from ..measures.mass_held import held_loads
from ..measures.mass_motion import mass_motion, told
from ..measures.outside import LIMIT, findings, outsides
from ..need import Need
from ..note import Limit, Note
from ..shot import Character
from ..study import Study


class UndrivenMove(Check):
    """A body that is carried along with nothing pushing it.

    Seen as: the hips slide off, speed up or stop as if pulled on a string, the legs trailing.
    Measures: where the ground must push to make the motion of the whole mass, against the hull of all that stands on
    it, feet that slide or skim the ground within 0.04 of the leg included, and hands that stay where they are while the
    trunk goes; what lies outside, less 20 % of how far the point is from under the
    center of mass, since that part is not known better. What is held for 0.12 s decides, the span's largest is told.
    Where the point stays within 0.1 of the leg of the plumb line it is off-balance instead.
    Limit: 0.10 low, 0.15 medium, 0.25 high, of the leg, held: 8, 13 and 21 cm on an adult. Captured walks, turns,
    fights and jumps stay under 0.03, steps over ground that the scene does not show at 0.10. Common practice, no
    source. Not on trial: on clean clips nothing is above low but their own faults, and planted carries are told
    (docs/corpus_weight.md).
    Silent when: hands, knees, hips or head are low enough to carry; within 0.1 s of a flight; in the first and last
    0.13 s of the shot. A shift of weight of 10 cm in 0.5 s, or 20 cm in 1 s, over two feet that stand: people do it.
    Stepped motion and figures without known masses are said as skipped, and so are those whose masses are only a
    guess, since they are not built like people: of a cartoon with a large head the same motion is driven from well
    inside what stands by people's shares of mass, and from legs outside by the volume of its mesh.
    Cannot see: what is held for less than 0.12 s; a push at a wall by hands or feet that slide along it. The choice of
    the table of masses is worth 1 to 2 cm.
    Remedy: the smallest smooth change of the hips' path that brings the point back inside, frame by frame, feet that
    stand staying, those that do not going along, hips lower where legs would not reach: mostly an earlier start and a
    later stop.
    """
    lane = "Balance"
    uses = (outsides, mass_motion, masses, held_loads)
    own_needs = Need.JOINTS | Need.KEYS  # keys for the note to name, never for the finding
    groups = (("pelvis", "foot.L", "foot.R"),)
    metric = True
    limit: ClassVar[Limit] = LIMIT

    def unjudged(self, study: Study, character: Character) -> str:
        return only_guessed(study.of(masses, character)) or unfit(study, character)

    def run(self, study: Study, character: Character | None) -> Iterator[Note]:
        assert character is not None
        for found in findings(study, character, leans=False, moved=self.moved(character)):
            yield self.note(
                study, character, "pelvis", (found.span.first, found.span.last), found.span.worst,
                severity=found.severity, measured=found.measured, limit=found.limit,
                text=f"Nothing drives the body from frame {found.frames[0]} to {found.frames[1]}: its motion needs a "
                     f"push {100 * found.measured:.0f} cm beyond what stands{told(study, character)}",
                remedy=found.remedy, evidence=found.evidence, kind="undriven", keys=found.keys)
