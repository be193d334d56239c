# SPDX-License-Identifier: GPL-3.0-or-later
"""Where each part stands on every drawing, for what judges the spacing and the line of its path."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..need import Need
from ..numeric.spacing import departures
from ..shot import Character
from ..study import Study, measure
from .exposure import Exposure, exposure
from .moves import stride_of
from .paths import where

Array = np.ndarray

#: Part -> the part whose end draws its path: of a hand the wrist, of a foot the ankle.
PATHS = {"pelvis": "pelvis", "chest": "chest", "head": "head", "hand.L": "forearm.L", "hand.R": "forearm.R",
         "foot.L": "shin.L", "foot.R": "shin.R"}
#: Part -> what moves it, besides what it hangs from.
MOVED_BY = {
    "pelvis": ("pelvis",), "chest": ("spine", "chest"), "head": ("neck", "head"),
    **{f"hand.{s}": (f"clavicle.{s}", f"upper_arm.{s}", f"forearm.{s}") for s in "LR"},
    **{f"foot.{s}": (f"thigh.{s}", f"shin.{s}") for s in "LR"},
}
#: Of more drawings a second no single one is seen: what is out of place on one of them alone is over before it shows.
FASTEST = 72.0
#: Seconds around a departure that tell how restless the motion is anyway.
SURROUNDINGS = 0.75


@dataclass(frozen=True)
class Row:
    """The paths on every ``stride``-th drawing from drawing ``phase`` on.

    places (P, N, 3) legs; rate: so many of them a second.
    """

    phase: int
    stride: int
    places: Array
    rate: float

    @cached_property
    def steps(self) -> Array:
        """(P, N - 1, 3) legs from one to the next."""
        return np.asarray(np.diff(self.places, axis=1))

    @cached_property
    def departures(self) -> Array:
        """(P, N, 3) legs off the cubic through two neighbors on each side; NaN at the ends."""
        return departures(self.places)

    @cached_property
    def sizes(self) -> Array:
        """(P, N) lengths of the departures."""
        d = self.departures
        return np.asarray(np.sqrt(d[..., 0] ** 2 + d[..., 1] ** 2 + d[..., 2] ** 2))

    @property
    def around(self) -> int:
        """Drawings of SURROUNDINGS."""
        return max(4, round(SURROUNDINGS * self.rate))

    @property
    def seen(self) -> bool:
        """Whether its drawings are shown long enough for one to be seen."""
        return self.rate < FASTEST

    def drawing(self, i: int) -> int:
        return self.phase + self.stride * i


@dataclass(frozen=True)
class Ticks:
    """parts: names of PATHS, P of them. places (P, D, 3): legs, on each drawing; drawings (D,): their samples; seconds:
    of one drawing; stride: every so many drawings are 24 to 36 a second."""

    parts: tuple[str, ...]
    places: Array
    drawings: Array
    seconds: float
    stride: int

    @cached_property
    def every(self) -> Row:
        """All drawings."""
        return Row(0, 1, self.places, 1.0 / self.seconds if self.seconds > 0 else 24.0)

    @cached_property
    def rows(self) -> tuple[Row, ...]:
        """All drawings; above 36 a second each phase of every stride-th one too, last."""
        return (self.every, *self._phases())

    def _phases(self) -> Iterator[Row]:
        for phase in range(self.stride if self.stride > 1 else 0):
            yield Row(phase, self.stride, self.places[:, phase :: self.stride], self.every.rate / self.stride)


@measure(Need.JOINTS, uses=(exposure,))
def ticks(study: Study, character: Character) -> Ticks:
    shown: Exposure = study.of(exposure, character)
    taken = shown.drawings
    parts = tuple(p for p, drawn in PATHS.items() if character.has(drawn))
    leg = max(character.leg_length, 1e-9)
    places = np.empty((len(parts), len(taken), 3))
    whole = len(taken) == len(character.heads)
    for k, part in enumerate(parts):
        path = where(character, PATHS[part])
        places[k] = path if whole else path[taken]
    places /= leg
    times = study.shot.times[taken]
    seconds = float(np.median(np.diff(times))) if len(times) > 1 else 0.0
    return Ticks(parts, places, taken, seconds, stride_of(times))


def unjudged(study: Study, character: Character) -> str:
    """Why no path of a character is judged drawing by drawing, '' where some are."""
    shown: Exposure = study.of(exposure, character)
    if shown.step > 1 and not shown.stepped:
        return f"{shown.sentence}; from drawing to drawing every path has corners"
    return shown.sentence if shown.stepped else ""


def held_paths(study: Study, character: Character) -> tuple[str, frozenset[str]]:
    """The parts of PATHS that are not judged because what moves them is drawn more seldom, and the sentence for them,
    '' where there are none."""
    shown: Exposure = study.of(exposure, character)
    held = {p for p, n in shown.parts.items() if n > 1 or n == -1}
    off = frozenset(p for p in PATHS if held & set(MOVED_BY[p]))
    return (f"{shown.sentence}; so their paths are not judged" if off else ""), off
