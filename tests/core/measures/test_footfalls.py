# SPDX-License-Identifier: GPL-3.0-or-later
"""Footfalls on rigs whose contacts are known to the moment, and what must not change them."""
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.measures.footfalls import footfalls
from plumbline.core.measures.sole import guessed_sole, soles
from plumbline.core.numeric.rotation import exp
from plumbline.core.shot import Surface
from plumbline.core.study import Study
from plumbline.core.testing import cost, edit, pivot_turns, pivot_walk
from plumbline.core.testing.edit import mirrored, rigid
from plumbline.core.testing.pivot_walk import skated
from plumbline.core.testing.puppet import act

RATES = (24.0, 25.0, 30.0, 60.0, 120.0)
#: s: a landing or lift-off is known to this; at 24 frames a second it is less than one frame.
KNOWN = 0.033
EDGE = 0.05     # s at either end of a shot in which no event can be seen


def walk(fps=24.0, guessed=False, **kind):
    """The walk on its own soles, told by a card; else they are guessed from the motion."""
    made = pivot_walk.walk(fps, **kind)
    if guessed:
        return made
    rest = act({}, np.zeros((4, 3))).characters[0]
    known = tuple(replace(guessed_sole(rest, side), source="card") for side in "LR")
    return replace(made, shot=replace(made.shot, characters=(replace(made.shot.characters[0], soles=known),)))


def _bare(made):
    """The same motion over ground that no mesh shows."""
    return replace(made, shot=replace(made.shot, surfaces=()))


def _sloping(made, degrees, axis=0):
    """The whole walk and a floor mesh under it tilted about x (uphill is ahead) or y."""
    turn = exp(np.radians(-degrees) * np.eye(3)[axis])
    floor = 30 * np.array([[[-1.0, -1, 0], [1, -1, 0], [1, 1, 0]], [[-1, -1, 0], [1, 1, 0], [-1, 1, 0]]]) @ turn.T
    return replace(made, shot=replace(rigid(made.shot, turn, np.zeros(3)),
                                      surfaces=(Surface("Slope", "marked", floor, np.eye(4)[None]),)))


def _of(shot):
    return Study(shot).of(footfalls, shot.characters[0])


def _errors(made, found):
    """Seconds by which each true landing and lift-off inside the shot was missed, and how many contacts there are too
    many."""
    end = made.shot.times[-1]
    out, spare = [], 0
    for part, truth in made.contacts.items():
        spans = [fall.span for fall in found.falls[part]]
        seen = [(on, off) for on, off in truth if off > EDGE and on < end - EDGE]
        spare += len(spans) - len(seen)
        for which, name in ((0, "on"), (1, "off")):
            told = np.array([m for s in spans if (m := getattr(s, name)) is not None]) / made.shot.rate
            for moments in seen:
                if EDGE < moments[which] < end - EDGE:
                    out.append(float(np.abs(told - moments[which]).min()) if len(told) else np.inf)
    return np.array(out), spare


def _noisy(shot, size, seed=5):
    """Every joint shaken by ``size`` m, and feet by as much a tenth of a meter, each sample anew."""
    rng = np.random.default_rng(seed)
    c = shot.characters[0]
    shake = exp(rng.normal(0, size / 0.1, (*c.axes.shape[:2], 3))) @ c.axes
    heads = c.heads + rng.normal(0, size, c.heads.shape)
    return replace(shot, characters=(replace(c, heads=heads, axes=shake, twist_axes=shake),))


def _on_twos(shot):
    c = shot.characters[0]
    rows = np.arange(shot.count) // 2 * 2
    return replace(shot, characters=(replace(c, heads=c.heads[rows], tails=c.tails[rows], axes=c.axes[rows],
                                             twist_axes=c.twist_axes[rows]),))


