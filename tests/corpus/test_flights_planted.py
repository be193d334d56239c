# SPDX-License-Identifier: GPL-3.0-or-later
"""A flight that a clip plays too slowly is put right, stretched and its landing stopped, and the keeper's hop likewise:
told as asked. build.py corpus plants in all clips."""

from functools import cache

import numpy as np
import pytest
from plumbline.core.catalogue import catalogue
from plumbline.core.checks.hard_landing import impacts
from plumbline.core.measures.flights import flights
from plumbline.core.study import Study
from plumbline.core.testing import corpus
from plumbline.core.testing.plant_flights import floats, posts
from plumbline.core.testing.plants import SIZES, judge, prepared, review

from tests.corpus.flown import HOP

CLIP = "humanoid3d_spin"
CHECKS = ("airborne", "hard-landing")


@cache
def host():
    return prepared(corpus.at_24(CLIP), [catalogue()[c] for c in CHECKS])


@cache
def hop():
    return prepared(HOP.make(), [catalogue()[c] for c in CHECKS])


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


@pytest.mark.parametrize(("plant", "kind", "severity"), [(floats, "flight stretched", "high"),
                                                         (posts, "landing stopped", "medium")])
def test_the_keepers_hop_is_told_as_asked(plant, kind, severity):
    large = next(case for case in plant(hop()) if (case.kind, case.size) == (kind, "large"))
    v = judge(large, hop().result, hop().checks)
    assert v.note.severity == large.severity == severity
    assert v.worst_right and v.size_right and v.silenced and v.alone and not v.raised


def test_the_keepers_hop_is_what_a_body_does():
    """All checks are silent; it falls by one gravity, goes down before it and after it, and on no frame is the ground
    asked for a push beyond its soles."""
    shot, c = hop().shot, hop().shot.characters[0]
    assert not review(shot).notes
    flight, = Study(shot).of(flights, c).found
    assert flight.pull == pytest.approx(1.0, abs=0.03) and flight.push < 0.05
    off, landing = impacts(Study(shot), c, [flight])
    assert 1.2 < off.force < 3 and 1.2 < landing.force < 3 and off.give > 0.2 and landing.give > 0.2
    assert c.keys is not None and np.bincount(c.keys.channel).max() < 12, "sparse keys"
