# SPDX-License-Identifier: GPL-3.0-or-later
"""Which frames are looked at while a kiss goes on: two of three tell its first frame, its last and its nearest."""

import numpy as np
import pytest
from plumbline.core.kiss import Kiss, PairKisses, Thing
from plumbline.core.measures.kisses import closer_look, first_look, follow, goes_on, held, second_look, stride

LANTERN, HEAD = Thing("Lantern", "prop"), Thing("head", "part", "Keeper", ("head",))
COUNT = 90


def kiss(sample: int, gap: float, x: float = 500.0) -> Kiss:
    return Kiss(sample, gap, "parallel", (x + 3.0 * sample, 400.0), (1.0, 0.0), 3.0, 3.5)


def looked_at(truth: dict[int, list[Kiss]], rate: float) -> tuple[set[int], tuple[Kiss, ...]]:
    """The samples that the passes look at, as the second pass over a shot does, and the kisses found there."""
    passed = np.ones((1, COUNT), bool)
    seen = set(first_look(passed, rate).tolist())
    hits, steady = np.zeros_like(passed), np.zeros_like(passed)
    for sample in seen:
        hits[0, sample] = bool(truth.get(sample))
        later = sample + stride(rate)
        steady[0, sample] = goes_on(truth.get(sample, []), truth.get(later, []) if later in seen else [])
    seen |= set(np.flatnonzero(second_look(passed, hits, rate, steady)[0]).tolist())
    looked = np.zeros(COUNT, bool)
    looked[sorted(seen)] = True

    def found() -> tuple[Kiss, ...]:
        return tuple(k for sample in sorted(seen) for k in truth.get(sample, []))

    for track in follow(PairKisses(LANTERN, HEAD, found()), [slice(0, COUNT)]):
        seen |= set(closer_look(track, looked, passed[0]))
    return seen, found()


@pytest.mark.parametrize("rate", [24.0, 25.0, 30.0, 60.0])
@pytest.mark.parametrize("start", [9, 10, 11])
def test_start_end_and_nearest_are_those_of_every_frame(rate: float, start: int) -> None:
    for stop in range(start + int(np.ceil(0.25 * rate)), COUNT - 1):
        length = stop - start
        gaps = 1.6 - 1.5 * np.sin(np.pi * (np.arange(start, stop) - start + 0.5) / length)
        truth = {s: [kiss(s, float(g))] for s, g in zip(range(start, stop), gaps, strict=True)}
        seen, found = looked_at(truth, rate)
        tracks = follow(PairKisses(LANTERN, HEAD, found), [slice(0, COUNT)])
        assert len(tracks) == 1 and (tracks[0].samples[0], tracks[0].samples[-1]) == (start, stop - 1)
        assert held(tracks[0], 3.0, int(np.ceil(0.25 * rate)))
        assert min(abs(k.gap) for k in found) - np.abs(gaps).min() < 0.1
        if length > 40:
            assert len(seen & set(range(start, stop))) < 0.8 * length


def test_a_kiss_passed_through_between_two_looks_is_seen() -> None:
    """Outside by 0.9 px, inside by 0.9 px three frames later: between them it touches."""
    gaps = {s: float(np.clip(0.6 * (30 - s) + 0.3, -2.0, 2.0)) for s in range(15, 48)}
    _, found = looked_at({s: [kiss(s, g)] for s, g in gaps.items()}, 24.0)
    assert min(abs(k.gap) for k in found) <= min(map(abs, gaps.values())) + 0.5


def test_one_place_that_ends_as_another_begins_is_looked_at_on_every_frame() -> None:
    truth = {s: [kiss(s, 1.0)] for s in range(9, 20)} | {s: [kiss(s, 1.0, 900.0)] for s in range(20, 33)}
    _, found = looked_at(truth, 24.0)
    tracks = follow(PairKisses(LANTERN, HEAD, found), [slice(0, COUNT)])
    assert [(t.samples[0], t.samples[-1]) for t in tracks] == [(9, 19), (20, 32)]
    assert not goes_on(truth[18], truth[21]) and goes_on(truth[12], truth[15]) and not goes_on([], [])
    assert not goes_on(truth[12], [*truth[15], kiss(15, 1.0, 900.0)])
