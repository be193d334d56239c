# SPDX-License-Identifier: GPL-3.0-or-later
"""A remedy applied to sampled motion, as an animator would apply it to the keys."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .. import body
from ..measures.contacts import Contacts, contacts
from ..measures.keyed import Keyed, keyed
from ..measures.turn import local_axes, parent_on
from ..numeric.ease import ease_places, ease_rotations, end_speeds, min_jerk
from ..numeric.fcurve import BEZIER
from ..numeric.rotation import exp, log, relative, seen_from, shortest, turned
from ..remedy import (
    Balance,
    Drift,
    Ease,
    Fly,
    Follow,
    Give,
    Land,
    Move,
    Offsets,
    Pin,
    Remedy,
    Settle,
    Shift,
    Smooth,
    Soften,
    Span,
    Turn,
)
from ..remedy_offsets import along
from ..shot import Character, Shot, with_character
from ..study import Study
from . import edit
from .replay import stretched

Array = np.ndarray
_LIMB_OF_END = {parts[2]: limb for limb, parts in body.LIMBS.items()}
#: Seconds before and after a stand over which a leg that is eased lets go of where its foot stands.
LANDING = 4 / 24
#: Seconds outside of an eased move that are eased against it where it turns off.
BEYOND = 3 / 24
#: Of a leg: what moves a standing foot less moves it not at all.
STANDS = 0.005
#: Legs a second: an ankle faster than this swings, however low.
SWINGS = 0.25


class CannotMend(ValueError):
    """A remedy that sampled motion cannot take, with the reason."""


def envelope(shot: Shot, first: float, last: float, ease: float) -> Array:
    """(F,) 1 from scene frame ``first`` to ``last``, minimum-jerk ramps of ``ease`` frames outside, 0 beyond."""
    outside = np.maximum(np.maximum(first - shot.frames, shot.frames - last), 0)
    return min_jerk(1 - outside / max(ease, 1e-9))


def mend(shot: Shot, remedy: Remedy, name: str, study: Study | None = None) -> Shot:
    """The shot with the remedy applied to the character ``name``; study: one of the shot, for who has it already.
    Raises CannotMend."""
    study = study or Study(shot)
    character = next((c for c in shot.characters if c.name == name), None)
    if isinstance(remedy, Move) and remedy.target not in body.PARTS:
        weight = envelope(shot, *remedy.frames, remedy.ease)[:, None]
        far = weight * np.array(remedy.offset)
        return replace(
            shot,
            props=tuple(
                replace(p, origin=p.origin + far, center=None if p.center is None else p.center + far)
                if p.name == remedy.target else p
                for p in shot.props
            ),
        )
    if character is None:
        raise CannotMend(f"no character {name!r} in the shot")
    if isinstance(remedy, Fly):
        return _flown(shot, remedy, character)
    return with_character(shot, character, _mended(study, remedy, character))


def _mended(study: Study, remedy: Remedy, character: Character) -> Character:
    shot = study.shot
    if isinstance(remedy, Move):
        return _brought(shot, character, remedy.target, remedy.frames, remedy.ease, remedy.offsets or (remedy.offset,))
    if isinstance(remedy, Soften):
        return _brought(shot, character, remedy.target, remedy.frames, 1, remedy.offsets)
    if isinstance(remedy, Balance):
        return _balanced(shot, character, remedy)
    if isinstance(remedy, Turn):
        return _turned(shot, remedy, character)
    if isinstance(remedy, Pin):
        return _pinned(shot, remedy, character)
    if isinstance(remedy, Give):
        offset = np.stack([_per_frame(shot, remedy.frames, tuple(o[k] for o in remedy.offsets)) for k in range(3)], -1)
        inside = (shot.frames >= remedy.frames[0]) & (shot.frames <= remedy.frames[1])
        return moved(character, remedy.target, offset * inside[:, None])
    if isinstance(remedy, Settle):
        return _settled(shot, remedy, character)
    if isinstance(remedy, (Smooth, Land)):
        return _settled(shot, Settle((remedy.target,), remedy.frames, (remedy.offsets,)), character)
    if isinstance(remedy, Drift):
        drift = exp(np.outer(np.radians(_per_frame(shot, remedy.frames, remedy.angle)), remedy.axis))
        for part in remedy.targets:
            character = edit.turn(character, part, drift)
        return character
    if isinstance(remedy, Shift):
        return _shifted(shot, remedy, character)
    if isinstance(remedy, Follow):
        return _following(shot, remedy, character)
    assert isinstance(remedy, Ease)
    return _eased(study, remedy, character)


def _brought(shot: Shot, character: Character, target: str, frames: Span, ease: int, offsets: Offsets) -> Character:
    """The target moved by offsets over the frames, one for all or one a frame, eased in before and out after them."""
    return moved(character, target, _way(shot, frames, ease, offsets))


def _balanced(shot: Shot, character: Character, remedy: Balance) -> Character:
    way = _way(shot, remedy.frames, 1, remedy.offsets)
    new = moved(character, remedy.target, way, [_LIMB_OF_END[part] for part in remedy.along])
    for part in remedy.along:
        new = edit.reach(new, _LIMB_OF_END[part], edit.aim(character, part) + along(way, part, character))
    return new


def _way(shot: Shot, frames: Span, ease: int, offsets: Offsets) -> Array:
    """(F, 3) m: offsets over the frames, one for all or one a frame, eased in before and out after them."""
    weight = envelope(shot, *frames, ease)[:, None]
    return weight * np.stack([_per_frame(shot, frames, tuple(o[k] for o in offsets)) for k in range(3)], -1)


def _flown(shot: Shot, remedy: Fly, character: Character) -> Shot:
    """Frames taken out of a flight or put into it, then the whole figure moved; its feet are off the ground."""
    first, last = remedy.frames
    if remedy.added:
        shot = stretched(shot, character.name, first, last, remedy.added)
        character = next(c for c in shot.characters if c.name == character.name)
    if not remedy.offsets:
        return shot
    span = (first, last + remedy.added)
    padded = ((0.0, 0.0, 0.0), *remedy.offsets, (0.0, 0.0, 0.0))
    offset = np.stack([_per_frame(shot, span, tuple(o[k] for o in padded)) for k in range(3)], -1)
    return with_character(shot, character, edit.shift(character, offset))


def moved(character: Character, target: str, offset: Array, along: Sequence[str] = ()) -> Character:
    """A limb's end, the pelvis (feet and hands with goals stay, but for the limbs ``along``, which go with it) or any
    other part moved by (F, 3)."""
    if target in _LIMB_OF_END:
        return edit.reach(character, _LIMB_OF_END[target], edit.aim(character, target) + offset, relax=True)
    if target == "pelvis":
        held = [
            limb
            for limb, parts in body.LIMBS.items()
            if limb not in along and (limb.startswith("leg") or any(g.part == parts[2] for g in character.goals))
        ]
        return edit.carry_root(character, offset, held)
    raise CannotMend(f"only a limb's end, the pelvis or a prop can be moved, not {target}")


def _turned(shot: Shot, remedy: Turn, character: Character) -> Character:
    weight = envelope(shot, *remedy.frames, remedy.ease)
    angle = _per_frame(shot, remedy.frames, remedy.angle if isinstance(remedy.angle, tuple) else (remedy.angle,))
    axes = remedy.axis if isinstance(remedy.axis[0], tuple) else (remedy.axis,)
    axis = np.stack([_per_frame(shot, remedy.frames, tuple(a[k] for a in axes)) for k in range(3)], -1)
    axis /= np.maximum(np.linalg.norm(axis, axis=-1, keepdims=True), 1e-12)
    rotation = exp(axis * np.radians(weight * angle)[:, None])
    if not remedy.about:
        return edit.turn(character, remedy.target, rotation)
    if remedy.target not in _LIMB_OF_END:
        raise CannotMend(f"only a foot or a hand can be turned about another place than its joint, not {remedy.target}")
    about = np.stack([_per_frame(shot, remedy.frames, tuple(p[k] for p in remedy.about)) for k in range(3)], -1)
    return edit.rolled(character, remedy.target, about, rotation)


def _per_frame(shot: Shot, frames: tuple[int, int], values: tuple[float, ...]) -> Array:
    """Values of the span's whole frames read at every sample, the ends held outside."""
    at = np.linspace(frames[0], frames[1], len(values)) if len(values) > 1 else np.array([float(frames[0])])
    return np.interp(shot.frames, at, values)


