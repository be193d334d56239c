# SPDX-License-Identifier: GPL-3.0-or-later
"""The recipes for wiggles, lone frames and kinks that were tried first, and what they find: a yardstick for the checks.

What is asked of the checks on captured motion are the shares that these recipes had found of faults laid on bare paths.
Run on the faults planted here, in bodies, they tell how much of a difference is the plants' and how much the check's.
They look at one path, look at nothing else, and give way to no other note.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from plumbline.core.catalogue import chosen
from plumbline.core.measures.ticks import Row, Ticks, ticks
from plumbline.core.numeric.spacing import agitation, departures
from plumbline.core.runner import finish
from plumbline.core.shot import Character, Shot
from plumbline.core.study import Study
from plumbline.core.testing.plants import SIZES, Case

Array = np.ndarray

#: Frames from the planted one within which a hit counts.
WITHIN = 2


def wiggles(row: Row, p: int) -> Array:
    """Places of path p (indices into the row) in runs of five reversals of acceleration and more, over 0.006 leg."""
    second = row.steps[p, 1:] - row.steps[p, :-1]
    size = np.linalg.norm(second, axis=-1)
    turned = (second[1:] * second[:-1]).sum(-1) < -0.3 * size[1:] * size[:-1]
    found: list[int] = []
    run: list[int] = []
    for k, one in enumerate([*turned.tolist(), False]):
        if one:
            run.append(k)
            continue
        if len(run) >= 5 and np.median(size[run[0] : run[-1] + 2]) / 4 > 0.006:
            found += range(run[0] + 1, run[-1] + 3)
        run = []
    return np.array(found, int)


def lone_frames(row: Row, p: int) -> Array:
    """Places where a large step stands beside a small one: by 15 % of the steps around, 0.004 leg, 5 times the rest."""
    steps = row.steps[p]
    lengths = np.linalg.norm(steps, axis=-1)
    found = []
    for i in range(2, len(steps) - 1):
        a, b, c, d = lengths[i - 2 : i + 2]
        depth = max(min(b - a, d - c, (b - c) / 2), min(a - b, c - d, (c - b) / 2))
        mean = (a + d) / 2
        if depth <= max(0.15 * mean, 0.004, 5 * agitation(row.sizes[p], i, i, row.around)):
            continue
        one_way = all(u @ v > 0.5 * np.linalg.norm(u) * np.linalg.norm(v)
                      for u, v in ((steps[i - 1], steps[i]), (steps[i - 2], steps[i + 1])))
        if one_way:
            found.append(i)
    return np.array(found, int)


def kinks(row: Row, p: int) -> Array:
    """Places where the path turns by 20 degrees and more, mostly in one frame, unslowed, in one burst."""
    steps = row.steps[p]
    lengths = np.maximum(np.linalg.norm(steps, axis=-1), 1e-12)
    cosine = (steps[1:] * steps[:-1]).sum(-1) / (lengths[1:] * lengths[:-1])
    theta = np.concatenate([[0.0], np.degrees(np.arccos(np.clip(cosine, -1, 1))), [0.0]])
    burst = np.concatenate([[0.0], np.linalg.norm(steps[1:] - steps[:-1], axis=-1), [0.0]])
    found = []
    for i in range(3, len(steps) - 2):
        beside = theta[i - 1] + theta[i + 1] + (theta[i - 2] + theta[i + 2]) / 2
        slow = min(lengths[i - 1], lengths[i])
        around = min(lengths[i - 3 : i - 1].mean(), lengths[i + 1 : i + 3].mean())
        largest = max(burst[[i - 2, i - 1, i + 1, i + 2]])
        if (theta[i] > 20 and theta[i] > 0.45 * (theta[i] + beside) and slow > 0.7 * around and slow * row.rate > 0.4
                and burst[i] > 1.5 * largest):
            found.append(i)
    return np.array(found, int)


RECIPES: dict[str, Callable[[Row, int], Array]] = {"jitter": wiggles, "uneven-spacing": lone_frames,
                                                   "arc-break": kinks}


def hits(check: str, shot: Shot, character: Character, part: str) -> Array:
    """Samples at which the check's recipe speaks of the part's path: on all drawings, and above 36 a second on every
    second (third, ...) one as well, as the checks look."""
    known: Ticks = Study(shot).of(ticks, character)
    p = known.parts.index(part)
    found = [row.phase + row.stride * RECIPES[check](row, p) for row in known.rows if row.places.shape[1] > 8]
    return np.asarray(known.drawings[np.unique(np.concatenate(found)).astype(int)])


def finds(case: Case) -> bool:
    """Whether the recipe of the case's check speaks within two frames of what was planted."""
    first, last = case.window if case.check == "jitter" else (case.window[0], case.window[0])
    at = hits(case.check, case.shot, case.shot.characters[0], case.part)
    return bool(((at >= first - WITHIN) & (at <= last + WITHIN)).any())


