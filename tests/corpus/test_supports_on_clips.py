# SPDX-License-Identifier: GPL-3.0-or-later
"""Contacts on real motion: the same at every rate, and none but those that there are."""
import numpy as np
import pytest
from plumbline.core.measures.supports import Supports, supports
from plumbline.core.study import Study
from plumbline.core.testing import clips, corpus

#: s: a contact that two rates show begins and ends within this of each other in both.
NEAR = 0.05


def _of(name: str, fps: float) -> tuple[Supports, float]:
    shot = clips.load(name, fps)
    return Study(shot).of(supports, shot.characters[0]), shot.rate


def _spans(found: Supports, rate: float, part: str) -> list[tuple[float, float]]:
    """Seconds of each contact of a part, infinite where the clip cuts it."""
    return [(-np.inf if s.span.on is None else s.span.on / rate, np.inf if s.span.off is None else s.span.off / rate)
            for s in found.found if s.part == part]


# humanoid3d_walk is left out: its figure jumps by 10 cm at 0.62 s, between a heel's touch and its stand
@pytest.mark.parametrize("name", ("humanoid3d_jump", "humanoid3d_cartwheel", "humanoid3d_spinkick", "test_freebvh",
                                  "test_mocapbank", "turn_left0", "turn_left1", "turn_right0", "turn_right1"))
def test_every_rate_shows_the_same_contacts(name: str) -> None:
    seen = {fps: _of(name, fps) for fps in corpus.rates_of(clips.clip(name).fps)}
    own = next(iter(seen.values()))
    end = clips.load(name).times[-1]
    for found, rate in seen.values():
        assert not [s for s in found.found if not s.bears], "every contact bears weight"
        for part in own[0].parts:
            here, there = _spans(*own, part), _spans(found, rate, part)
            assert len(here) == len(there), part
            for a, b in zip(here, there, strict=True):
                for x, y in zip(a, b, strict=True):
                    if 0.15 < x < end - 0.15:
                        assert x == pytest.approx(y, abs=2 * NEAR if part[:4] != "foot" else NEAR), part


@pytest.mark.parametrize("fps", (24.0, 30.0, 60.0))
def test_a_jump_flies_as_long_as_its_parabola(fps: float) -> None:
    """0.42 s: the flight at which the body's own parabola reads one gravity."""
    found, rate = _of("humanoid3d_jump", fps)
    feet = [_spans(found, rate, f"foot.{s}") for s in "LR"]
    left, landed = max(f[0][1] for f in feet), min(f[1][0] for f in feet)
    assert landed - left == pytest.approx(0.42, abs=0.02)


@pytest.mark.parametrize("name", ("humanoid3d_walk", "test_freebvh", "turn_left0", "turn_right1"))
def test_who_walks_is_never_in_the_air(name: str) -> None:
    for fps in corpus.rates_of(clips.clip(name).fps):
        found, _ = _of(name, fps)
        assert found.touches.any(0).all()


def test_hands_carry_a_cartwheel_one_after_the_other() -> None:
    found, rate = _of("humanoid3d_cartwheel", 60.0)
    (left,), (right,) = _spans(found, rate, "hand.L"), _spans(found, rate, "hand.R")
    assert left[0] < right[0] < left[1] + 0.05 < right[1]
    feet = [_spans(found, rate, f"foot.{s}") for s in "LR"]
    gap = max(off for spans in feet for on, off in spans if on < 0.9), min(
        on for spans in feet for on, _ in spans if on > 1.3)
    # hands hold while no foot stands, but for the push into them and the landing out of them
    assert gap[0] - 0.1 < left[0] < gap[0] + 0.1 and gap[1] - 0.15 < right[1] < gap[1] + 0.1


def test_who_kneels_does_so_on_one_knee() -> None:
    found, rate = _of("test_mocapbank", 30.0)
    (knee,) = _spans(found, rate, "knee.R")
    assert 4.5 < knee[0] < 5.5 and 10.5 < knee[1] < 11.5
    assert not _spans(found, rate, "seat") and not _spans(found, rate, "knee.L")
