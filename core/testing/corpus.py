# SPDX-License-Identifier: GPL-3.0-or-later
"""The clips that the corpus runs on, and the notes on them that are right: faults of the clips themselves.

Any other note of medium severity or above on a clean clip is a failure: of the clip, and then it joins the list
(tests/corpus/accepted.json) with its reason, or of the check.
"""

import json
import zlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

import numpy as np

from ..note import Note
from ..shot import Shot
from . import clips
from .rekey import rekeyed
from .replay import replayed

Array = np.ndarray
RATES = (24.0, 30.0)
ACCEPTED = Path(__file__).resolve().parents[2] / "tests" / "corpus" / "accepted.json"
#: Frames of an accepted note may be off by this many seconds: the samples of another rate lie elsewhere.
SLACK = 0.2


@dataclass(frozen=True)
class Accepted:
    """One check's notes on one clip. part: a body part or several ('shin.L, shin.R'), or '' for any; first, last:
    frames at ``rate``, the range's first being 1, or None for the whole clip; rate: the clip's own, of the clip keyed
    anew 24; keyed: only there."""

    clip: str
    check: str
    part: str
    first: int | None
    last: int | None
    rate: float
    reason: str
    keyed: bool = False

    def covers(self, clip: str, shot: Shot, note: Note) -> bool:
        if clip != self.clip or note.check != self.check or (self.keyed and shot.characters[0].keys is None):
            return False
        if self.part and not set(note.parts) <= set(self.part.split(", ")):
            return False
        if self.first is None or self.last is None:
            return True
        start, end = ((f - (shot.first or 0)) / shot.fps for f in (note.start, note.end))
        return (self.first - 1) / self.rate - SLACK <= start and end <= (self.last - 1) / self.rate + SLACK


@cache
def accepted() -> tuple[Accepted, ...]:
    return tuple(Accepted(**row) for row in json.loads(ACCEPTED.read_text("utf-8"))["accepted"])


@cache
def faulty_proxies() -> dict[str, str]:
    """Clips whose proxy of keyed motion is no clean clip, since sparse keys themselves bring a fault, and why."""
    return dict(json.loads(ACCEPTED.read_text("utf-8"))["faulty_proxies"])


#: A fault of one frame leaves the rest of its clip to plant in; planters look for quiet places.
OF_ONE_FRAME = ("arc-break", "uneven-spacing", "jitter", "pop")


def faulty(clip: str, kind: str) -> bool:
    """Whether the clip, 'captured' or 'keyed' anew from it, has faults of its own that leave no place to plant in."""
    return any(a.clip == clip and (a.keyed and kind == "keyed" or not a.keyed and a.check not in OF_ONE_FRAME)
               for a in accepted())


def unaccepted(clip: str, shot: Shot, notes: Iterable[Note]) -> list[Note]:
    """The notes of medium severity or above that the list does not hold, notes on trial left out."""
    return [n for n in notes if n.severity.rank >= 1 and not n.trial
            and not any(a.covers(clip, shot, n) for a in accepted())]


@dataclass(frozen=True)
class Subject:
    """One clip at one rate. kind: 'captured', 'keyed' (proxies and our own takes) or 'hand-keyed' (people's); source:
    what it comes from along with others, a session of capture or a folder of files."""

    kind: str
    clip: str
    rate: str
    make: Callable[[], Shot]
    source: str = ""

    @property
    def held_back(self) -> bool:
        """A third of the clips, by a fixed hash of the name, on which no limit is chosen."""
        return held_back(self.clip)


def held_back(clip: str) -> bool:
    return zlib.crc32(clip.encode()) % 3 == 0


def rates_of(fps: float) -> list[float]:
    """The clip's own rate and those below it to which it is resampled."""
    return [fps, *(r for r in RATES if r < fps - 0.5)]


def captured(more: Path | None = None) -> Iterator[Subject]:
    for name in clips.names(more):
        own = clips.clip(name, more).fps
        for fps in rates_of(own):
            label = "own" if fps == own else f"{fps:g}"
            yield Subject("captured", name, label, partial(clips.load, name, fps, more), session(name))


def session(clip: str) -> str:
    """What its name shares with the clips captured along with it: its first word, and a number before the last."""
    first, *others = clip.split("_")[:-1] or [clip]
    return "_".join([first, *(word for word in others if word.isdigit())])


def proxies() -> Iterator[Subject]:
    """Registry-carried clips keyed anew at 24 frames a second (those below it at their own rate)."""
    for name in clips.names():
        yield Subject("keyed", name, "24", partial(proxy, name))


@cache
def at_24(name: str) -> Shot:
    own = clips.clip(name).fps
    return clips.load(name, 24.0 if own > 24.5 else None)


@cache
def proxy(name: str) -> Shot:
    return rekeyed(at_24(name))


def resampled(shot: Shot, fps: float) -> Shot:
    """A sampled shot at a lower rate, along smooth curves through its samples; keys, props and camera left out."""
    at = np.arange(0, shot.count - 1 + 1e-9, shot.rate / fps)

    # a moving ground mesh and props would need the same; the corpus has none that matter
    return Shot(name=shot.name, frames=np.arange(1.0, len(at) + 1), fps=fps, gravity=shot.gravity,
                characters=tuple(replayed(c, at) for c in shot.characters), unit_scale=shot.unit_scale, file=shot.file)
