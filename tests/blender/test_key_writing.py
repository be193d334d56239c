# SPDX-License-Identifier: GPL-3.0-or-later
"""Wanted values on curves: reached on every frame of the span with few keys, and nothing else moved."""

from typing import Any

import bpy
import numpy as np
import pytest
from plumbline.blender_addon.compat import curves_of
from plumbline.blender_addon.key_writing import Standing, write
from plumbline.blender_addon.named_channels import Named

OUTSIDE = [*np.arange(1, 20, 0.5), *np.arange(28, 60, 0.5)]


def keyed(kind: str, handles: str, frames: tuple[int, ...] = (1, 12, 40, 60)) -> Any:
    """The curve of an object's height with keys of one kind, whose values go up and down."""
    thing = bpy.data.objects.new("Lantern", None)
    bpy.context.scene.collection.objects.link(thing)
    for k, frame in enumerate(frames):
        thing.location.z = (-1) ** k * 0.3 + 0.1 * k
        thing.keyframe_insert("location", index=2, frame=frame)
    (curve,) = (c for c, _ in curves_of(thing))
    for point in curve.keyframe_points:
        point.interpolation = kind
        point.handle_left_type = point.handle_right_type = handles
    curve.update()
    return curve


def named(curve: Any, frames: tuple[int, ...]) -> Named:
    """The curve with its keys on these frames named."""
    points = tuple(k for k, p in enumerate(curve.keyframe_points) if round(p.co.x) in frames)
    thing = bpy.data.objects["Lantern"]
    return Named(thing, "", "location", 2, curve, 0.0, 1.0, points, True, False)


def values(curve: Any, frames: Any) -> np.ndarray:
    return np.array([curve.evaluate(float(f)) for f in frames])


@pytest.mark.parametrize("handles", ["FREE", "ALIGNED", "VECTOR"])
@pytest.mark.parametrize("kind", ["BEZIER", "LINEAR", "CONSTANT"])
def test_the_span_gets_its_values_and_the_curve_outside_stays(kind: str, handles: str) -> None:
    curve = keyed(kind, handles)
    span = np.arange(20, 29)
    before = values(curve, OUTSIDE)
    wanted = values(curve, span) + 0.05 * np.sin(np.linspace(0, np.pi, len(span)))
    write([named(curve, (12, 40))], 20, wanted[None], np.array([5e-4]))
    assert values(curve, span) == pytest.approx(wanted, abs=6e-4)
    assert values(curve, OUTSIDE) == pytest.approx(before, abs=2e-4)
    assert {1, 12, 40, 60} <= {round(p.co.x) for p in curve.keyframe_points}
    if kind == "BEZIER":
        assert len(curve.keyframe_points) <= 8, "few keys"


@pytest.mark.parametrize("open_end", [0, 1])
def test_where_nothing_lies_beyond_the_end_goes_along(open_end: int) -> None:
    """From the first key, or to the last: no key comes beyond it, and the other end stays."""
    curve = keyed("BEZIER", "AUTO_CLAMPED")
    span = np.arange(1, 10) if open_end == 0 else np.arange(50, 61)
    outside = np.arange(10, 60.1, 0.5) if open_end == 0 else np.arange(1, 49.6, 0.5)
    before = values(curve, outside)
    share = np.linspace(0, 1, len(span))
    wanted = values(curve, span) - 0.1 * (share if open_end else share[::-1]) ** 2
    write([named(curve, (1, 60))], int(span[0]), wanted[None], np.array([5e-4]), (open_end == 1, open_end == 0))
    assert values(curve, span) == pytest.approx(wanted, abs=6e-4)
    assert values(curve, outside) == pytest.approx(before, abs=2e-4)
    assert tuple(curve.range()) == (1.0, 60.0)


def test_keys_that_are_named_keep_their_frames() -> None:
    curve = keyed("BEZIER", "AUTO_CLAMPED", (1, 12, 23, 40, 60))
    wanted = values(curve, range(20, 29)) + 0.04 * np.sin(np.linspace(0, np.pi, 9))
    write([named(curve, (23,))], 20, wanted[None], np.array([5e-4]))
    point = next(p for p in curve.keyframe_points if round(p.co.x, 3) == 23)
    assert point.co.y == pytest.approx(wanted[3], abs=1e-5)


def test_a_stop_may_be_left_at_another_speed() -> None:
    """The left handle of the key on which a hand stops dead stays as it is."""
    curve = keyed("BEZIER", "FREE", (1, 20, 40))
    stop = curve.keyframe_points[1]
    stop.handle_left, stop.handle_right = (14, stop.co.y + 0.2), (26, stop.co.y)
    curve.update()
    before = values(curve, np.arange(1, 20.1, 0.5))
    settle = values(curve, range(20, 27)) + 0.02 * np.array([0, 0.35, 0.5, 0.42, 0.26, 0.1, 0])
    write([named(curve, (20,))], 20, settle[None], np.array([2e-4]))
    assert values(curve, np.arange(1, 20.1, 0.5)) == pytest.approx(before, abs=2e-5)
    assert values(curve, range(20, 27)) == pytest.approx(settle, abs=3e-4)


def test_nothing_is_written_where_a_key_that_is_not_named_stands() -> None:
    curve = keyed("BEZIER", "AUTO_CLAMPED", (1, 12, 23, 40))
    before = values(curve, range(1, 41))
    with pytest.raises(Standing) as why:
        write([named(curve, (12, 40))], 20, np.zeros((1, 9)), np.array([1e-3]))
    assert why.value.frame == 23 and why.value.channel.channel == "location[2]"
    assert values(curve, range(1, 41)) == pytest.approx(before)


def test_a_curve_that_runs_by_an_equation_is_not_split() -> None:
    curve = keyed("BOUNCE", "AUTO_CLAMPED")
    before = values(curve, range(1, 61))
    with pytest.raises(Standing):
        write([named(curve, (12, 40))], 20, np.zeros((1, 9)), np.array([1e-3]))
    assert values(curve, range(1, 61)) == pytest.approx(before)
