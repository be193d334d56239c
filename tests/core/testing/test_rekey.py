# SPDX-License-Identifier: GPL-3.0-or-later
"""Captured-like motion keyed anew: sparse, near, smooth, its planted pivots still."""
import numpy as np
from plumbline.core.numeric import rotation as rot
from plumbline.core.numeric.fcurve import evaluate
from plumbline.core.shot import SOLE_POINTS, Shot
from plumbline.core.testing.puppet import act
from plumbline.core.testing.rekey import _pivots, chosen_keys, clamped_slopes, rekeyed

X, Y, Z = np.eye(3)


def swaying(seconds: float = 3.0, fps: float = 24.0) -> Shot:
    """A figure that stands and sways, an arm waving."""
    t = np.arange(round(seconds * fps)) / fps
    turns = {"upper_arm.L": rot.exp(np.outer(0.8 * np.sin(3 * t), X)),
             "forearm.L": rot.exp(np.outer(-0.5 + 0.4 * np.sin(3 * t + 1), X)),
             "chest": rot.exp(np.outer(0.2 * np.sin(2 * t), Z)), "head": rot.exp(np.outer(0.3 * np.sin(2 * t + 1), Z))}
    return act(turns, np.zeros((len(t), 3)), fps)


def test_keys_are_few_and_the_motion_is_near() -> None:
    shot = swaying()
    new = rekeyed(shot).characters[0]
    old = shot.characters[0]
    assert new.keys is not None
    counts = [new.keys.of(i).stop - new.keys.of(i).start for i in range(len(new.keys.channels))]
    assert max(counts) < shot.count / 4
    assert np.abs(new.heads - old.heads).max() < 0.08
    assert {g.part for g in new.goals} == {"foot.L", "foot.R"}


def test_limbs_have_keys_of_their_own() -> None:
    new = rekeyed(swaying()).characters[0]
    assert new.keys is not None
    frames = {c.bone: tuple(new.keys.scene_frame[new.keys.of(i)]) for i, c in enumerate(new.keys.channels)}
    assert frames["upper_arm.L"] == frames["forearm.L"] and frames["upper_arm.L"] != frames["head"]


def test_planted_feet_stand_still() -> None:
    new = rekeyed(swaying()).characters[0]
    for part in ("foot.L", "foot.R"):
        assert np.ptp(new.head(part), axis=0).max() < 1e-6


def test_a_foot_turns_about_its_lower_end() -> None:
    """Heel strike, flat, heel off: about the heel, still the heel, then the ball, though the heel counts as planted."""
    heel, ball = SOLE_POINTS.index("heel"), SOLE_POINTS.index("ball")
    up = np.concatenate([np.linspace(-0.1, 0, 5), np.zeros(10), np.linspace(0, 0.15, 6)])
    found = _pivots(up, np.ones((len(up), len(SOLE_POINTS)), bool))
    assert (found[:15] == heel).all() and (found[-5:] == ball).all()


def test_clamped_slopes_never_overshoot() -> None:
    rng = np.random.default_rng(2)
    x = np.cumsum(rng.uniform(2, 9, 30))
    y = rng.normal(0, 1, 30)
    m = clamped_slopes(x, y)
    for i in range(29):
        s = np.linspace(0, 1, 50)
        h = x[i + 1] - x[i]
        value = ((2 * s**3 - 3 * s**2 + 1) * y[i] + (3 * s**2 - 2 * s**3) * y[i + 1]
                 + h * ((s**3 - 2 * s**2 + s) * m[i] + (s**3 - s**2) * m[i + 1]))
        assert value.min() > min(y[i], y[i + 1]) - 1e-9 and value.max() < max(y[i], y[i + 1]) + 1e-9


def test_chosen_keys_hold_the_error_and_the_distance() -> None:
    frames = np.arange(100.0)
    table = np.stack([5 * np.sin(frames / 7), 2 * np.cos(frames / 11)], 1)
    at = chosen_keys(frames, table, 4)
    assert at[0] == 0 and at[-1] == 99 and np.diff(at).min() >= 4 and len(at) < 26


def test_the_keys_give_the_pose() -> None:
    """The pelvis's path is the one that its curves say."""
    new = rekeyed(swaying()).characters[0]
    assert new.keys is not None
    for i, c in enumerate(new.keys.channels):
        if c.bone == "pelvis" and c.path.endswith("location"):
            values = evaluate(new.keys, i, np.arange(1.0, len(new.heads) + 1))
            assert np.allclose(values, new.head("pelvis")[:, c.index], atol=1e-9)
