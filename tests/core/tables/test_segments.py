# SPDX-License-Identifier: GPL-3.0-or-later
"""The published tables: whole, and of one piece with what the publications print of the whole trunk."""

import numpy as np
import pytest
from plumbline.core.tables.segments import CENTER, LIMBS, TABLES

#: The whole trunk from C7 to the middle of the hips as de Leva prints it: center from C7, radii of gyration about the
#: front-to-back and the side-to-side axis; then the center from the middle of the shoulders.
TRUNK = {"male": (0.5138, 0.328, 0.306, 0.4310), "female": (0.4964, 0.307, 0.292, 0.3782)}


@pytest.mark.parametrize("name", TABLES)
def test_a_body_is_whole(name):
    table = TABLES[name]
    assert set(table.segments) == {*CENTER, *LIMBS} and table.source
    total = sum(table.segments[n].share for n in CENTER) + 2 * sum(table.segments[n].share for n in LIMBS)
    assert total == pytest.approx(1.0, abs=2e-4)
    assert sum(table.trunk) == pytest.approx(1.0, abs=1e-9)
    for segment in table.segments.values():
        sagittal, transverse, along = (r * r for r in segment.gyration)
        assert 0 < segment.center < 1
        assert 2 * max(sagittal, transverse, along) < sagittal + transverse + along, "no solid turns so"


@pytest.mark.parametrize("name", TRUNK)
def test_three_pieces_are_the_published_trunk(name):
    """The lengths of the pieces are not printed: these follow from the rows, and give the row of the whole trunk."""
    table, (center, sagittal, transverse, from_shoulders) = TABLES[name], TRUNK[name]
    pieces = [table.segments[n] for n in CENTER[1:]]
    starts = np.cumsum([0.0, *table.trunk[:2]])
    share = np.array([p.share for p in pieces]) / sum(p.share for p in pieces)
    places = np.array([a + p.center * length for a, p, length in zip(starts, pieces, table.trunk, strict=True)])
    middle = float(share @ places)
    assert middle == pytest.approx(center, abs=5e-5)
    for axis, radius in ((0, sagittal), (1, transverse)):
        own = np.array([p.gyration[axis] * length for p, length in zip(pieces, table.trunk, strict=True)])
        assert float(np.sqrt(share @ (own**2 + (places - middle) ** 2))) == pytest.approx(radius, abs=5e-4)
    assert table.c7 * (1 - middle) == pytest.approx(1 - from_shoulders, abs=1e-4)


def test_the_mean_lies_between_men_and_women():
    mean, male, female = (TABLES[n] for n in ("mean", "male", "female"))
    for n in mean.segments:
        a, b, c = (t.segments[n] for t in (male, mean, female))
        assert b.share == pytest.approx((a.share + c.share) / 2)
        assert b.center == pytest.approx((a.center + c.center) / 2)


def test_dempsters_trunk_has_its_center_halfway():
    table = TABLES["dempster"]
    pieces = [table.segments[n] for n in CENTER[1:]]
    starts = np.cumsum([0.0, *table.trunk[:2]])
    share = np.array([p.share for p in pieces])
    places = np.array([a + p.center * length for a, p, length in zip(starts, pieces, table.trunk, strict=True)])
    assert share.sum() == pytest.approx(0.497) and (share > 0).all()
    assert table.c7 * (1 - share @ places / share.sum()) == pytest.approx(0.5)
