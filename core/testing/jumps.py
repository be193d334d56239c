# SPDX-License-Identifier: GPL-3.0-or-later
"""A jump on the spot that gravity makes: a crouch, an even push, a parabola, an even give, and up again."""

from dataclasses import replace

import numpy as np

from ..numeric.ease import min_jerk
from ..shot import GRAVITY, Shot
from . import edit
from .puppet import act, adult

Array = np.ndarray

STANDS, CROUCH = -0.06, 0.45    # m over the hips at rest as it stands; s from there to the deepest and back
LEAVES = -0.03                  # m over the hips at rest as the feet leave and touch


def jump(fps: float = 24.0, speed: float = 2.0, push: float = 0.26, give: float = 0.24, flight: float = 1.0,
         aside: float = 0.0, start: float = 0.8, seconds: float = 3.4) -> Shot:
    """The hips go up at ``speed`` m/s as the feet leave and come down at it, after ``push`` m of even push and before
    ``give`` m of even give; ``start`` s: the take-off. The whole body flies as one.

    flight: stretches the time in the air without its height, so that gravity reads 1 / flight^2; its speeds on the
    ground are stretched with it. aside: sideways acceleration in the air over gravity, to and from the same places.
    """
    f = round(seconds * fps) + 1
    t = np.arange(f) / fps - start
    speed = speed / flight
    air = 2 * speed * flight**2 / GRAVITY
    up = np.where(t < 0, _ground(-t, speed, push), _ground(t - air, speed, give))
    inside = (t > 0) & (t < air)
    over = np.where(inside, GRAVITY / (2 * flight**2) * t * (air - t), 0.0)
    sway = np.where(inside, -aside * GRAVITY / 2 * t * (air - t), 0.0)
    travel = np.stack([sway, np.zeros(f), np.where(inside, LEAVES + over, up)], 1)
    shot = act({}, travel, fps, adult())
    character = shot.characters[0]
    for side in "LR":
        place = character.rest_head(f"foot.{side}") + np.stack([sway, np.zeros(f), over], 1)
        character = edit.reach(character, f"leg.{side}", place)
    return replace(shot, characters=(character,), name=f"jump at {fps:g}")


def _ground(t: Array, speed: float, give: float) -> Array:
    """Height of the hips t s after the touch: braked evenly from ``speed`` over ``give``, then up to the stand."""
    lasts = 2 * give / speed
    s = np.clip(t, 0, lasts)
    low = LEAVES - speed * s + speed**2 / (4 * give) * s**2
    out: Array = low + (STANDS - (LEAVES - give)) * min_jerk((t - lasts) / CROUCH)
    return out
