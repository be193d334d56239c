# SPDX-License-Identifier: GPL-3.0-or-later
"""core.numeric.fcurve against Blender's own FCurve.evaluate: each interpolation, easing, handle, extrapolation."""
import bpy
import numpy as np
import pytest
from plumbline.core.numeric import fcurve
from plumbline.core.shot import INTERPOLATIONS, Channel, Keys

HANDLES = ("FREE", "ALIGNED", "VECTOR", "AUTO", "AUTO_CLAMPED")
EASINGS = ("AUTO", "EASE_IN", "EASE_OUT", "EASE_IN_OUT")
#: Unevenly spaced keys, one on a sub-frame: up, over, flat, down, far.
PLACES = ((1.0, 0.0), (7.5, 2.0), (13.0, 2.5), (20.0, 2.5), (24.0, -1.5), (60.0, 8.0))


def new_curve(places=PLACES):
    thing = bpy.data.objects.new("thing", None)
    for frame, value in places:
        thing.location[0] = value
        thing.keyframe_insert("location", index=0, frame=frame)
    action, slot = thing.animation_data.action, getattr(thing.animation_data, "action_slot", None)
    if getattr(action, "is_action_layered", False):
        bags = [bag for layer in action.layers for strip in layer.strips for bag in strip.channelbags]
        return next(bag for bag in bags if bag.slot_handle == slot.handle).fcurves[0]
    return action.fcurves[0]


def columns(curve) -> Keys:
    points = curve.keyframe_points

    def column(name, width=1, kind="f"):
        out = np.empty(len(points) * width, kind)
        points.foreach_get(name, out)
        return out.reshape(len(points), width) if width > 1 else out

    co = column("co", 2)
    kinds = [INTERPOLATIONS.index(p.interpolation) for p in points]
    return Keys(channels=(Channel("thing", "action", "location", 0),), channel=np.zeros(len(points), int),
                scene_frame=co[:, 0], action_frame=co[:, 0], value=co[:, 1], left=column("handle_left", 2),
                right=column("handle_right", 2), interpolation=np.array(kinds),
                easing=np.array([EASINGS.index(p.easing) for p in points]),
                back=column("back"), amplitude=column("amplitude"), period=column("period"))


def agrees(curve, low=-20.0, high=80.0, tolerance=2e-5):
    frames = np.concatenate([np.arange(low, high, 0.37), [p.co[0] for p in curve.keyframe_points],
                             np.arange(np.ceil(low), high)]).astype(np.float32).astype(float)
    ours = fcurve.evaluate(columns(curve), 0, frames, curve.extrapolation.lower())
    theirs = np.array([curve.evaluate(f) for f in frames])
    size = max(1.0, np.ptp(theirs))
    worst = np.argmax(np.abs(ours - theirs))
    assert abs(ours[worst] - theirs[worst]) <= tolerance * size, (frames[worst], ours[worst], theirs[worst])


@pytest.mark.parametrize("extrapolation", ("CONSTANT", "LINEAR"))
@pytest.mark.parametrize("handle", HANDLES)
def test_every_interpolation_and_easing_under_each_handle_type(handle, extrapolation):
    curve = new_curve()
    curve.extrapolation = extrapolation
    for interpolation in INTERPOLATIONS:
        for easing in EASINGS:
            for point in curve.keyframe_points:
                point.interpolation, point.easing = interpolation, easing
                point.handle_left_type = point.handle_right_type = handle
            curve.update()
            agrees(curve)


def test_handles_longer_than_their_span_are_clamped():
    rng = np.random.default_rng(4)
    for _ in range(60):
        curve = new_curve()
        for point in curve.keyframe_points:
            point.interpolation = "BEZIER"
            point.handle_left_type = point.handle_right_type = "FREE"
            point.handle_left = point.co[0] - rng.uniform(0, 60), rng.normal(0, 5)
            point.handle_right = point.co[0] + rng.uniform(0, 60), rng.normal(0, 5)
        curve.extrapolation = "LINEAR"
        # Blender solves the cubic in closed form; where time nearly stands still it loses digits, we do not
        agrees(curve, tolerance=2e-3)


@pytest.mark.parametrize("interpolation", ("BACK", "ELASTIC"))
@pytest.mark.parametrize("easing", EASINGS)
def test_parameters_of_back_and_elastic(interpolation, easing):
    rng = np.random.default_rng(7)
    cases = [(0, 0, 0), (0.8, 4.1, 1.7), (30, 3, -1), *rng.uniform((0, 1, -3), (6, 20, 6), (12, 3))]
    for amplitude, period, back in cases:
        curve = new_curve()
        for point in curve.keyframe_points:
            point.interpolation, point.easing = interpolation, easing
            point.amplitude, point.period, point.back = amplitude, period, back
        agrees(curve, tolerance=1e-4)


def test_mixed_pieces_in_one_curve():
    rng = np.random.default_rng(11)
    for _ in range(40):
        curve = new_curve([(f, v) for f, v in zip(np.cumsum(rng.uniform(1, 12, 9)), rng.normal(0, 3, 9), strict=True)])
        for point in curve.keyframe_points:
            point.interpolation, point.easing = rng.choice(INTERPOLATIONS), rng.choice(EASINGS)
            point.handle_left_type, point.handle_right_type = rng.choice(HANDLES), rng.choice(HANDLES)
        curve.extrapolation = rng.choice(("CONSTANT", "LINEAR"))
        curve.update()
        agrees(curve, tolerance=1e-4)


def test_one_key_alone():
    for extrapolation in ("CONSTANT", "LINEAR"):
        for interpolation in ("CONSTANT", "LINEAR", "BEZIER", "SINE"):
            curve = new_curve(((5.0, 3.0),))
            curve.extrapolation = extrapolation
            curve.keyframe_points[0].interpolation = interpolation
            agrees(curve)


def test_slopes_on_both_sides_of_each_key_are_those_of_the_evaluated_curve():
    for interpolation in ("LINEAR", "BEZIER", "SINE", "CUBIC", "BACK", "EXPO"):
        for handle in HANDLES:
            curve = new_curve()
            for point in curve.keyframe_points:
                point.interpolation = interpolation
                point.handle_left_type = point.handle_right_type = handle
            curve.update()
            slopes = fcurve.slopes(columns(curve), 0)
            assert np.isnan(slopes[0, 0]) and np.isnan(slopes[-1, 1])
            for i, point in enumerate(curve.keyframe_points):
                for side, sign in ((0, -1), (1, 1)):
                    if np.isfinite(slopes[i, side]):
                        near = [curve.evaluate(point.co[0] + sign * h) for h in (0.0, 0.05, 0.1)]
                        theirs = sign * (-3 * near[0] + 4 * near[1] - near[2]) / 0.1
                        near_enough = pytest.approx(theirs, abs=0.06 + 0.05 * abs(theirs))
                        assert slopes[i, side] == near_enough, (interpolation, handle, i)


def test_a_constant_piece_has_no_slope_and_jumps():
    curve = new_curve()
    for point in curve.keyframe_points:
        point.interpolation = "CONSTANT"
    agrees(curve)
    assert np.nanmax(np.abs(fcurve.slopes(columns(curve), 0))) == 0
