# SPDX-License-Identifier: GPL-3.0-or-later
"""Rotations as 3 x 3 matrices, (…, 3, 3), columns = axes; directions (…, 3). Angles in radians. All right-handed.

Every function works on stacks: leading axes broadcast against each other. Directions without length come out as NaN,
never as a made-up axis.

Sums over three components are written out: on the few hundred frames of a shot numpy's own norm, cross and stacked
matrix products cost several times as much. What comes out lies in memory one component after the other, as what
``Character`` hands out does: every sum then runs along one row.
"""

import numpy as np

Array = np.ndarray


def dot(a: Array, b: Array) -> Array:
    """Scalar products of directions (…, 3)."""
    a, b = np.asarray(a), np.asarray(b)
    return np.asarray(a[..., 0] * b[..., 0] + a[..., 1] * b[..., 1] + a[..., 2] * b[..., 2])


def norm(v: Array) -> Array:
    """Lengths (…) of v (…, 3)."""
    return np.asarray(np.sqrt(dot(v, v)))


def cross(a: Array, b: Array) -> Array:
    """Vector products (…, 3)."""
    a, b = np.asarray(a, float), np.asarray(b, float)
    a0, a1, a2 = a[..., 0], a[..., 1], a[..., 2]
    b0, b1, b2 = b[..., 0], b[..., 1], b[..., 2]
    x = a1 * b2 - a2 * b1
    out = np.empty((3, *x.shape))
    out[0] = x
    out[1] = a2 * b0 - a0 * b2
    out[2] = a0 * b1 - a1 * b0
    return components_last(out)


def components_last(rows: Array) -> Array:
    """The same numbers, (3, …) seen as (…, 3)."""
    return rows.transpose(*range(1, rows.ndim), 0)


def unit(v: Array) -> Array:
    """v (…, 3) at length one; NaN where it has no length."""
    v = np.asarray(v, float)
    length = norm(v)[..., None]
    return np.asarray(v / np.where(length > 1e-12, length, np.nan))


def square_to(v: Array, axis: Array) -> Array:
    """The part of v that stands square to the unit direction ``axis``, not normalized."""
    return np.asarray(v - dot(v, axis)[..., None] * axis)


def angle_between(a: Array, b: Array) -> Array:
    """Angle from a to b, 0 to pi; exact also where they are nearly parallel (acos would lose half the digits there)."""
    return np.asarray(np.arctan2(norm(cross(a, b)), dot(a, b)))


def turned(rotation: Array, v: Array) -> Array:
    """rotation (…, 3, 3) applied to v (…, 3)."""
    v = np.asarray(v)
    r = rotation
    return np.asarray(r[..., 0] * v[..., 0, None] + r[..., 1] * v[..., 1, None] + r[..., 2] * v[..., 2, None])


def seen_from(frame: Array, v: Array) -> Array:
    """World direction v (…, 3) in the coordinates of ``frame`` (…, 3, 3): frame^T v."""
    v = np.asarray(v)
    f = frame
    return np.asarray(f[..., 0, :] * v[..., 0, None] + f[..., 1, :] * v[..., 1, None] + f[..., 2, :] * v[..., 2, None])


def relative(a: Array, b: Array) -> Array:
    """a^T b: the frame b seen from the frame a."""
    return np.asarray(
        a[..., 0, :, None] * b[..., 0, None, :]
        + a[..., 1, :, None] * b[..., 1, None, :]
        + a[..., 2, :, None] * b[..., 2, None, :]
    )


def frame(right: Array, up: Array) -> Array:
    """The frame with Y along ``up`` and Z as near to ``right`` as it can be; X = Y x Z. Columns X, Y, Z."""
    y = unit(up)
    z = unit(square_to(right, y))
    x = cross(y, z)
    out = np.empty((3, 3, *x.shape[:-1]))
    for column, axis in enumerate((x, y, z)):
        out[:, column] = axis.transpose(-1, *range(axis.ndim - 1))
    return out.transpose(*range(2, out.ndim), 0, 1)


def exp(vector: Array) -> Array:
    """The rotation about the direction of ``vector`` (…, 3) by its length."""
    vector = np.asarray(vector, float)
    angle = norm(vector)
    x, y, z = vector[..., 0], vector[..., 1], vector[..., 2]
    # sinc keeps both factors exact as the angle goes to zero
    s = np.sinc(angle / np.pi)
    c = 0.5 * np.sinc(angle / (2 * np.pi)) ** 2
    out = np.empty((*angle.shape, 3, 3))
    for i, along in enumerate((x, y, z)):
        out[..., i, i] = 1.0 + c * (along * along - angle * angle)
    for i, j, a, b, across in ((1, 0, x, y, z), (0, 2, x, z, y), (2, 1, y, z, x)):
        both, apart = c * (a * b), s * across
        out[..., i, j], out[..., j, i] = both + apart, both - apart
    return out