def _pinned(shot: Shot, remedy: Pin, character: Character) -> Character:
    if remedy.target not in _LIMB_OF_END:
        raise CannotMend(f"only a foot or a hand can be pinned, not {remedy.target}")
    if remedy.body:
        whole = np.stack([_per_frame(shot, remedy.frames, tuple(o[k] for o in remedy.body)) for k in range(3)], -1)
        character = edit.shift(character, whole * (shot.frames >= remedy.frames[0])[:, None])
    now = character.head(remedy.target)
    place = np.stack([_per_frame(shot, remedy.frames, tuple(p[k] for p in remedy.places)) for k in range(3)], -1)
    first, last = np.searchsorted(shot.frames, remedy.frames)
    last = min(int(last), len(now) - 1)
    offset = place - now
    offset[:first], offset[last + 1 :] = offset[first], offset[last]
    weight = envelope(shot, *remedy.frames, remedy.ease)[:, None]
    return edit.reach(character, _LIMB_OF_END[remedy.target], now + weight * offset)


def _settled(shot: Shot, remedy: Settle, character: Character) -> Character:
    inside = ((shot.frames >= remedy.frames[0]) & (shot.frames <= remedy.frames[1]))[:, None]
    before = character
    # from the root outward: what a part carries is brought to its own place after it
    told = sorted(zip(remedy.targets, remedy.offsets, strict=True), key=lambda t: -len(body.descendants(t[0])))
    for target, offsets in told:
        step = np.stack([_per_frame(shot, remedy.frames, tuple(o[k] for o in offsets)) for k in range(3)], -1) * inside
        if target in _LIMB_OF_END or target == "pelvis":
            character = moved(character, target, before.head(target) + step - character.head(target))
            continue
        # what has no goal of its own is turned about its joint until its end is there
        joint = character.head(target)
        turn = shortest(character.end(target) - joint, before.end(target) + step - joint)
        character = edit.turn(character, target, turn)
    return character