MADE = {
    "walk": walk, "quick walk": lambda fps: walk(fps, pace=1.4), "slow walk": lambda fps: walk(fps, pace=0.7),
    "walk on guessed soles": lambda fps: walk(fps, guessed=True),
    "quick walk on guessed soles": lambda fps: walk(fps, guessed=True, pace=1.4),
    "in place": lambda fps: walk(fps, in_place=True), "quarter turn": pivot_turns.quarter_turn,
    "half a quarter under load": lambda fps: pivot_turns.quarter_turn(fps, under_load=np.pi / 2),
    "shuffle": pivot_turns.shuffle, "low shuffle": lambda fps: pivot_turns.shuffle(fps, rise=0.014),
    "stairs": pivot_turns.stairs, "stairs that no mesh shows": lambda fps: _bare(pivot_turns.stairs(fps)),
    "up a slope": lambda fps: _sloping(walk(fps), 9.0), "across a slope": lambda fps: _sloping(walk(fps), 9.0, 1),
    "up a slope that no mesh shows": lambda fps: _bare(_sloping(walk(fps), 9.0)),
    "hop": pivot_turns.hop, "low hop": lambda fps: pivot_turns.hop(fps, flight=0.25),
    "lower hop": lambda fps: pivot_turns.hop(fps, flight=0.19),
}


@pytest.mark.parametrize("fps", RATES)
@pytest.mark.parametrize("name", MADE)
def test_every_landing_and_lift_off_within_33_ms(name, fps):
    made = MADE[name](fps)
    errors, spare = _errors(made, _of(made.shot))
    assert len(errors) >= 4 and spare == 0
    assert errors.max() < KNOWN


@pytest.mark.parametrize("fps", (24.0, 30.0, 60.0))
def test_feet_that_leave_between_flat_keys_are_known_to_a_frame(fps):
    """Keys that ease in and out hide the moment itself: in the first 30 ms such a foot moves 2 mm."""
    made = pivot_turns.quarter_turn(fps, eased=True)
    errors, spare = _errors(made, _of(made.shot))
    assert spare == 0 and errors.max() < 0.036


@pytest.mark.parametrize("name", ("walk", "quarter turn", "hop"))
@pytest.mark.parametrize("fps", (24.0, 60.0, 120.0))
def test_noise_of_a_capture(name, fps):
    made = MADE[name](fps)
    errors, spare = _errors(made, _of(_noisy(made.shot, 0.0007)))
    assert spare == 0 and errors.max() < KNOWN


@pytest.mark.parametrize("name", ("walk", "quarter turn", "shuffle"))
def test_on_twos_the_drawings_tell(name):
    made = MADE[name](24.0)
    errors, spare = _errors(made, _of(_on_twos(made.shot)))
    assert spare == 0 and errors.max() < 2 / 24
    assert np.mean(errors < 1 / 24) > 0.7


def test_the_same_anywhere_in_any_heading_and_mirrored():
    shot = pivot_turns.quarter_turn(30.0).shot
    c, s = np.cos(2.1), np.sin(2.1)
    moved = rigid(shot, np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]]), np.array([40.0, -25.0, 3.0]))
    here, there, other = _of(shot), _of(moved), _of(mirrored(shot))
    for part, falls in here.falls.items():
        for fall, same in zip(falls, there.falls[part], strict=True):
            np.testing.assert_allclose([fall.span.first, fall.span.last, fall.turned],
                                       [same.span.first, same.span.last, same.turned], atol=1e-6)
        for fall, same in zip(falls, other.falls[part[:-1] + ("R" if part[-1] == "L" else "L")], strict=True):
            assert (fall.span.first, fall.span.last, fall.kind) == (same.span.first, same.span.last, same.kind)
            np.testing.assert_allclose(fall.turned, -same.turned, atol=1e-6)


