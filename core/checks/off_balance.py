# SPDX-License-Identifier: GPL-3.0-or-later
"""off-balance: a body that leans and does not fall."""
from collections.abc import Iterator
from typing import ClassVar

from ..check import Check
from ..measures.flights import unfit
from ..measures.mass import masses
from ..measures.mass_held import held_loads
from ..measures.mass_motion import mass_motion, told
from ..measures.outside import LIMIT, findings, outsides
from ..need import Need
from ..note import Limit, Note
from ..shot import Character
from ..study import Study


class OffBalance(Check):
    """A body that leans and does not fall.

    Seen as: the hips hang over nothing: the figure stands with its weight beside its feet.
    Measures: where the ground must push, by the motion of the whole mass, against the hull of all that stands on it,
    feet that slide or skim the ground within 0.04 of the leg included, and hands that stay where they are while the
    trunk goes; what lies outside, less 20 % of how far the point is from under the center
    of mass, since that part is not known better. What is held for 0.12 s decides, the span's largest is told. Named so
    where the point stays within 0.1 of the leg of the plumb line: the body hardly accelerates.
    Limit: 0.10 low, 0.15 medium, 0.25 high, of the leg, held: 8, 13 and 21 cm on an adult. Captured walks, turns,
    fights and jumps stay under 0.03, steps over ground that the scene does not show at 0.10. Common practice, no
    source. Not on trial: on clean clips nothing is above low, and planted leans are told (docs/corpus_weight.md).
    Silent when: hands, knees, hips or head are low enough to carry; within 0.1 s of a flight; in the first and last
    0.13 s of the shot. Stepped motion and figures without known masses are said as skipped. Never more than low for a
    figure whose masses are only a guess, since it is not built like people.
    Cannot see: what is held for less than 0.12 s; a lean by hip or back on what no mesh of the scene shows; where no
    mesh shows what is below, hips that are low and still, since they may sit; 10 degrees of lean
    forward or back, which the feet's length holds; a foot lifted by a few centimeters from one that stands, and one
    held still in the air toward which the body leans, since it may stand on what the scene does not show. The choice of
    the table of masses is worth 1 to 2 cm.
    Remedy: the smallest smooth change of the hips' path that brings the point back inside, frame by frame, feet that
    stand staying, those that do not going along, hips lower where legs would not reach and higher where one that leans
    would fold as it comes upright.
    """
    lane = "Balance"
    uses = (outsides, mass_motion, masses, held_loads)
    own_needs = Need.JOINTS | Need.KEYS  # keys for the note to name, never for the finding
    groups = (("pelvis", "foot.L", "foot.R"),)
    metric = True
    limit: ClassVar[Limit] = LIMIT

    def unjudged(self, study: Study, character: Character) -> str:
        return unfit(study, character)

    def run(self, study: Study, character: Character | None) -> Iterator[Note]:
        assert character is not None
        for found in findings(study, character, leans=True, moved=self.moved(character)):
            yield self.note(
                study, character, "pelvis", (found.span.first, found.span.last), found.span.worst,
                severity=found.severity, measured=found.measured, limit=found.limit,
                text=f"The body leans {100 * found.measured:.0f} cm beyond what stands and does not fall, from frame "
                     f"{found.frames[0]} to {found.frames[1]}{told(study, character)}",
                remedy=found.remedy, evidence=found.evidence, kind="leans", keys=found.keys)