def _shifted(shot: Shot, remedy: Shift, character: Character) -> Character:
    first, last = (int(i) for i in np.clip(np.searchsorted(shot.frames, remedy.frames), 0, shot.count - 1))
    for part, frames in zip(remedy.targets, remedy.later, strict=True):
        local = local_axes(character, part)
        taken = np.arange(shot.count)
        taken[first : last + 1] = np.maximum(first, taken[first : last + 1] - round(frames * shot.rate / shot.fps))
        character = edit.with_turn(character, part, local[taken])
    return character


def _following(shot: Shot, remedy: Follow, character: Character) -> Character:
    first, last = (int(i) for i in np.clip(np.searchsorted(shot.frames, remedy.frames), 0, shot.count - 1))
    share = min_jerk(np.linspace(0, 1, last - first + 1))[:, None]
    rows = slice(first, last + 1)
    for part in remedy.targets:
        local = local_axes(character, part).copy()
        local[rows] = local[first] @ exp(share * log(relative(local[first], local[last])))
        character = edit.with_turn(character, part, local)
        above = parent_on(character, part)
        if above is None or character.axes is None:
            continue
        # a head that left its neck comes back to it as well
        carrier, joint = character.axes[:, character.index[above]], character.head(above)
        place = seen_from(carrier, character.head(part) - joint)
        wanted = place.copy()
        wanted[rows] = place[first] + share * (place[last] - place[first])
        still = np.broadcast_to(np.eye(3), carrier.shape)
        below = edit.below(character, part)
        character = edit.transform(character, below, still, joint, turned(carrier, wanted - place))
    return character


