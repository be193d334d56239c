# SPDX-License-Identifier: GPL-3.0-or-later
"""An even move eased on its keys: where the curve turns back at its end, what follows sets out from rest."""

from typing import Any

import bpy
import pytest
from plumbline.blender_addon import compat
from plumbline.blender_addon.keyed_curves import Found
from plumbline.blender_addon.operators.ease_span import ease
from plumbline.core.remedy import Ease


def eased(before: float, after: float, gap: int = 12) -> Any:
    """A curve that marches from 0 in frame 20 to 1 in frame 36, with a key on each side, eased at both ends."""
    thing = bpy.data.objects.new("thing", None)
    for frame, value in ((20 - gap, before), (20, 0.0), (36, 1.0), (36 + gap, after)):
        thing.location[0] = value
        thing.keyframe_insert("location", index=0, frame=frame)
    curve = next(c for c, _ in compat.curves_of(thing))
    for point in curve.keyframe_points:
        point.interpolation = "BEZIER"
        point.handle_left_type = point.handle_right_type = "VECTOR"
    curve.keyframe_points[1].interpolation = "LINEAR"
    curve.update()
    ease(Found(thing, "", curve, (1, 2), False), Ease(("thigh.L",), (20, 36)))
    return curve


def speed(curve: Any, frame: float) -> float:
    return float(curve.evaluate(frame + 0.5) - curve.evaluate(frame - 0.5))


def test_what_turns_back_beyond_an_end_is_soft_there_too() -> None:
    curve = eased(1.0, 0.0)
    assert abs(speed(curve, 36.5)) < 0.02 < 1 / 12 < abs(speed(curve, 42)), "it sets out from rest"
    assert abs(speed(curve, 19.5)) < 0.02 < 1 / 12 < abs(speed(curve, 14)), "it comes to rest"
    assert [curve.evaluate(f) for f in (8, 20, 36, 48)] == pytest.approx([1.0, 0.0, 1.0, 0.0])


def test_what_goes_on_the_same_way_is_left() -> None:
    curve = eased(-0.5, 1.5)
    assert speed(curve, 36.5) == pytest.approx(0.5 / 12, rel=0.05) == speed(curve, 19.5)


def test_keys_on_neighboring_frames_are_left() -> None:
    curve = eased(1.0, 0.0, gap=2)
    assert curve.evaluate(37) == pytest.approx(0.5, abs=1e-3) == curve.evaluate(19)
