# SPDX-License-Identifier: GPL-3.0-or-later
"""A planted fault counts as found where a note tells of it, though the note tells of one that was there before too."""

from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.check import Check
from plumbline.core.note import Limit, Result, Severity
from plumbline.core.study import Study
from plumbline.core.testing.plants import Case, judge
from plumbline.core.testing.puppet import act


class Spells(Check):
    """Low notes over two spells, which the review tells as one; its name is this file's."""

    lane = "Balance"
    limit = Limit(1.0, 2.0, 3.0, "m", "this test")
    spells = ((2, 6, 4, 1.2), (20, 24, 22, 1.5))

    def run(self, study, character):
        for first, last, worst, measured in self.spells:
            yield self.note(study, character, "pelvis", (first, last), worst, severity=Severity.LOW, measured=measured,
                            text="A spell", remedy=None, evidence=())


@pytest.mark.parametrize(("window", "found"), [((19, 25), True), ((1, 7), False)])
def test_low_notes_that_are_told_as_one_hide_none(window, found):
    shot = act({}, np.zeros((49, 3)), 24.0)
    check = Spells()
    before = next(iter(check.run(Study(shot), shot.characters[0])))
    case = Case("spell", "small", shot, check.name, "pelvis", "low", 1.5, 0.1, window, window)
    verdict = judge(case, Result((before,), (), ()), [check])
    assert (verdict.note is not None) == found
    if found:
        assert (verdict.note.start, verdict.note.worst) == (before.start, before.start + 20) and verdict.worst_right
    apart = judge(case, Result((replace(before, start=40, worst=41, end=44),), (), ()), [check])
    assert apart.note is not None, "who never said it does not know it"
