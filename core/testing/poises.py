# SPDX-License-Identifier: GPL-3.0-or-later
"""Honest poises near a fault of balance: on tiptoe, in a squat, sitting down and up, leaning on a rail."""

from dataclasses import replace

import numpy as np

from ..numeric.rotation import exp
from ..shot import Shot, Surface
from . import edit
from .pivot_walk import smooth
from .puppet import act

Array = np.ndarray

FACES = np.array([0.0, -1.0, 0.0])      # the puppet's own forward
ACROSS = np.array([1.0, 0.0, 0.0])
FLOOR = Surface("Floor", "marked", 9 * np.array([[[-1.0, -1, 0], [1, -1, 0], [1, 1, 0]],
                                                  [[-1, -1, 0], [1, 1, 0], [-1, 1, 0]]]), np.eye(4)[None])


def _there_and_back(t: Array, start: float, lasts: float, stays: float) -> Array:
    """(F,) 0 to 1 within ``lasts`` s, there for ``stays`` s, and back."""
    return smooth((t - start) / lasts) * (1 - smooth((t - start - lasts - stays) / lasts))


def _standing(t: Array, fps: float, travel: Array) -> Shot:
    """The hips moved by (F, 3) m from a stand on slightly bent legs, feet where they are."""
    shot = act({}, np.tile([0.0, 0.0, -0.05], (len(t), 1)), fps)
    c = shot.characters[0]
    for side in "LR":
        c = edit.reach(c, f"leg.{side}", np.tile(c.rest_head(f"foot.{side}"), (len(t), 1)))
    return replace(shot, characters=(edit.carry_root(c, travel),))


def _times(fps: float, seconds: float) -> Array:
    return np.arange(int(round(seconds * fps)) + 1) / fps


def tiptoe(fps: float, degrees: float = 35.0) -> Shot:
    """Up on the balls of both feet, the weight over them, and down again."""
    t = _times(fps, 3.6)
    up = _there_and_back(t, 0.8, 0.7, 0.8)
    shot = act({}, np.tile([0.0, 0.0, -0.05], (len(t), 1)), fps)
    c = shot.characters[0]
    ankle, ball = c.rest_head("foot.L"), c.rest_head("toe.L")
    turn = exp(np.radians(degrees) * up[:, None] * ACROSS)
    rise = np.einsum("fij,j->fi", turn, ankle - ball) - (ankle - ball)
    forward = (ankle - ball) @ FACES * -0.75                    # over the balls, not before them
    c = edit.carry_root(c, rise * [0, 0, 1] + up[:, None] * forward * FACES, ())
    for side in "LR":
        c = edit.reach(c, f"leg.{side}", c.rest_head(f"foot.{side}") + rise)
        c = edit.turn(c, f"foot.{side}", turn)
        c = edit.turn(c, f"toe.{side}", turn.swapaxes(-1, -2))
    return replace(shot, characters=(c,), name="tiptoe")


def squat(fps: float, deep: float = 0.35) -> Shot:
    """Down and up again within a second each, the hips going back and the trunk forward."""
    t = _times(fps, 4.0)
    down = _there_and_back(t, 0.6, 1.0, 0.6)
    shot = _standing(t, fps, down[:, None] * [0, 0.16, -deep])
    return _bent(shot, down, 34.0, "squat")


def sit(fps: float, chair: bool) -> Shot:
    """Down on a chair and up again, the trunk bent forward on the way; ``chair``: whether a mesh shows it."""
    t = _times(fps, 6.0)
    down = _there_and_back(t, 0.6, 1.2, 1.6)
    shot = _standing(t, fps, down[:, None] * [0, 0.32, -0.40])
    bent = np.clip(1.9 * down, 0, 1) * (1 - 0.55 * smooth((down - 0.8) / 0.2))
    shot = _bent(shot, bent, 50.0, "sit")
    if not chair:
        return shot
    hips = shot.characters[0].head("pelvis")[len(t) // 2]
    a, b, c, d = (hips + [0.3 * i, 0.3 * j - 0.05, -0.11] for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1)))
    top = Surface("Chair", "marked", np.array([[a, b, c], [a, c, d]]), np.eye(4)[None])
    return replace(shot, surfaces=(FLOOR, top))


def rail(fps: float, far: float = 0.34) -> Shot:
    """Both hands go to a rail that no mesh shows, the body leans on it, and comes back."""
    t = _times(fps, 5.0)
    lean = _there_and_back(t, 1.2, 0.9, 0.8)
    shot = _standing(t, fps, lean[:, None] * (far * FACES + [0, 0, -0.05]))
    c = shot.characters[0]
    for side in "LR":
        place = c.rest_head("chest") * [0, 1, 1] + (far + 0.28) * FACES + [0.2 if side == "L" else -0.2, 0, -0.2]
        goes = _there_and_back(t, 0.4, 0.5, 3.0)[:, None]
        own = c.head(f"hand.{side}")
        c = edit.reach(c, f"arm.{side}", own + goes * (place - own))
    return replace(shot, characters=(c,), name="rail")


def _bent(shot: Shot, share: Array, degrees: float, name: str) -> Shot:
    """The trunk bent forward over the hips."""
    c = edit.turn(shot.characters[0], "spine", exp(np.radians(degrees) * share[:, None] * ACROSS))
    return replace(shot, characters=(c,), name=name)
