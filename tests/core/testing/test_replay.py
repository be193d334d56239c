# SPDX-License-Identifier: GPL-3.0-or-later
"""Motion played at other moments: nothing before the change, all of it later after it, bones as long as before."""
from dataclasses import replace

import numpy as np
import pytest
from plumbline.core.keys import Channel, Keys
from plumbline.core.numeric.between import between
from plumbline.core.numeric.fcurve import BEZIER
from plumbline.core.numeric.rotation import about
from plumbline.core.shot import Prop
from plumbline.core.testing import edit
from plumbline.core.testing.jumps import jump
from plumbline.core.testing.replay import replayed, stretched


@pytest.mark.parametrize("added", (-3, -1, 0, 2, 6))
def test_before_it_all_is_as_it_was_and_after_it_all_is_later(added):
    shot = jump(24.0)
    new = stretched(shot, "Keeper", 20, 30, added)
    old, now = shot.characters[0], new.characters[0]
    assert new.count == shot.count + added and new.last == shot.last + added
    assert np.allclose(now.heads[:20], old.heads[:20]) and np.allclose(now.heads[30 + added:], old.heads[30:])
    middle = (now.heads[19 + (10 + added) // 2, 0] if added % 2 == 0 else None)
    if middle is not None:
        assert np.allclose(middle, old.heads[24, 0], atol=1e-6)
    length = np.linalg.norm(now.tails - now.heads, axis=-1)
    assert np.abs(length - length[0]).max() < 0.002
    assert np.allclose(np.linalg.det(now.axes), 1.0)


def test_keys_go_with_their_motion_and_others_stay():
    shot = jump(24.0)
    at = np.array([1.0, 20.0, 25.0, 30.0, 60.0])
    handles = np.stack([at, at], 1)
    keys = Keys((Channel("Rig", "Act", "location", 2),), np.zeros(5, int), at, at, at, handles, handles,
                np.full(5, BEZIER))
    prop = Prop("Lantern", "it moves", np.arange(shot.count)[:, None] * np.ones(3),
                np.broadcast_to(np.eye(3), (shot.count, 3, 3)), keys=keys)
    shot = replace(shot, characters=(replace(shot.characters[0], keys=keys),), props=(prop,))
    new = stretched(shot, "Keeper", 20, 30, 4)
    moved = new.characters[0].keys
    assert moved.scene_frame.tolist() == [1.0, 20.0, 27.0, 34.0, 64.0] and moved.left[2, 0] == 27.0
    assert moved.value.tolist() == at.tolist()
    assert new.props[0].keys.scene_frame.tolist() == at.tolist()
    assert new.props[0].origin[-1, 0] == shot.count - 1 and new.props[0].origin[30, 0] == 30


def test_at_its_own_samples_it_is_itself():
    c = jump(24.0).characters[0]
    again = replayed(c, np.arange(len(c.heads), dtype=float))
    assert np.allclose(again.heads, c.heads) and np.allclose(again.axes, c.axes)


def test_no_bone_of_a_limb_that_swings_fast_grows():
    shot = jump(24.0)
    c = shot.characters[0]
    turn = np.cumsum(np.random.default_rng(5).uniform(-1.5, 1.5, shot.count))
    swung = edit.turn(c, "upper_arm.L", about(np.array([0.0, 1.0, 0.0]), turn))
    new = replayed(swung, np.arange(5, 20, 0.25))
    assert np.linalg.norm(between(swung.head("forearm.L") - swung.head("upper_arm.L"), np.arange(5, 20, 0.25)),
                          axis=-1).max() > 1.05 * swung.rest_length("upper_arm.L"), "curves alone run wide"
    for part, following in (("upper_arm.L", "forearm.L"), ("forearm.L", "hand.L")):
        now = np.linalg.norm(new.head(following) - new.head(part), axis=-1)
        long = np.linalg.norm(swung.head(following) - swung.head(part), axis=-1)
        assert now.max() < long.max() + 1e-9 and np.allclose(now[::4], long[5:20])
