# SPDX-License-Identifier: GPL-3.0-or-later
"""A remedy applied to sampled motion, as an animator would apply it to the keys."""

from dataclasses import replace

import numpy as np

from .. import body
from ..measures.turn import local_axes, parent_on
from ..numeric.ease import ease_places, ease_rotations
from ..numeric.rotation import exp
from ..remedy import Ease, Move, Pin, Remedy, Turn
from ..shot import Character, Shot, with_character
from . import edit

Array = np.ndarray
_LIMB_OF_END = {parts[2]: limb for limb, parts in body.LIMBS.items()}


class CannotMend(ValueError):
    """A remedy that sampled motion cannot take, with the reason."""


def envelope(shot: Shot, first: float, last: float, ease: float) -> Array:
    """(F,) 1 from scene frame ``first`` to ``last``, minimum-jerk ramps of ``ease`` frames outside, 0 beyond."""
    outside = np.maximum(np.maximum(first - shot.frames, shot.frames - last), 0)
    s = np.clip(1 - outside / max(ease, 1e-9), 0, 1)
    return s**3 * (10 - 15 * s + 6 * s**2)


def mend(shot: Shot, remedy: Remedy, name: str) -> Shot:
    """The shot with the remedy applied to the character ``name``. Raises CannotMend."""
    character = next((c for c in shot.characters if c.name == name), None)
    if isinstance(remedy, Move) and remedy.target not in body.PARTS:
        weight = envelope(shot, *remedy.frames, remedy.ease)[:, None]
        return replace(
            shot,
            props=tuple(
                replace(p, origin=p.origin + weight * np.array(remedy.offset)) if p.name == remedy.target else p
                for p in shot.props
            ),
        )
    if character is None:
        raise CannotMend(f"no character {name!r} in the shot")
    return with_character(shot, character, _mended(shot, remedy, character))


def _mended(shot: Shot, remedy: Remedy, character: Character) -> Character:
    if isinstance(remedy, Move):
        weight = envelope(shot, *remedy.frames, remedy.ease)[:, None]
        return moved(character, remedy.target, weight * np.array(remedy.offset))
    if isinstance(remedy, Turn):
        return _turned(shot, remedy, character)
    if isinstance(remedy, Pin):
        return _pinned(shot, remedy, character)
    return _eased(shot, remedy, character)


def moved(character: Character, target: str, offset: Array) -> Character:
    """A limb's end, the pelvis (feet and hands with goals stay) or any other part moved by (F, 3)."""
    if target in _LIMB_OF_END:
        return edit.reach(character, _LIMB_OF_END[target], edit.aim(character, target) + offset, relax=True)
    if target == "pelvis":
        held = [
            limb
            for limb, parts in body.LIMBS.items()
            if limb.startswith("leg") or any(g.part == parts[2] for g in character.goals)
        ]
        return edit.carry_root(character, offset, held)
    raise CannotMend(f"only a limb's end, the pelvis or a prop can be moved, not {target}")


def _turned(shot: Shot, remedy: Turn, character: Character) -> Character:
    weight = envelope(shot, *remedy.frames, remedy.ease)
    angle = _per_frame(shot, remedy.frames, remedy.angle if isinstance(remedy.angle, tuple) else (remedy.angle,))
    axes = remedy.axis if isinstance(remedy.axis[0], tuple) else (remedy.axis,)
    axis = np.stack([_per_frame(shot, remedy.frames, tuple(a[k] for a in axes)) for k in range(3)], -1)
    axis /= np.maximum(np.linalg.norm(axis, axis=-1, keepdims=True), 1e-12)
    return edit.turn(character, remedy.target, exp(axis * np.radians(weight * angle)[:, None]))


def _per_frame(shot: Shot, frames: tuple[int, int], values: tuple[float, ...]) -> Array:
    """Values of the span's whole frames read at every sample, the ends held outside."""
    at = np.linspace(frames[0], frames[1], len(values)) if len(values) > 1 else np.array([float(frames[0])])
    return np.interp(shot.frames, at, values)


def _pinned(shot: Shot, remedy: Pin, character: Character) -> Character:
    if remedy.target not in _LIMB_OF_END:
        raise CannotMend(f"only a foot or a hand can be pinned, not {remedy.target}")
    now = character.head(remedy.target)
    place = np.stack([_per_frame(shot, remedy.frames, tuple(p[k] for p in remedy.places)) for k in range(3)], -1)
    first, last = np.searchsorted(shot.frames, remedy.frames)
    last = min(int(last), len(now) - 1)
    offset = place - now
    offset[:first], offset[last + 1 :] = offset[first], offset[last]
    weight = envelope(shot, *remedy.frames, remedy.ease)[:, None]
    return edit.reach(character, _LIMB_OF_END[remedy.target], now + weight * offset)


def _eased(shot: Shot, remedy: Ease, character: Character) -> Character:
    first, last = (int(np.searchsorted(shot.frames, f)) for f in remedy.frames)
    last = min(last, len(shot.frames) - 1)
    if last - first < 2:
        return character
    span = (first, last, remedy.ease_in, remedy.ease_out)
    for part in remedy.paths:
        path = edit.aim(character, part) if part in _LIMB_OF_END else character.head(part)
        character = moved(character, part, ease_places(path, *span) - path)
    for part in remedy.targets:
        local = local_axes(character, part)
        axes, above = character.axes, parent_on(character, part)
        assert axes is not None
        turns = np.broadcast_to(np.eye(3), local.shape) if above is None else axes[:, character.index[above]]
        own = axes[:, character.index[part]]
        ends = {
            limb: character.head(parts[2]).copy()
            for limb, parts in body.LIMBS.items()
            if part == "pelvis" and limb.startswith("leg") and character.has(*parts)
        }
        character = edit.turn(character, part, turns @ ease_rotations(local, *span) @ own.swapaxes(-1, -2))
        for limb, place in ends.items():  # the feet stay where they stand
            character = edit.reach(character, limb, place)
    return character
