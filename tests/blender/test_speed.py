# SPDX-License-Identifier: GPL-3.0-or-later
"""A review stays cheap against playing the shot once: small versions of the scenes of benchmarks/, CPU against CPU.

Guarded are the whole review over a bare sweep, and on simple figures the core's checks over a bare sweep: what the core
adds to what the host costs. The core's share of the sampling, which docs/speed.md tells, is no guard there: a motion
that its keys tell costs next to nothing to sample, so the share swings by two and more on noise alone.

What is compared is the least that each took over several rounds: what else runs on the machine only ever adds to it.
Each limit is about the worst that the small scene reached on Blender 4.2, 4.5 and 5.2 side by side on two cores, with
a quarter of room; docs/speed.md tells what the whole scenes reach and what is aimed at. Small scenes come out dearer:
what is paid once a figure, such as finding the body map, its skin and its soles, is spread over fewer frames. All tries
must be over before a guard speaks.
"""

import time
from collections.abc import Callable
from typing import Any

import bpy
import pytest
from plumbline.blender_addon.sampling import armatures
from plumbline.blender_addon.sampling.probe import Probe
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.catalogue import chosen
from plumbline.core.runner import finish, needs_of

from .benchmarking import lanes, scenes, timing

ROOM, TRIES = 1.25, 3

Size, Review = scenes.Size, timing.Review

#: The goals are set for these, and a guard takes as long as a hundred other tests.
guarded = pytest.mark.skipif(bpy.app.version < (4, 5), reason="what a review may cost is held on Blender 4.5 and 5.2")


def least(taken: Any, what: str) -> float:
    """The least that one thing took over the rounds to the least of another: 'ratio' is the whole review to a bare
    sweep, 'share' the core's checks to the sampling, 'core' the core's checks to a bare sweep."""
    bare, sampling, checks = (min(getattr(r, name) for r in taken.rounds) for name in ("bare", "sampling", "checks"))
    return float({"ratio": (sampling + checks) / bare, "share": checks / sampling, "core": checks / bare}[what])


def held(scene: Any, rounds: int, reviews: dict[str, Any], limits: dict[str, dict[str, float]]) -> None:
    """Asserts that each review stays within its limits (what ``least`` tells -> the most it may be)."""
    over: list[str] = []
    for _ in range(TRIES):
        taken = timing.take(scene, list(reviews.values()), rounds)
        over = [
            f"{name}: {what} {least(some, what):.3f}, limit {limit:.3f} with a quarter of room"
            for name, some in zip(reviews, taken, strict=True)
            for what, limit in limits[name].items()
            if least(some, what) > ROOM * limit
        ]
        if not over:
            return
    pytest.fail("; ".join(over))


#: Name -> its size, how many rounds (short ones swing more), and the most of the review and of its core.
SIMPLE = {
    "light": (Size(240), 9, 1.15, 0.60),
    "long": (Size(1_000), 3, 0.60, 0.48),
    "crowd": (Size(300, figures=4, skin=2_000), 3, 0.90, 0.35),
}


@guarded
@pytest.mark.parametrize("name", SIMPLE)
def test_simple_figures(name: str) -> None:
    size, rounds, ratio, core = SIMPLE[name]
    scene = scenes.build(name, size)
    held(scene, rounds, {"checks": Review(timing.FOUNDING)}, {"checks": {"ratio": ratio, "core": core}})


@pytest.mark.parametrize("name", ["light", "long", "crowd"])
def test_simple_figures_are_not_stepped(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Their keys tell their motion: Blender evaluates a few frames to prove it, and for the ground."""
    scene = scenes.build(name, Size(200, figures=3 if name == "crowd" else 1))
    frames, going = [], Probe.to

    def to(inside: Probe, frame: float) -> Any:
        frames.append(frame)
        return going(inside, frame)

    monkeypatch.setattr(Probe, "to", to)
    shot = sweep_now(scene, Request(needs_of(chosen(list(timing.JOINTS)))))
    assert len(shot.frames) >= 200 and len(frames) <= 16


@guarded
def test_a_rig_among_heavy_meshes() -> None:
    scene = scenes.build("rigify", Size(30, skin=12_000, meshes=12))

    def hung(kissing: float) -> Callable[[], None]:
        return lambda: scenes.hang_lantern(scene, kissing)

    reviews = {
        "joints and soles": Review(timing.JOINTS, hung(0.0)),
        "outlines on 3 of 10 frames": Review(timing.FOUNDING, hung(0.3)),
    }
    held(
        scene,
        2,
        reviews,
        {"joints and soles": {"ratio": 0.58, "share": 0.13}, "outlines on 3 of 10 frames": {"ratio": 1.30}},
    )


def test_lanes_cost_the_core_little() -> None:
    """For 1,000 frames of one figure, with a quarter of room."""
    found = lanes.costs(scenes.build("crowd", Size(1_000, skin=2_000)))
    assert not {group: told for group, told in found.items() if told > ROOM * lanes.GOALS[group]}


@pytest.mark.parametrize("skin", [1_200, 20_000])
def test_no_thread_goes_on_behind_a_review(skin: int) -> None:
    """A threaded product or inverse leaves threads behind that spin for 30 ms, as long as all checks of a short shot
    take. Blender's own workers take a millisecond to go to rest."""
    scene = scenes.build("light", Size(240, skin=skin))

    def behind() -> float:
        review()
        started = time.process_time()
        time.sleep(0.06)
        return time.process_time() - started

    def review() -> None:
        armatures._found.clear()  # the body map is found anew
        judged = chosen(list(timing.FOUNDING))
        finish(sweep_now(scene, Request(needs=needs_of(judged))), judged)

    assert min(behind() for _ in range(4)) < 0.005


def test_no_thread_spins_beside_the_checks() -> None:
    """Of a longer shot too: what the checks cost is what this thread spends on them."""
    judged = chosen(list(timing.FOUNDING))
    shot = sweep_now(scenes.build("long", Size(1_000)), Request(needs=needs_of(judged)))

    def others() -> float:
        started = time.process_time() - time.thread_time()
        finish(shot, judged)
        return time.process_time() - time.thread_time() - started

    assert min(others() for _ in range(3)) < 0.005


def test_a_slow_review_would_be_seen() -> None:
    """The guard is no rubber stamp: a review that sweeps the whole scene as well is over any of these limits."""
    scene = scenes.build("light", Size(60))

    def swept() -> None:
        for frame in range(scene.frame_start, scene.frame_end + 1):
            scene.frame_set(frame)

    alone, _ = timing.cpu(swept)
    many, _ = timing.cpu(lambda: [swept() for _ in range(8)])
    assert 4.0 < many / alone < 16.0
