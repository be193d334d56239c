# SPDX-License-Identifier: GPL-3.0-or-later
"""A review stays cheap against playing the shot once: small versions of the scenes of benchmarks/, CPU against CPU.

Each limit is what the small scene reached when it was written, with a quarter of room; docs/speed.md tells what the
whole scenes reach and what is aimed at. Small scenes come out dearer: what is paid once, such as finding the body map,
is spread over fewer frames. A machine that is busy elsewhere may cost one try; two tries must not agree.
"""

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from plumbline.blender_addon.sampling.probe import Probe
from plumbline.blender_addon.sampling.sweep import Request, sweep_now
from plumbline.core.catalogue import chosen
from plumbline.core.runner import needs_of

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"
ROOM, ROUNDS, TRIES = 1.25, 3, 2


def loaded(name: str) -> ModuleType:
    """A module of benchmarks/, which is no package: it is run by its path."""
    spec = importlib.util.spec_from_file_location(f"plumbline_benchmarks_{name}", BENCHMARKS / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


scenes, timing = loaded("scenes"), loaded("timing")
Size, Review = scenes.Size, timing.Review


def held(scene: Any, reviews: dict[str, Any], limits: dict[str, tuple[float, float | None]]) -> None:
    """Asserts that each review's median ratio, and the core's share where one is given, stay within their limits."""
    over: list[str] = []
    for _ in range(TRIES):
        taken = timing.take(scene, list(reviews.values()), ROUNDS)
        over = [
            f"{name}: {what} {some.middle(what):.3f}, limit {limit:.3f} with a quarter of room"
            for name, some in zip(reviews, taken, strict=True)
            for what, limit in zip(("ratio", "share"), limits[name], strict=True)
            if limit is not None and some.middle(what) > ROOM * limit
        ]
        if not over:
            return
    pytest.fail("; ".join(over))


@pytest.mark.parametrize(
    ("name", "size", "ratio", "share"),
    [
        ("light", Size(240), 1.15, 0.70),
        ("long", Size(1_000), 0.60, 1.10),
        ("crowd", Size(150, figures=4, skin=2_000), 1.20, 0.42),
    ],
)
def test_simple_figures(name: str, size: Any, ratio: float, share: float) -> None:
    scene = scenes.build(name, size)
    held(scene, {"all checks": Review()}, {"all checks": (ratio, share)})


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


def test_a_rig_among_heavy_meshes() -> None:
    scene = scenes.build("rigify", Size(30, skin=12_000, meshes=12))

    def hung(kissing: float) -> Callable[[], None]:
        return lambda: scenes.hang_lantern(scene, kissing)

    reviews = {
        "joints and soles": Review(timing.JOINTS, hung(0.0)),
        "outlines on 3 of 10 frames": Review(None, hung(0.3)),
    }
    held(scene, reviews, {"joints and soles": (0.58, 0.13), "outlines on 3 of 10 frames": (1.30, None)})


def test_a_slow_review_would_be_seen() -> None:
    """The guard is no rubber stamp: a review that sweeps the whole scene as well is over any of these limits."""
    scene = scenes.build("light", Size(60))

    def swept() -> None:
        for frame in range(scene.frame_start, scene.frame_end + 1):
            scene.frame_set(frame)

    alone, _ = timing.cpu(swept)
    many, _ = timing.cpu(lambda: [swept() for _ in range(8)])
    assert 4.0 < many / alone < 16.0