def drowned(case: Case, clean: Shot) -> bool:
    """Whether the clip itself, within 0.75 s of the planted frame, departs from its smooth path by more than the fault
    makes it depart there."""
    known: Ticks = Study(clean).of(ticks, clean.characters[0])
    row, p = known.every, known.parts.index(case.part)
    now: Ticks = Study(case.shot).of(ticks, case.shot.characters[0])
    made = np.linalg.norm(departures(now.places[p] - known.places[p]), axis=-1)
    i = int(np.searchsorted(known.drawings, case.window[0]))
    j = int(np.searchsorted(known.drawings, case.window[1])) if case.check == "jitter" else i
    own = row.sizes[p, max(0, i - row.around) : j + row.around + 1]
    return bool(np.nanmax(own) > np.nanmax(made[max(0, i - 1) : j + 2]))


@dataclass
class Yardstick:
    """What recipes and checks say of the same captured motion.

    planted: check, rate, size -> cases; those of them that the recipe finds, the check alone, the check beside the
    others; those that the clip itself drowns. clean: rate -> minutes, and check, rate -> the recipe's notes.
    """

    planted: dict[tuple[str, str, str], list[int]] = field(default_factory=lambda: defaultdict(lambda: [0] * 5))
    minutes: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    clean: dict[tuple[str, str], int] = field(default_factory=lambda: defaultdict(int))

    def look(self, rate: str, shot: Shot) -> None:
        """Counts the recipes' notes on a clean clip: those of one path within two frames are one."""
        self.minutes[rate] += shot.count / shot.rate / 60
        for character in shot.characters:
            known: Ticks = Study(shot).of(ticks, character)
            for check in RECIPES:
                for part in known.parts:
                    if check == "jitter" or not part.startswith("foot"):
                        at = hits(check, shot, character, part)
                        self.clean[check, rate] += int((np.diff(at, prepend=-9) > WITHIN).sum())

    def add(self, rate: str, case: Case, clean: Shot, found: bool) -> None:
        """Counts one case; found: by the check beside the others."""
        alone = any(case.part in n.parts and n.start - 1 <= case.worst[1] and case.worst[0] <= n.end + 1
                    for n in finish(case.shot, chosen([case.check])).notes)
        row = self.planted[case.check, rate, case.size]
        for k, one in enumerate((True, finds(case), alone, found, drowned(case, clean))):
            row[k] += one

    def table(self, kept: Sequence[str]) -> Iterator[str]:
        """kept: the lines of a page whose rows stand in for what was not planted anew."""
        yield ("| check | rate | size | n | the recipe finds | the check alone | beside the others | the clip itself "
               "departs by more |")
        yield "|---" * 8 + "|"
        rows = {key: self._row(key) for key in self.planted}
        again = {key[0] for key in rows}
        for line in kept:
            cells = [cell.strip() for cell in line.split("|")[1:4]]
            if line.count("|") == 9 and cells[0] in RECIPES and cells[0] not in again:
                check, rate, size = cells
                rows[check, rate, size] = line
        for key in sorted(rows, key=lambda key: (list(RECIPES).index(key[0]), key[1], SIZES.index(key[2]))):
            yield rows[key]
        yield ""
        rates = sorted(self.minutes)
        yield "| notes a minute of the recipe on the clean clips | " + " | ".join(rates) + " |"
        yield "|---" * (1 + len(rates)) + "|"
        for check in RECIPES:
            yield f"| {check} | " + " | ".join(f"{self.clean[check, r] / self.minutes[r]:.1f}" for r in rates) + " |"

    def _row(self, key: tuple[str, str, str]) -> str:
        n, *counts = self.planted[key]
        return f"| {' | '.join(key)} | {n} | " + " | ".join(f"{100 * c / n:.0f} %" for c in counts) + " |"
