# SPDX-License-Identifier: GPL-3.0-or-later
"""Sampled motion played at other moments: at another rate, stretched, with frames taken out or put in."""

from dataclasses import replace

import numpy as np

from .. import body
from ..keys import Keys
from ..numeric.between import between
from ..shot import Camera, Character, Shot
from .clips import _from_quaternion, _quaternion

Array = np.ndarray


def replayed(character: Character, at: Array) -> Character:
    """The character read at samples ``at`` (N,), fractions allowed, along smooth curves; its keys left out. Where a
    limb swings fast those run wide of its joints: no bone of a limb grows by that."""
    goals = tuple(replace(g, place=between(g.place, at), reach=between(g.reach, at),
                          influence=between(g.influence, at)) for g in character.goals)
    heads, tails = between(character.heads, at), between(character.tails, at)
    for part, following in (pair for parts in body.LIMBS.values() for pair in zip(parts, parts[1:], strict=False)):
        if character.has(part, following):
            _no_longer(character, at, part, following, heads, tails)
    return replace(character, heads=heads, tails=tails,
                   axes=_rotations(character.axes, at), twist_axes=_rotations(character.twist_axes, at),
                   scale=between(character.scale, at), goals=goals, keys=None)


def _no_longer(character: Character, at: Array, part: str, following: str, heads: Array, tails: Array) -> None:
    """Takes what hangs from the end of a limb's bone back to where the bone is as long as at the samples, if it is
    longer; heads and tails (N, P, 3) are changed."""
    i, j = character.index[part], character.index[following]
    longest = between(np.linalg.norm(character.heads[:, j] - character.heads[:, i], axis=-1), at)
    bone = heads[:, j] - heads[:, i]
    back = bone * np.minimum(longest / np.maximum(np.linalg.norm(bone, axis=-1), 1e-9) - 1, 0.0)[:, None]
    tails[:, i] += back
    for row in (character.index[p] for p in (following, *body.descendants(following)) if p in character.index):
        heads[:, row] += back
        tails[:, row] += back


def _rotations(axes: Array | None, at: Array) -> Array | None:
    if axes is None:
        return None
    known = np.isfinite(axes).all((0, 2, 3))
    out = np.full((len(at), *axes.shape[1:]), np.nan)
    if known.any():
        q = _quaternion(axes[:, known])
        flips = np.where((q[1:] * q[:-1]).sum(-1) < 0, -1.0, 1.0)
        q = q * np.cumprod(np.concatenate([np.ones((1, q.shape[1])), flips]), 0)[..., None]
        out[:, known] = _from_quaternion(between(q, at))
    return out


def stretched(shot: Shot, name: str, first: float, last: float, added: int) -> Shot:
    """The shot with ``added`` frames (fewer than zero: taken out) between scene frames ``first`` and ``last`` of one
    character, all that it does later by as many. The shot grows or shrinks as much; what else is in it plays on as it
    was and holds its last frame."""
    per = shot.rate / shot.fps
    count = shot.count + round(added * per)
    frames = shot.frames[0] + np.arange(count) / per
    then = last + added
    source = np.where(frames <= first, frames, np.where(frames >= then, frames - added, first + (frames - first)
                                                        * (last - first) / max(then - first, 1e-9)))
    at = (source - shot.frames[0]) * per
    hold = np.minimum(np.arange(count), shot.count - 1)
    characters = tuple(
        replace(replayed(c, at), keys=_later(c.keys, first, last, added)) if c.name == name
        else replace(replayed(c, hold.astype(float)), keys=c.keys) for c in shot.characters)
    props = tuple(replace(p, origin=p.origin[hold], axes=p.axes[hold],
                          center=None if p.center is None else p.center[hold]) for p in shot.props)
    surfaces = tuple(replace(s, world=s.world[hold]) if s.moving else s for s in shot.surfaces)
    camera = _held(shot.camera, hold) if shot.camera is not None else None
    assert shot.last is not None
    return replace(shot, frames=frames, characters=characters, props=props, surfaces=surfaces, camera=camera,
                   kisses=None, last=shot.last + added)


def _later(keys: Keys | None, first: float, last: float, added: int) -> Keys | None:
    """Keys moved with the motion that they make."""
    if keys is None:
        return None

    def moved(frames: Array) -> Array:
        share = np.clip((frames - first) / (last - first), 0.0, 1.0)
        return np.asarray(frames + added * share)

    left, right = keys.left.copy(), keys.right.copy()
    left[:, 0], right[:, 0] = moved(left[:, 0]), moved(right[:, 0])
    return replace(keys, scene_frame=moved(keys.scene_frame), left=left, right=right)


def _held(camera: Camera, hold: Array) -> Camera:
    names = ("run", "world_from_camera", "lens_mm", "ortho_scale", "sensor_mm", "shift")
    return replace(camera, **{name: getattr(camera, name)[hold] for name in names})
