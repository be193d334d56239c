# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults of balance and flight planted in a captured and a keyed walk and at rest: told as asked, on the right frame,
at the right size, and mended. build.py corpus plants them in all clips."""

from functools import cache

import pytest
from plumbline.core.testing.plant_carries import carries
from plumbline.core.testing.plant_flights import caught, throws
from plumbline.core.testing.plant_tilts import tilts
from plumbline.core.testing.plants import Verdict, judge

from .hosts import host

CLIP = "test_freebvh"
HOSTS = ("captured", "keyed")
FAMILIES = {"throws": throws, "caught": caught, "carries": carries, "tilts": tilts}


@cache
def verdicts(family: str, kind: str) -> list[Verdict]:
    """One place of each kind of fault, all sizes."""
    taken: dict[tuple[str, str], Verdict] = {}
    for case in FAMILIES[family](host(CLIP, kind)):
        if (case.kind, case.size) not in taken:
            taken[case.kind, case.size] = judge(case, host(CLIP, kind).result)
    return list(taken.values())


@pytest.mark.parametrize("kind", HOSTS)
@pytest.mark.parametrize("family", FAMILIES)
def test_told_as_asked_and_mended(family: str, kind: str) -> None:
    found = verdicts(family, kind)
    assert len(found) >= 3
    for v in found:
        name = f"{v.case.name}: {v.note.text if v.note else 'no note'}"
        if v.case.severity is None:
            assert v.note is None or v.note.severity.rank == 0, name
            continue
        assert v.severity_right and v.worst_right and v.size_right, name
        assert v.silenced, name
        assert not v.raised, f"{name}: {[n.text for n in v.raised]}"
        assert v.alone, f"{name}: {[n.text for n in v.others]}"
