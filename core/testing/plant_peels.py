# SPDX-License-Identifier: GPL-3.0-or-later
"""Planted late heels: a foot stays flat for some frames too long in a walk and then catches up with its lift-off.

The foot holds the turn that it has when its heel leaves, turns about its ball meanwhile, and comes up with the clip's
own turn two frames after lift-off. What it needs to be a fault that can be asked for, said before any check was run:

- a whole step of a walk whose heel leaves before the toes by the delay at least;
- the leg still reaches, else it over-reaches first, which is another fault; where it does not, the hips sink round the
  step, no farther than SINKS, as far as it needs: who walks flat-footed walks with bent knees;
- no note on the leg is near.
"""

from collections.abc import Iterator

import numpy as np

from .. import body
from ..measures.peel import Peel, peels
from ..measures.sole import carried, sole_of
from ..measures.tread import tread
from ..numeric.ease import min_jerk
from ..numeric.rotation import exp, log
from ..shot import SOLE_POINTS, Character
from ..study import Study
from . import edit
from .plants import Case, Clean, quiet

Array = np.ndarray

#: size -> frames of 24 by which the heel is late.
LATE = {"small": 2, "large": 3}
#: Frames of 24 after lift-off within which the foot has caught up.
CATCHES = 2
#: Of the leg: how far the hips sink at most, tried in this order, and s in which they do and come up again.
SINKS = (0.0, 0.01, 0.02, 0.03, 0.04, 0.05)
EASES = 0.3
#: The leg is never pulled straighter than this share of its length.
REACH = 0.995
_BALL = SOLE_POINTS.index("ball")


def late_heels(clean: Clean) -> Iterator[Case]:
    """All planted late heels of a clean shot. What a note measures depends on how the knee goes on meanwhile, so no
    size is asked."""
    c, shot = clean.character, clean.shot
    study = Study(shot)
    drawn = study.of(tread, c).samples
    catch = round(CATCHES * shot.rate / 24)
    for step in study.of(peels, c):
        limb = f"leg.{step.fall.part[-1]}"
        heel, last = int(drawn[step.down]), step.fall.span.last
        for size, frames in LATE.items():
            late = round(frames * shot.rate / 24)
            if not step.heel_off or heel + late > last:
                continue
            if not quiet(clean.result, shot, (heel, last), body.LIMBS[limb]):
                continue
            held = _reaching(c, step, heel, late, catch, round(EASES * shot.rate))
            if held is not None:
                yield Case("heel held down", size, clean.with_(held), "late-roll", step.fall.part, "low", None, 0.0,
                           (heel, last), (shot.frame(heel), shot.frame(min(last, heel + late + catch))))


def _reaching(c: Character, step: Peel, heel: int, late: int, catch: int, eases: int) -> Character | None:
    """The foot held with the least sinking of the hips with which its leg reaches; None where none does."""
    at = np.arange(len(c.heads), dtype=float)
    end = step.fall.span.last + catch
    weight = min_jerk((at - heel) / eases + 1) * min_jerk((end - at) / eases + 1)
    for sinks in SINKS:
        sunk = edit.carry_root(c, -sinks * c.leg_length * weight[:, None] * c.up) if sinks else c
        held = held_down(sunk, step, heel, late, catch)
        if not any(edit.overreaches(c, held, f"leg.{s}", REACH) for s in body.SIDES) and _stays(c, sunk):
            return held
    return None


def _stays(old: Character, new: Character) -> bool:
    """Whether both ankles are where they were."""
    return all(np.abs(new.head(f"foot.{s}") - old.head(f"foot.{s}")).max() < 1e-4
               for s in body.SIDES if old.has(f"foot.{s}"))


def held_down(c: Character, step: Peel, heel: int, late: int, catch: int) -> Character:
    """The character with one foot's turn held from sample ``heel`` for ``late`` samples, caught up with ``catch``
    samples after lift-off."""
    assert c.axes is not None
    part = step.fall.part
    side = body.side(part) or ""
    count = len(c.heads)
    end = min(step.fall.span.last + catch, count - 1)
    at = np.arange(count, dtype=float)
    at[heel:end + 1] = np.interp(at[heel:end + 1], [heel, heel + late, end], [heel, heel, end])
    axes = c.axes[:, c.index[part]]
    low = np.clip(np.floor(at).astype(int), 0, count - 2)
    share = at - low
    between = exp(share[:, None] * log(axes[low + 1] @ axes[low].swapaxes(-1, -2)))
    turn = between @ axes[low] @ axes.swapaxes(-1, -2)
    out = edit.rolled(c, part, carried(c, sole_of(c, side))[:, _BALL], turn)
    toe = f"toe.{side}"
    return edit.turn(out, toe, turn.swapaxes(-1, -2)) if c.has(toe) else out
