# SPDX-License-Identifier: GPL-3.0-or-later
"""What the motion alone says of the ground's push, beside what force plates felt.

    python -m tests.corpus.plates DIR

DIR holds walk_force_plates and force_plates. For each trial and rate, over frames on which the plates hold all that the
ground gives: root mean square error of the vertical force in body weights, and of the required pressure point along
and across the way that the body goes (its mean heading while judged), at three phases of sampling. Frames near the ends
of a trial, or near flight, are left out: there no window is whole.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from plumbline.core.measures.mass import masses_of
from plumbline.core.measures.mass_motion import MassMotion, mass_motion_of
from plumbline.core.numeric.local_fit import HALF_WINDOW
from plumbline.core.tables.segments import TABLES

from .plate_people import NAMES, TOUCH, Trial, treadmill, trial

Array = np.ndarray
RATES = (24.0, 30.0, 60.0)
PHASES = (0.0, 1 / 3, 2 / 3)
#: Asked of the treadmill walk: m along, m across, body weights.
GOAL = (0.04, 0.025, 0.05)


@dataclass(frozen=True)
class Read:
    """Errors of all judged frames of a trial at one rate. load (N,) body weights; along, across (N,) m."""

    load: Array
    along: Array
    across: Array

    def rms(self) -> tuple[float, float, float]:
        """Of along, across (m) and load."""
        return tuple(float(np.sqrt(np.mean(v**2))) if len(v) else float("nan")  # type: ignore[return-value]
                     for v in (self.along, self.across, self.load))


def motion_of(t: Trial, fps: float, phase: float, table: str = "mean", half_window: float = HALF_WINDOW) -> MassMotion:
    shot = t.shot(fps, phase)
    character = shot.characters[0]
    return mass_motion_of(shot, character, masses_of(character, TABLES[table]), half_window=half_window)


def read(t: Trial, fps: float, table: str = "mean", half_window: float = HALF_WINDOW) -> Read:
    """The trial at one rate, phases together."""
    loads, alongs, acrosses = [], [], []
    for phase in PHASES:
        motion = motion_of(t, fps, phase, table, half_window)
        at = t.start(fps, phase) + np.arange(len(motion.mass)) / fps
        pull = float(np.linalg.norm(motion.gravity))
        felt = np.interp(at, t.plate_times, t.force[:, 2])
        where = np.stack([np.interp(at, t.plate_times, t.point[:, k]) for k in range(2)], 1)
        whole = _all_about(t, at) & motion.sure & (at <= t.plate_times[-1])
        error = motion.pressure_point(np.array([0.0, 0.0, t.floor]))[:, :2] - where
        pressed = whole & motion.bears & ~_near_flight(t, at) & np.isfinite(error).all(1)
        heading = motion.velocity[pressed, :2].mean(0) if pressed.any() else np.array([1.0, 0.0])
        if np.linalg.norm(heading) < 0.3:  # standing, or on a belt: as the feet point
            heading = _facing(t)
        heading = heading / np.linalg.norm(heading)
        alongs.append(error[pressed] @ heading)
        acrosses.append(error[pressed] @ [-heading[1], heading[0]])
        loads.append((motion.load - felt / (t.mass * pull))[whole])
    return Read(np.concatenate(loads), np.concatenate(alongs), np.concatenate(acrosses))


def _all_about(t: Trial, at: Array) -> Array:
    """Whether the plates hold everything all through the window about each time."""
    lacking = t.plate_times[~t.whole]
    if not len(lacking):
        return np.ones(len(at), bool)
    k = np.searchsorted(lacking, at)
    before, after = lacking[np.maximum(k - 1, 0)], lacking[np.minimum(k, len(lacking) - 1)]
    return np.asarray(np.minimum(np.abs(at - before), np.abs(after - at)) > HALF_WINDOW / 2)


def _near_flight(t: Trial, at: Array) -> Array:
    """Within 0.1 s of a time at which nothing presses."""
    free = t.plate_times[(t.force[:, 2] < TOUCH) & t.whole]
    if not len(free):
        return np.zeros(len(at), bool)
    k = np.clip(np.searchsorted(free, at), 0, len(free) - 1)
    return np.asarray(np.minimum(np.abs(at - free[k]), np.abs(at - free[np.maximum(k - 1, 0)])) < 0.1)


def _facing(t: Trial) -> Array:
    ahead = sum((t.points[f"toe.{s}"] - t.points[f"heel.{s}"]).mean(0) for s in "LR")
    return np.asarray(ahead)[:2]


def trials(folder: Path) -> list[Trial]:
    return [treadmill(folder / "walk_force_plates"), *(trial(folder / "force_plates", name) for name in NAMES)]


def table_of(found: Sequence[Trial]) -> list[str]:
    """Lines of the table of all trials and rates."""
    lines = ["| trial | fps | frames | pressure point along / across, cm rms | 95 % under | vertical force, BW rms |",
             "|---|---|---|---|---|---|"]
    for t in found:
        for fps in RATES:
            r = read(t, fps)
            along, across, load = r.rms()
            far = [100 * float(np.quantile(np.abs(v), 0.95)) if len(v) else float("nan") for v in (r.along, r.across)]
            lines.append(f"| {t.name} | {fps:g} | {len(r.along)} | {100 * along:.1f} / {100 * across:.1f} | "
                         f"{far[0]:.1f} / {far[1]:.1f} | {load:.3f} |")
    return lines


def floors_of(t: Trial) -> list[str]:
    """Lines: what the choice of table and of window is worth on one trial."""
    lines = ["| table | half-window, s | " + " | ".join(f"{fps:g} fps" for fps in RATES) + " |",
             "|---|---|" + "---|" * len(RATES)]
    rows = [(name, HALF_WINDOW) for name in TABLES] + [("mean", w) for w in (0.09, 0.11, 0.15, 0.18)]
    for name, window in rows:
        cells = []
        for fps in RATES:
            along, across, load = read(t, fps, name, window).rms()
            cells.append(f"{100 * along:.1f} / {100 * across:.1f}, {load:.3f}")
        lines.append(f"| {name} | {window:g} | " + " | ".join(cells) + " |")
    return lines


def main(folder: Path) -> int:
    found = trials(folder)
    print("\n".join(table_of(found)))
    print(f"\n{found[0].name}, along / across in cm and vertical force in BW, rms:\n")
    print("\n".join(floors_of(found[0])))
    over = [fps for fps in RATES for value, most in zip(read(found[0], fps).rms(), GOAL, strict=True) if value > most]
    print(f"\ngoal {100 * GOAL[0]:g} / {100 * GOAL[1]:g} cm, {GOAL[2]:g} BW on the {found[0].name}: "
          + ("missed at " + ", ".join(f"{fps:g}" for fps in sorted(set(over))) + " fps" if over else "held"))
    return int(bool(over))


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit(__doc__)
    sys.exit(main(Path(sys.argv[1])))
