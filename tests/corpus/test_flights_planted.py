# SPDX-License-Identifier: GPL-3.0-or-later
"""A flight that a clip plays too slowly is put right, stretched and its landing stopped, and told as asked.
build.py corpus plants in all clips."""

from functools import cache

import pytest
from plumbline.core.catalogue import catalogue
from plumbline.core.testing import corpus
from plumbline.core.testing.plant_flights import floats, posts
from plumbline.core.testing.plants import SIZES, judge, prepared

CLIP = "humanoid3d_spin"
CHECKS = ("airborne", "hard-landing")


@cache
def host():
    return prepared(corpus.at_24(CLIP), [catalogue()[c] for c in CHECKS])


@pytest.mark.parametrize(("plant", "kind"), [(floats, "flight stretched, put right first"),
                                             (posts, "landing stopped, put right first")])
def test_told_as_asked(plant, kind):
    assert [n.kind for n in host().result.notes if n.check == "airborne"] == ["floats"]
    cases = {case.size: case for case in plant(host()) if case.kind == kind}
    assert tuple(cases) == SIZES
    large = cases["large"]
    assert large.severity and not [n for n in large.known.notes if n.check in CHECKS]
    v = judge(large, host().result, host().checks)
    assert v.severity_right and v.worst_right and v.size_right and v.silenced and not v.raised
