# SPDX-License-Identifier: GPL-3.0-or-later
"""Which frames are looked at while a kiss goes on, and how near to the truth is what is worked out between them."""

import numpy as np
import pytest
from plumbline.core.kiss import Kiss, PairKisses, Thing
from plumbline.core.measures.kiss_between import told
from plumbline.core.measures.kisses import closer_look, first_look, follow, held, same, second_look, stride

LANTERN, HEAD = Thing("Lantern", "prop"), Thing("head", "part", "Keeper", ("head",))
COUNT = 90


def kiss(sample: int, gap: float, x: float = 500.0) -> Kiss:
    return Kiss(sample, gap, "parallel", (x + 3.0 * sample, 400.0), (1.0, 0.0), 3.0, 3.5)


def looked_at(truth: dict[int, list[Kiss]], rate: float) -> tuple[set[int], tuple[Kiss, ...]]:
    """The samples that the passes look at, as the second pass over a shot does, and the kisses found or worked out."""
    passed = np.ones((1, COUNT), bool)
    seen = set(first_look(passed, rate).tolist())
    between = told({s: truth.get(s, []) for s in seen}, passed[0], np.zeros(COUNT, int), stride(rate), 3.0)
    hits, steady = np.zeros_like(passed), np.zeros_like(passed)
    hits[0, [s for s in seen if truth.get(s)]] = True
    steady[0, list(between)] = True
    seen |= set(np.flatnonzero(second_look(passed, hits, rate, steady)[0]).tolist())

    def found() -> tuple[Kiss, ...]:
        worked_out = [k for some in between.values() for k in some if k.sample not in seen]
        return tuple(sorted([*worked_out, *(k for s in seen for k in truth.get(s, []))], key=lambda k: k.sample))

    for _ in range(3):
        looked = np.zeros(COUNT, bool)
        looked[sorted(seen)] = True
        for track in follow(PairKisses(LANTERN, HEAD, found()), [slice(0, COUNT)]):
            seen |= set(closer_look(track, looked, passed[0]))
    return seen, found()


def apart(truth: dict[int, list[Kiss]], found: tuple[Kiss, ...]) -> float:
    """U between what was found and the truth, at worst."""
    return max((abs(k.gap - truth[k.sample][0].gap) for k in found), default=0.0)


@pytest.mark.parametrize("rate", [24.0, 25.0, 30.0, 60.0])
@pytest.mark.parametrize("start", [9, 10, 11])
def test_start_end_and_nearest_are_those_of_every_frame(rate: float, start: int) -> None:
    for stop in range(start + int(np.ceil(0.25 * rate)), COUNT - 1, 4):
        length = stop - start
        gaps = 1.6 - 1.5 * np.sin(np.pi * (np.arange(start, stop) - start + 0.5) / length)
        truth = {s: [kiss(s, float(g))] for s, g in zip(range(start, stop), gaps, strict=True)}
        seen, found = looked_at(truth, rate)
        tracks = follow(PairKisses(LANTERN, HEAD, found), [slice(0, COUNT)])
        assert len(tracks) == 1 and (tracks[0].samples[0], tracks[0].samples[-1]) == (start, stop - 1)
        assert held(tracks[0], 3.0, int(np.ceil(0.25 * rate)))
        worst = min(found, key=lambda k: abs(k.gap))
        assert worst.sample in seen and abs(worst.gap) - np.abs(gaps).min() < 0.1
        assert apart(truth, found) < 0.3
        if length > 40:
            assert len(seen & set(range(start, stop))) < (0.6 if stride(rate) == 3 else 0.5) * length


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
    assert same(truth[18], truth[21]) is None and same(truth[12], truth[15]) == truth[15] and same([], []) is None
    assert same(truth[12], [*truth[15], kiss(15, 1.0, 900.0)]) is None


@pytest.mark.parametrize("rate", [24.0, 30.0, 60.0])
@pytest.mark.parametrize("cycles", [0.5, 1.0, 1.5])
def test_what_is_worked_out_is_within_a_fraction_of_a_pixel(rate: float, cycles: float) -> None:
    """A sway of the whole 3 px, up to three times as fast as a walk's side to side."""
    for phase in np.linspace(0.0, 2.0 * np.pi, 12, endpoint=False):
        gaps = 2.9 * np.sin(2.0 * np.pi * cycles * np.arange(COUNT) / rate + phase)
        truth = {s: [kiss(s, float(g))] for s, g in enumerate(gaps)}
        seen, found = looked_at(truth, rate)
        assert [k.sample for k in found] == list(range(COUNT)) and (cycles > 1.0 or len(seen) < 0.65 * COUNT)
        assert apart(truth, found) < 0.3, (phase, len(seen))
        assert min(abs(k.gap) for k in found if k.sample in seen) < np.abs(gaps).min() + 0.25


@pytest.mark.parametrize("stop", range(30, 36))
@pytest.mark.parametrize("start", [2.9, -2.9])
def test_a_sudden_stop_is_looked_at_or_told_within_a_pixel(start: float, stop: int) -> None:
    """A lantern that drifts by 2 px and then stands, in whichever frame it stops."""
    for way, most in ((0.15, 0.1), (0.3, 0.2), (0.6, 0.4), (1.2, 0.8)):
        gaps = start - np.sign(start) * way * np.clip(np.arange(COUNT) - stop + 2.0 / way, 0.0, 2.0 / way)
        for series in (gaps, gaps[::-1]):
            truth = {s: [kiss(s, float(g))] for s, g in enumerate(series)}
            seen, found = looked_at(truth, 24.0)
            assert [k.sample for k in found] == list(range(COUNT)) and apart(truth, found) < most, way
            assert len(seen) < 0.6 * COUNT


def test_nothing_is_worked_out_over_what_is_not_known() -> None:
    """A cut, a frame in which the pair is not judged, a bend, and a kiss of two looks alone."""
    passed, run = np.ones(COUNT, bool), np.zeros(COUNT, int)
    found = {s: [kiss(s, 1.0)] for s in range(12, 40, 3)}
    assert list(told(found, passed, run, 3, 3.0)) == list(range(12, 39, 3))
    assert list(told(found, passed, (np.arange(COUNT) >= 20).astype(int), 3, 3.0)) == [12, 15, 21, 24, 27, 30, 33, 36]
    passed[26] = False
    assert 24 not in told(found, passed, run, 3, 3.0) and 27 in told(found, passed, run, 3, 3.0)
    bent = found | {24: [kiss(24, -2.9)]}
    assert not {18, 21, 24, 27} & set(told(bent, np.ones(COUNT, bool), run, 3, 3.0))
    assert not told({12: found[12], 15: found[15]}, np.ones(COUNT, bool), run, 3, 3.0)
    assert not told({s: [kiss(s, 1.0)] for s in range(COUNT)}, np.ones(COUNT, bool), run, 1, 3.0)
