# SPDX-License-Identifier: GPL-3.0-or-later
"""Hard stops, freezes, locked heads and blocks planted in two clips each are found by their check alone, and mended.

build.py corpus plants them in every clip, and counts them at three sizes on docs/corpus_spacing.md.
"""

from collections.abc import Callable, Iterator

import pytest
from plumbline.core.testing import corpus
from plumbline.core.testing.plant_blocks import blocks
from plumbline.core.testing.plant_freezes import freezes
from plumbline.core.testing.plant_locks import locks
from plumbline.core.testing.plant_stops import stops
from plumbline.core.testing.plants import SIZES, Case, Clean, Verdict, judge, prepared

from .hosts import host

#: Family -> captured clip, clip keyed anew.
FAMILIES: dict[Callable[[Clean], Iterator[Case]], tuple[str, str]] = {
    stops: ("humanoid3d_getup_facedown", "humanoid3d_jump"),
    freezes: ("humanoid3d_dance_a", "humanoid3d_jump"),
    locks: ("humanoid3d_getup_facedown", "humanoid3d_jump"),
    # dances have faults of balance of their own: build.py corpus plants in none
    blocks: ("humanoid3d_getup_facedown", "humanoid3d_jump"),
}
CHECKS = {stops: "dead-stop", freezes: "frozen-part", locks: "stuck-in-space", blocks: "twinned-stop"}


@pytest.fixture(scope="module")
def hosts() -> dict[str, Clean]:
    captured = {clip for clip, _ in FAMILIES.values()}
    keyed = {clip for _, clip in FAMILIES.values()}
    return {clip: host(clip, "captured") for clip in captured} | {
        f"{clip}, keyed": host(clip, "keyed") for clip in keyed}


@pytest.fixture(scope="module", params=FAMILIES, ids=lambda family: family.__name__)
def verdicts(request: pytest.FixtureRequest, hosts: dict[str, Clean]) -> list[Verdict]:
    """The first case of each size, of each host."""
    captured, keyed = FAMILIES[request.param]
    out = []
    for clean in (hosts[captured], hosts[f"{keyed}, keyed"]):
        first: dict[str, Case] = {}
        for case in request.param(clean):
            first.setdefault(case.size, case)
        out += [judge(first[size], clean.result) for size in SIZES if size in first]
    assert {v.case.check for v in out} == {CHECKS[request.param]}
    return out


def test_large_and_middle_ones_are_found_at_their_severity(verdicts: list[Verdict]) -> None:
    asked = [v for v in verdicts if v.case.size != "small"]
    assert {v.case.size for v in asked} == {"middle", "large"} and len(asked) >= 3
    assert all(v.severity_right for v in asked), [v.case.name for v in asked if not v.severity_right]


def test_the_note_tells_the_frame_and_the_size(verdicts: list[Verdict]) -> None:
    found = [v for v in verdicts if v.note is not None]
    assert all(v.worst_right for v in found), [(v.case.name, v.case.worst, v.note) for v in found if not v.worst_right]
    assert all(v.size_right is not False for v in found), [v.case.name for v in found if v.size_right is False]


def test_no_other_check_speaks_of_it_above_low(verdicts: list[Verdict]) -> None:
    """Beside its own note none; where that is missing, which is counted elsewhere, one at most: a head that is left
    behind and not seen to catch up stops."""
    loud = [(v, [o.text for o in v.others if o.severity.rank]) for v in verdicts]
    assert not [(v.case.name, texts) for v, texts in loud if len(texts) > (v.note is None)]


def test_the_remedy_silences_and_raises_nothing(verdicts: list[Verdict]) -> None:
    found = [v for v in verdicts if v.note is not None]
    assert all(v.silenced for v in found) and not [o.text for v in found for o in v.raised]


def test_planting_is_the_same_every_time(hosts: dict[str, Clean]) -> None:
    clean = hosts["humanoid3d_dance_a"]
    for family in (freezes, blocks):
        names = [case.name for case in family(clean)]
        assert names and names == [case.name for case in family(prepared(corpus.at_24("humanoid3d_dance_a")))]
