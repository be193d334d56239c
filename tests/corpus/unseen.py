# SPDX-License-Identifier: GPL-3.0-or-later
"""Takes, cameras and lanterns that tangent's rules were not made on: by seed, and what ``staged`` leaves out of clips.

Rules are chosen on the views of ``staged`` and on those of the seeds in CHOSEN; HELD's are only counted. When a rule is
changed for what a view of HELD showed, its seed moves to CHOSEN and HELD gets a new one.
"""

import tempfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import chain
from pathlib import Path

import bpy
import numpy as np
from plumbline.core.shot import Shot
from plumbline.core.testing import clips, corpus

from . import files, plate_data
from .staged import ACTIONS, LONGEST, Angle, Take, acted, angles_of, played, takes

#: Seeds of cameras and lanterns. Each lays two views on every take of ``staged`` and on every take beside them.
CHOSEN: tuple[int, ...] = ()
HELD = 4101
VIEWS = 2
#: The shortest piece of a clip that is staged, seconds: a kiss holds a quarter of one.
SHORTEST = 0.4
CHARACTERS = ("Panda_b4w_Final", "santa_runner_v5", "newYearGame")
PARTS = ("chosen on", "old views, clips held back", "never used")


@dataclass(frozen=True)
class Plan:
    """A take with its angles. part: one of PARTS; seed: of its lanterns, None where they stand as ``staged`` says."""

    part: str
    take: Take
    angles: tuple[Angle, ...]
    seed: int | None = None


def plans(more: Path | None) -> Iterator[Plan]:
    """Everything that is seen: the views of ``staged``, then those by seed."""
    for take in takes(more):
        yield Plan(PARTS[int(corpus.held_back(take.clip))], take, angles_of(take))
    for seed in (*CHOSEN, HELD):
        part = PARTS[2 if seed == HELD else 0]
        for take in chain(takes(more), beside(more)):
            yield Plan(part, take, strewn(take.clip, seed), seed)


def beside(more: Path | None) -> Iterator[Take]:
    """What ``staged`` leaves out: later pieces of long clips, trials with force plates that tell a head, the other
    actions of the .glb files, other characters."""
    for name in clips.names(more):
        clip = clips.clip(name, more)
        long = len(clip.root) / clip.fps
        for start in np.arange(LONGEST, long - SHORTEST, LONGEST):
            build = partial(played, partial(clips.load, name, 24.0, more), float(start))
            yield Take("captured", f"{name} from {start:.0f} s", build)
    if more is None:
        return
    for name in (*plate_data.TRIALS, plate_data.TREADMILL):
        if _known(more, name):
            yield Take("captured", name, partial(played, partial(_trial, more, name)))
    with tempfile.TemporaryDirectory() as folder:
        for path in sorted(more.rglob("*.glb")):
            kept = Path(folder) / f"{path.stem}.blend"
            for action in _others(path):
                yield Take("hand-keyed", f"{path.stem} {action}", partial(acted, path, action, kept))
    for path in sorted(more.rglob("*.blend")):
        if path.stem in CHARACTERS:
            yield Take("hand-keyed", path.stem, partial(files.open_blend, path))


def _known(more: Path, name: str) -> bool:
    try:
        return _trial(more, name).characters[0].has("head")
    except FileNotFoundError:
        return False


def _trial(more: Path, name: str) -> Shot:
    return plate_data.trial(more, name).sampled(24.0)[0]


def _others(path: Path) -> Sequence[str]:
    files.import_glb(path)
    known = set(ACTIONS.get(path.stem, ()))
    least = SHORTEST * files.GLB_FPS
    return sorted(
        a.name for a in bpy.data.actions if a.name not in known and a.frame_range[1] - a.frame_range[0] >= least
    )


def strewn(clip: str, seed: int) -> tuple[Angle, ...]:
    """Cameras anywhere about the figure: lens, height, framing, travel and second figure by seed and clip."""
    rng = np.random.default_rng([seed, zlib.crc32(clip.encode())])
    out = []
    for k in range(VIEWS):
        azimuth, pitch = rng.uniform(-180.0, 180.0), rng.uniform(-8.0, 25.0)
        lens = float(np.exp(rng.uniform(np.log(24.0), np.log(135.0))))
        framing = ("full", "medium")[int(rng.integers(2))]
        orbit = float(rng.uniform(-35.0, 35.0)) if rng.random() < 0.3 else 0.0
        two = bool(rng.random() < 0.25)
        words = [framing, f"{lens:.0f} mm", f"from {azimuth:.0f}", *(["moving"] * bool(orbit)), *(["two"] * two)]
        name = f"seed {seed}, {k + 1}: {', '.join(words)}"
        out.append(Angle(name, float(azimuth), lens, framing, orbit, two, float(pitch)))
    return tuple(out)
