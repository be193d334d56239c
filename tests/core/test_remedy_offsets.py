# SPDX-License-Identifier: GPL-3.0-or-later
"""Where remedies bring parts: held against what mending the samples makes of them."""

import numpy as np
import pytest
from plumbline.core.remedy import Balance, Drift, Ease, Land, Move, Settle, Soften
from plumbline.core.remedy_offsets import offsets_of
from plumbline.core.testing import edit
from plumbline.core.testing.mend import mend
from plumbline.core.testing.puppet import act

UP = ((0.0, 0.0, 0.0), (0.0, 0.01, 0.03), (0.0, 0.0, 0.0))


@pytest.fixture
def shot():  # type: ignore[no-untyped-def]
    return act({}, np.zeros((30, 3)))


def ends(shot, part):  # type: ignore[no-untyped-def]
    return shot.characters[0].end(part)


def test_parts_are_told_from_the_root_outward(shot) -> None:  # type: ignore[no-untyped-def]
    found = offsets_of(Settle(("hand.L", "head", "chest", "pelvis"), (5, 7), (UP,) * 4), shot, shot.characters[0])
    order = [o.part for o in found]
    assert order[0] == "pelvis"
    assert order.index("chest") < order.index("head") and order.index("chest") < order.index("hand.L")
    assert all(o.first == 5 and np.allclose(o.offsets, UP) and not o.own for o in found)


def test_a_drift_swings_each_end_about_its_own_joint(shot) -> None:  # type: ignore[no-untyped-def]
    remedy = Drift(("head",), (1.0, 0.0, 0.0), (0.0, 4.0, 0.0), (10, 12))
    (found,) = offsets_of(remedy, shot, shot.characters[0])
    before, after = ends(shot, "head"), ends(mend(shot, remedy, shot.characters[0].name), "head")
    rows = [int(np.abs(shot.frames - f).argmin()) for f in (10, 11, 12)]
    assert found.own and np.allclose(found.offsets, (after - before)[rows], atol=1e-9)
    assert np.linalg.norm(found.offsets[1]) > 0.005


def test_a_move_is_told_frame_by_frame_or_not_at_all(shot) -> None:  # type: ignore[no-untyped-def]
    who = shot.characters[0]
    assert len(offsets_of(Soften("hand.L", (5, 7), UP, "toward the shoulder"), shot, who)) == 1
    assert not offsets_of(Move("hand.L", UP[1], (5, 7), 6, offsets=UP), shot, who), "it moves frames beside as well"
    assert not offsets_of(Move("hand.L", UP[1], (5, 7)), shot, who)
    hips = Balance("pelvis", (5, 7), UP, "", ("foot.R", "foot.L"))
    assert [o.part for o in offsets_of(hips, shot, who)] == ["pelvis"], "legs without goals go with it by themselves"
    found = offsets_of(hips, shot, edit.with_goals(who, ["leg.R"]))
    assert [(o.part, o.first) for o in found] == [("pelvis", 5), ("foot.R", 5)]
    assert all(np.allclose(o.offsets, UP) for o in found)
    assert not offsets_of(Ease(("head",), (5, 7)), shot, who)
    assert offsets_of(Land("head", (9, 9), UP[1:2]), shot, who)[0].first == 9
