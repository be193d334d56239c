# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted skates: a standing foot slides over the ground by known sizes, and swings back before its next print.

What a slide needs to be a fault that can be asked for, said before any check was run:

- the foot stands from 0.12 s before it to 0.12 s after: landing and lift-off truly slide;
- nothing but the feet is low enough to bear the body (Clean.upright): a foot without weight may drag;
- the foot has no note already in that stance;
- it is the only fault: the leg reaches, and the ankle stays within its range in the clip;
- it is a slide: the place of the sole that moves least from its first frame to its last moves by the planted size, or
  the foot only turns about a place under it.

Two more were added after misses. That no check could tell these cases apart is not proven; of what was tried here
nothing did, and what surely would, the load on the foot, is not known to any check:

- where the other foot stands too, no point of this one rises by more than 1 cm: a low step rises so before it travels;
- a foot that comes back by its leg does so in the air, 3 cm over the floor at least: else that is a second slide.

Where the other foot is off the ground the whole figure slides, as it does when the root is moved and the foot not
pinned; else the foot alone, by its leg.
"""

import zlib
from collections.abc import Iterator

import numpy as np

from .. import body
from ..measures.contacts import Stance
from ..measures.sole import carried, sole_of
from ..numeric.hull import smallest_norm
from ..shot import Character
from . import edit
from .plants import SIZES, Case, Clean, Window, min_jerk, quiet

Array = np.ndarray

#: Meters on an adult whose leg is ADULT long; scaled by the figure's own.
FAR = dict(zip(SIZES, (0.03, 0.04, 0.10), strict=True))
ADULT = 0.85
SECONDS = (0.15, 0.3)
TOLERANCE = 0.01
#: The ends of a stance in which no slip is measured, and some room, seconds.
EDGE = 0.12
#: The planted slide shows within this much of its size, meters on an adult, or this share.
SHOWS, SHOWS_SHARE = 0.004, 0.1
#: Meters on an adult.
RISES, ALOFT = 0.01, 0.03
#: The leg is never pulled straighter than this share of its length.
REACH = 0.985
#: Slides of one stance lie this many seconds apart; up to so many for a foot.
APART, PLACES = 1.0, 6


def skates(clean: Clean) -> Iterator[Case]:
    """All planted skates of a clean shot."""
    for side in body.SIDES:
        part = f"foot.{side}"
        if not clean.character.has(*body.LIMBS[f"leg.{side}"]) or part not in clean.touch.stances:
            continue
        for seconds in SECONDS:
            count = 0
            for stance in clean.touch.stances[part]:
                for window in _windows(clean, stance, seconds):
                    made = list(_at(clean, stance, side, seconds, window)) if count < PLACES else []
                    yield from made
                    count += bool(made)


def skated(clean: Clean, side: str, window: Window, offset: Array, lift: int) -> Character:
    """The foot slid by ``offset`` (3,) meters in the window, carried so until it lifts at sample ``lift``, and back
    before it stands again; the whole figure slid for good where the other foot is off the ground."""
    at = np.arange(clean.shot.count)
    first, last = window
    along = min_jerk((at - first) / (last - first))
    c = clean.character
    if _alone(clean, side, window):
        return edit.shift(c, along[:, None] * offset)
    again = next((s.first for s in clean.touch.stances[f"foot.{side}"] if s.first > lift), clean.shot.count)
    back = max(again - lift - 1, 1)
    along = along * (1 - min_jerk((at - lift) / back)) if again < clean.shot.count else along
    return edit.reach(c, f"leg.{side}", c.head(f"foot.{side}") + along[:, None] * offset)


def _windows(clean: Clean, stance: Stance, seconds: float) -> Iterator[Window]:
    """Where in a stance a slide has room, evenly spread."""
    rate = clean.shot.rate
    count = max(2, round(seconds * rate))
    edge = int(np.ceil(EDGE * rate))
    room = (stance.last - edge) - (stance.first + edge) - count
    if room < 0:
        return
    many = 1 + int(room / (APART * rate))
    for k in range(many):
        first = stance.first + edge + round(room * (k + 0.5) / many)
        yield first, first + count


def _alone(clean: Clean, side: str, window: Window) -> bool:
    """Whether the other foot is off the ground all through the window."""
    other = body.mirror(f"foot.{side}")
    if other not in clean.touch.planted:
        return False
    return not clean.touch.standing(other)[max(window[0] - 1, 0):window[1] + 2].any()


def _at(clean: Clean, stance: Stance, side: str, seconds: float, window: Window) -> Iterator[Case]:
    shot, c = clean.shot, clean.character
    whole = (stance.first, stance.last)
    if not quiet(clean.result, shot, whole, body.LIMBS[f"leg.{side}"]) or not clean.upright(whole):
        return
    scale = c.leg_length / ADULT
    for size in SIZES:
        far = FAR[size] * scale
        way = _way(clean, side, window, stance.last, far)
        if way is None:
            continue
        planted = skated(clean, side, window, way * far, stance.last)
        shown = _stillest(planted, side, window)
        # the drift is within 5 % of its most from there on to the end of the stance
        most = shot.frame(int(window[0] + np.ceil(0.8 * (window[1] - window[0]))))
        yield Case(f"skate in {seconds:g} s", size, clean.with_(planted), "slip", f"foot.{side}",
                   _severity(size, clean.keyed), shown, max(TOLERANCE, 0.1 * shown), window,
                   (most, shot.frame(stance.last)))


def _stillest(character: Character, side: str, window: Window) -> float:
    """Meters over level ground by which the stillest place of the sole moves in the window."""
    sole = carried(character, sole_of(character, side))
    # level is square to the world's Z, which is up in all of our clips
    moved = np.diff(sole[[*window], :, :2], axis=0)
    return float(np.linalg.norm(smallest_norm(moved, np.ones(moved.shape[:2], bool))))


def _lies(clean: Clean, side: str, window: Window) -> bool:
    """Whether no place of the sole rises in the window by more than a slide's foot does."""
    height = carried(clean.character, sole_of(clean.character, side))[window[0]:window[1] + 1, :, 2]
    return bool((height.max(0) - height[0]).max() <= RISES * clean.character.leg_length / ADULT)