def about(axis: Array, angle: Array | float) -> Array:
    """The rotation by ``angle`` (…) about ``axis`` (…, 3), which need not be of unit length."""
    return exp(unit(axis) * np.asarray(angle, float)[..., None])


def log(rotation: Array) -> Array:
    """The rotation vector (…, 3) of a rotation, its length 0 to pi: the inverse of ``exp``."""
    r = np.asarray(rotation, float)
    # by way of the quaternion, read from its largest component: exact near 0 and near pi alike
    m00, m11, m22 = r[..., 0, 0], r[..., 1, 1], r[..., 2, 2]
    a, b, c = r[..., 2, 1] - r[..., 1, 2], r[..., 0, 2] - r[..., 2, 0], r[..., 1, 0] - r[..., 0, 1]
    first = 1 + m00 + m11 + m22
    if (first >= 1.0).all():  # turns under 120 degrees, of which the first component is always large: no need to pick
        return _vector(first, a, b, c)
    four = np.stack([first, 1 + m00 - m11 - m22, 1 - m00 + m11 - m22, 1 - m00 - m11 + m22], -1)
    pick = np.argmax(four, axis=-1)
    d, e, f = r[..., 0, 1] + r[..., 1, 0], r[..., 0, 2] + r[..., 2, 0], r[..., 1, 2] + r[..., 2, 1]
    rows = np.stack(
        [
            np.stack([four[..., 0], a, b, c], -1),
            np.stack([a, four[..., 1], d, e], -1),
            np.stack([b, d, four[..., 2], f], -1),
            np.stack([c, e, f, four[..., 3]], -1),
        ],
        -2,
    )
    q = np.take_along_axis(rows, pick[..., None, None], axis=-2)[..., 0, :]
    q = np.where(q[..., :1] < 0, -q, q)
    return _vector(q[..., 0], q[..., 1], q[..., 2], q[..., 3])


def _vector(w: Array, x: Array, y: Array, z: Array) -> Array:
    """The rotation vector (…, 3) of a quaternion of any length, its components (…) each; w is not negative."""
    length = np.sqrt(x * x + y * y + z * z)
    scale = np.arctan2(length, w)
    scale *= 2
    turning = length > 1e-15
    scale = np.where(turning, scale, 2.0) / np.where(turning, length, np.where(w > 0, w, 1.0))
    out = np.empty((3, *scale.shape))
    for i, component in enumerate((x, y, z)):
        out[i] = component * scale  # by index: of one rotation alone a row is no array
    return components_last(out)


def shortest(a: Array, b: Array) -> Array:
    """The smallest rotation that takes direction a to direction b. For opposite directions, a half turn about any
    axis square to them."""
    a, b = np.broadcast_arrays(unit(a), unit(b))
    normal = cross(a, b)
    size = norm(normal)[..., None]
    least = np.argmin(np.abs(a), axis=-1)
    some = unit(cross(a, np.eye(3)[least]))
    axis = np.where(size > 1e-12, np.divide(normal, size, out=np.zeros(normal.shape), where=size > 1e-12), some)
    return exp(axis * angle_between(a, b)[..., None])


def swing_twist(rotation: Array, axis: Array) -> tuple[Array, Array]:
    """``rotation`` = swing @ twist, twist about ``axis``, swing about a direction square to it.

    Returns swing (…, 3, 3) and the angle of the twist (…), -pi to pi. At a swing of pi the twist is not defined.
    """
    axis = unit(axis)
    swing = shortest(np.broadcast_to(axis, rotation.shape[:-1]), turned(rotation, axis))
    twist = log(relative(swing, rotation))
    return swing, dot(twist, axis)


def zxy(rotation: Array) -> tuple[Array, Array, Array]:
    """Intrinsic Z-X-Y angles (a, b, c): rotation = Rz(a) Rx(b) Ry(c), b from -pi/2 to pi/2.

    In a joint whose frames are X forward, Y up, Z right this is flexion, abduction and rotation as the ISB reads hip
    and ankle (Wu 2002, J Biomech 35:543-548). Near b = pi/2 a and c are not told apart: use directions there.
    """
    r = rotation
    return (
        np.asarray(np.arctan2(-r[..., 0, 1], r[..., 1, 1])),
        np.asarray(np.arcsin(np.clip(r[..., 2, 1], -1.0, 1.0))),
        np.asarray(np.arctan2(-r[..., 2, 0], r[..., 2, 2])),
    )


def from_zxy(a: Array | float, b: Array | float, c: Array | float) -> Array:
    """Rz(a) Rx(b) Ry(c): the inverse of ``zxy``."""
    eye = np.eye(3)
    return np.asarray(about(eye[2], a) @ about(eye[0], b) @ about(eye[1], c))
