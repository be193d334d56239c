# SPDX-License-Identifier: GPL-3.0-or-later
"""Laws of the rotation vocabulary, at its corners too: no turn, half turns, directions without length."""

import numpy as np
import pytest
from plumbline.core.numeric import rotation as rot

RNG = np.random.default_rng(3)
VECTORS = RNG.normal(size=(200, 3))


def is_rotation(r):
    np.testing.assert_allclose(np.swapaxes(r, -1, -2) @ r, np.broadcast_to(np.eye(3), r.shape), atol=1e-12)
    np.testing.assert_allclose(np.linalg.det(r), 1.0, atol=1e-12)


@pytest.mark.parametrize("size", (0.0, 1e-9, 1e-4, 1.0, 3.0, np.pi - 1e-9, np.pi))
def test_log_undoes_exp(size):
    v = rot.unit(VECTORS) * size
    r = rot.exp(v)
    is_rotation(r)
    back = rot.log(r)
    np.testing.assert_allclose(np.linalg.norm(back, axis=-1), size, atol=1e-7)
    np.testing.assert_allclose(rot.exp(back), r, atol=1e-7)
    if size < np.pi - 1e-6:
        np.testing.assert_allclose(back, v, atol=1e-9)


def test_one_rotation_alone_reads_as_in_a_row():
    vector = np.array([0.1, -0.2, 0.3])
    assert rot.log(rot.exp(vector)) == pytest.approx(vector)


def test_exp_turns_right_handed():
    np.testing.assert_allclose(rot.exp(np.array([0, 0, np.pi / 2])) @ [1, 0, 0], [0, 1, 0], atol=1e-15)


def test_shortest_takes_one_direction_to_the_other_by_their_angle():
    a, b = rot.unit(VECTORS[:100]), rot.unit(VECTORS[100:])
    r = rot.shortest(a, b)
    is_rotation(r)
    np.testing.assert_allclose(rot.turned(r, a), b, atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(rot.log(r), axis=-1), rot.angle_between(a, b), atol=1e-9)
    np.testing.assert_allclose(rot.turned(rot.shortest(a, -a), a), -a, atol=1e-12)
    np.testing.assert_allclose(rot.shortest(a, a), np.broadcast_to(np.eye(3), (100, 3, 3)), atol=1e-12)


def test_swing_and_twist_make_the_rotation():
    r = rot.exp(VECTORS * 0.7)
    axis = np.array([0.0, 1.0, 0.0])
    swing, twist = rot.swing_twist(r, axis)
    np.testing.assert_allclose(swing @ rot.about(np.broadcast_to(axis, VECTORS.shape), twist), r, atol=1e-9)
    np.testing.assert_allclose(rot.log(swing) @ axis, 0, atol=1e-9)


def test_zxy_undoes_from_zxy():
    a, b, c = RNG.uniform(-3, 3, 100), RNG.uniform(-1.5, 1.5, 100), RNG.uniform(-3, 3, 100)
    np.testing.assert_allclose(np.stack(rot.zxy(rot.from_zxy(a, b, c))), [a, b, c], atol=1e-9)


def test_frame_has_its_axes_where_they_were_asked():
    f = rot.frame(VECTORS[:50], VECTORS[50:100])
    is_rotation(f)
    np.testing.assert_allclose(f[..., 1], rot.unit(VECTORS[50:100]), atol=1e-12)
    assert (rot.dot(f[..., 2], VECTORS[:50]) > 0).all()


def test_directions_without_length_are_unknown_not_made_up():
    assert np.isnan(rot.unit(np.zeros(3))).all()
    assert np.isnan(rot.frame(np.zeros(3), np.array([0, 0, 1.0]))[:, 2]).all()


def test_small_angles_keep_their_digits():
    a = np.array([1.0, 0, 0])
    b = np.array([np.cos(1e-9), np.sin(1e-9), 0])
    assert rot.angle_between(a, b) == pytest.approx(1e-9, rel=1e-6)