def _severity(size: str, keyed: bool) -> str:
    """On bare captured skeletons the middle one is low: their soles are guessed."""
    return {"small": "low", "middle": "medium" if keyed else "low", "large": "high"}[size]


def _steps(clean: Clean, side: str, last: int) -> bool:
    """Whether the foot, standing until sample ``last``, goes well over the floor before it stands again, if it does."""
    again = next((s.first for s in clean.touch.stances[f"foot.{side}"] if s.first > last), None)
    if again is None:
        return True
    height = carried(clean.character, sole_of(clean.character, side))[last:again + 1, :, 2].min(1)
    return bool(height.max() > max(height[0], height[-1]) + ALOFT * clean.character.leg_length / ADULT)


def _way(clean: Clean, side: str, window: Window, last: int, far: float) -> Array | None:
    """A level direction (3,) in which the slide is one and the leg and ankle still reach, else None; the shot's name
    decides which."""
    c = clean.character
    root, mid, end = body.LIMBS[f"leg.{side}"]
    rows = slice(window[0], min(last + 2, clean.shot.count))
    length = float((c.rest_length(root) + c.rest_length(mid)) * c.scale[window[0]])
    start = np.random.default_rng(zlib.crc32(f"{clean.shot.name}{side}{window[0]}".encode())).uniform(0, 2 * np.pi)
    for k in range(12):
        angle = start + k * np.pi / 6
        way = np.array([np.cos(angle), np.sin(angle), 0.0])
        alone = _alone(clean, side, window)
        if not alone and not _steps(clean, side, last):
            return None
        stretched = np.linalg.norm(c.head(end)[rows] + far * way - c.head(root)[rows], axis=-1).max() / length
        if not alone and (stretched >= REACH or not _lies(clean, side, window)):
            continue
        slid = skated(clean, side, window, far * way, last)
        shows = abs(_stillest(slid, side, window) - far) <= max(SHOWS * c.leg_length / ADULT, SHOWS_SHARE * far)
        if shows and (alone or clean.ankles_stay(slid)):
            return way
    return None
