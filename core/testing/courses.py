# SPDX-License-Identifier: GPL-3.0-or-later
"""Figures whose hand, head or body goes a known course: eased at both ends, turned or shoved at one frame."""

import numpy as np

from ..numeric import rotation as rot
from ..shot import Shot
from .puppet import act, adult

Array = np.ndarray

SECONDS = 2.4
#: When the course is broken: on a frame at 24, 25, 30 and 60.
AT = 1.2
#: Seconds in which it runs evenly on each side of that, and of the ease beyond.
EVEN, EASE = 0.35, 0.4
#: The adult's leg, meters.
LEG = 0.843
PUPPET = adult()
X, Y, Z = np.eye(3)


def times(fps: float) -> Array:
    return np.arange(round(SECONDS * fps) + 1) / fps


def course(t: Array, dip: float = 0.0) -> Array:
    """(F,) seconds of even motion done, 0 at AT: even around AT, eased to rest beyond; ``dip``: the share by which it
    is slower at AT itself, within 0.2 s."""
    fine = np.linspace(t[0], t[-1], 20001)
    away = np.abs(fine - AT)
    s = np.clip((away - EVEN) / EASE, 0, 1)
    speed = (1 - s**3 * (10 - 15 * s + 6 * s**2)) * (1 - dip * np.exp(-((away / 0.1) ** 2)))
    done = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2 * np.diff(fine))])
    return np.interp(t, fine, done) - np.interp(AT, fine, done)


def swung(fps: float, part: str, drawn: str, legs: float, degrees: float = 0.0, dip: float = 0.0,
          shove: float = 0.0, frame: int | None = None) -> Shot:
    """The part swung about its joint so that the end of ``drawn`` goes ``legs`` leg lengths a second; at AT its path
    turns by ``degrees``, and that frame is shoved by ``shove`` of a step along."""
    t = times(fps)
    base = rot.exp(-np.pi / 2 * X) if part.startswith("upper_arm") else np.eye(3)
    parts = PUPPET.parts
    r = base @ (PUPPET.tails[parts.index(drawn)] - PUPPET.heads[parts.index(part)])
    speed = legs * LEG / float(np.linalg.norm(np.cross(X, r)))
    way = course(t, dip)
    at = round(AT * fps) if frame is None else frame
    way[at] += shove / fps
    other = rot.about(r, np.radians(degrees)) @ X
    axis = np.where((way <= 0)[:, None], X, other)
    return act({part: rot.exp(speed * way[:, None] * axis) @ base}, np.zeros((len(t), 3)), fps)


def carried(fps: float, legs: float, degrees: float = 0.0, shove: float = 0.0, aside: float = 0.0) -> Shot:
    """The whole body on a level course, turned at AT, or that frame shoved along or ``aside`` by shares of a step."""
    t = times(fps)
    way = course(t)
    at = round(AT * fps)
    way[at] += shove / fps
    a = np.radians(degrees)
    path = np.where((way <= 0)[:, None], way[:, None] * X, way[:, None] * (np.cos(a) * X + np.sin(a) * Y))
    path[at] += aside / fps * Y
    return act({}, legs * LEG * path, fps)