def test_the_turn_under_load_and_its_pivot():
    made = pivot_turns.quarter_turn(30.0)
    found = _of(made.shot)
    turned = {part: [round(np.degrees(f.turned)) for f in falls] for part, falls in found.falls.items()}
    assert max(turned["foot.R"]) == 45 and set(turned["foot.L"]) <= {-1, 0, 1}
    fall = max(found.falls["foot.R"], key=lambda f: f.turned)
    middle = (fall.span.first + fall.span.last) // 2
    ball = Study(made.shot).of(soles, made.shot.characters[0]).points["R"][middle, 3]
    np.testing.assert_allclose(found.pivot[middle, 1], ball, atol=0.005)


def test_a_step_rolls_from_heel_to_ball():
    found = _of(walk(30.0).shot)
    for falls in found.falls.values():
        for fall in falls:
            if fall.span.first > 3 and fall.span.off is not None:
                assert [p.kind for p in fall.phases][:2] == ["heel", "full"]
                assert fall.phases[-1].kind in ("ball", "toe") and fall.kind == "full"
                assert fall.phases[0].first == fall.span.first and fall.phases[-1].last == fall.span.last


def test_a_skate_under_load_is_no_step():
    made = walk(24.0)
    for seconds in (0.15, 0.3):
        slid = skated(made.shot, "foot.L", 1.4, seconds, np.array([0.08, 0.0, 0.0]), 1.85)
        errors, spare = _errors(made, _of(slid))
        assert spare == 0


def test_a_moving_mesh_carries_the_feet():
    made = walk(30.0, in_place=True)
    world = np.tile(np.eye(4), (made.shot.count, 1, 1))
    world[:, 1, 3] = made.shot.times
    plate = np.array([[[-9.0, -9, 0], [9, -9, 0], [9, 9, 0]], [[-9, -9, 0], [9, 9, 0], [-9, 9, 0]]])
    errors, spare = _errors(made, _of(replace(made.shot, surfaces=(Surface("Ferry", "marked", plate, world),))))
    assert spare == 0 and errors.max() < KNOWN


def test_a_platform_that_speeds_up_and_rises_carries_the_feet():
    made = walk(30.0)
    t = made.shot.times
    ride = np.stack([0.4 * t**2, 0.2 * np.sin(2 * t), 0.3 * t], 1)
    world = np.tile(np.eye(4), (len(t), 1, 1))
    world[:, :3, 3] = ride
    plate = np.array([[[-19.0, -19, 0], [19, -19, 0], [19, 19, 0]], [[-19, -19, 0], [19, 19, 0], [-19, 19, 0]]])
    shot = replace(made.shot, characters=(edit.shift(made.shot.characters[0], ride),),
                   surfaces=(Surface("Lift", "marked", plate, world),))
    errors, spare = _errors(made, _of(shot))
    assert spare == 0 and errors.max() < KNOWN


def test_nothing_to_see():
    made = walk(24.0)
    c = made.shot.characters[0]
    rows = [i for i, p in enumerate(c.parts) if not p.startswith(("foot", "toe"))]
    bare = replace(c, parts=tuple(c.parts[i] for i in rows), bones=tuple(c.bones[i] for i in rows),
                   heads=c.heads[:, rows], tails=c.tails[:, rows], axes=c.axes[:, rows],
                   twist_axes=c.twist_axes[:, rows], rest_heads=c.rest_heads[rows], rest_tails=c.rest_tails[rows],
                   rest_axes=c.rest_axes[rows])
    assert _of(replace(made.shot, characters=(bare,))).falls == {}
    still = replace(made.shot, frames=made.shot.frames[:2],
                    characters=(replace(c, heads=c.heads[:2], tails=c.tails[:2], axes=c.axes[:2],
                                        twist_axes=c.twist_axes[:2], scale=c.scale[:2]),))
    assert _of(still).falls == {"foot.L": (), "foot.R": ()}


def test_cost():
    shot = walk(24.0, seconds=42.0).shot
    c = shot.characters[0]
    study = Study(shot)
    for used in footfalls.uses:
        study.of(used, c)
    spent = cost.seconds(lambda: footfalls.function(study, c)) * 1000 / shot.count
    assert spent < 0.05, f"{spent:.3f} s CPU per 1,000 frames"