def _eased(study: Study, remedy: Ease, character: Character) -> Character:
    shot = study.shot
    first, last = (int(np.searchsorted(shot.frames, f)) for f in remedy.frames)
    last = min(last, len(shot.frames) - 1)
    if last - first < 2:
        return character
    span = (first, last, remedy.ease_in, remedy.ease_out)
    beyond = round(BEYOND * shot.rate)
    behind: Keyed = study.of(keyed, character)
    touch: Contacts = study.of(contacts, character)
    for part in remedy.paths:
        path = edit.aim(character, part) if part in _LIMB_OF_END else character.head(part)
        character = with_eased_keys(character, behind, part, remedy.frames, end_speeds(np.diff(path, axis=0), *span))
        character = moved(character, part, ease_places(path, *span) - path)
    for part in remedy.targets:
        local = local_axes(character, part)
        axes, above = character.axes, parent_on(character, part)
        assert axes is not None
        turns = np.broadcast_to(np.eye(3), local.shape) if above is None else axes[:, character.index[above]]
        own = axes[:, character.index[part]]
        speeds = end_speeds(log(relative(local[:-1], local[1:])), *span)
        character = with_eased_keys(character, behind, part, remedy.frames, speeds)
        eased = edit.turn(character, part, turns @ ease_rotations(local, *span, beyond) @ own.swapaxes(-1, -2))
        character = _feet_held(shot, character, eased, touch, part)
    return character


def _feet_held(shot: Shot, before: Character, eased: Character, touch: Contacts, part: str) -> Character:
    """The legs that the part carries solved again, so that feet stay: under the pelvis always, elsewhere where the
    easing would move a standing foot, letting go of it over some frames."""
    for limb, parts in body.LIMBS.items():
        if not limb.startswith("leg") or not before.has(*parts) or part not in ("pelvis", *parts[:2]):
            continue
        back = before.head(parts[2]) - eased.head(parts[2])
        weight = np.ones(shot.count)
        if part != "pelvis":
            moves = np.linalg.norm(back, axis=-1) > STANDS * before.leg_length
            speed = np.linalg.norm(np.gradient(before.head(parts[2]), axis=0), axis=-1) * shot.rate
            stands = touch.standing(parts[2]) if parts[2] in touch.planted else np.zeros(shot.count, bool)
            slid = np.flatnonzero(moves & stands & (speed < SWINGS * before.leg_length))
            away = np.abs(np.arange(shot.count)[:, None] - slid).min(1, initial=shot.count) / shot.rate
            weight = min_jerk(1 - away / LANDING)
        if weight.any():
            eased = edit.reach(eased, limb, eased.head(parts[2]) + weight[:, None] * back)
    return eased


def with_eased_keys(character: Character, behind: Keyed, part: str, frames: tuple[int, int],
                    speeds: tuple[float, float]) -> Character:
    """The part's straight keys over the span given handles with these speeds at its ends, as shares of the even one."""
    keys = character.keys
    if keys is None:
        return character
    left, right, kind = keys.left.copy(), keys.right.copy(), keys.interpolation.copy()
    for piece in behind.straight.get(part, ()):
        if piece.first > frames[0] + 1 or piece.last < frames[1] - 1:
            continue
        of = keys.of(piece.channel)
        a, b = (of.start + int(np.abs(keys.scene_frame[of] - f).argmin()) for f in (piece.first, piece.last))
        third = (keys.scene_frame[b] - keys.scene_frame[a]) / 3
        rise = (keys.value[b] - keys.value[a]) / 3
        right[a] = keys.scene_frame[a] + third, keys.value[a] + speeds[0] * rise
        left[b] = keys.scene_frame[b] - third, keys.value[b] - speeds[1] * rise
        kind[a] = BEZIER
    return replace(character, keys=replace(keys, left=left, right=right, interpolation=kind))
