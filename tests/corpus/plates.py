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
from plumbline.core.measures.mass_motion import mass_motion_of
from plumbline.core.numeric.local_fit import HALF_WINDOW
from plumbline.core.shot import Character
from plumbline.core.tables.segments import TABLES

from .plate_data import THRESHOLD, TREADMILL, Trial, trial

Array = np.ndarray
RATES = (24.0, 30.0, 60.0)
PHASES = (0.0, 1 / 3, 2 / 3)
#: Asked of the treadmill walk: m along, m across, body weights.
GOAL = (0.04, 0.025, 0.05)


#: Trials whose plates tell of the whole body: of the four-plate walk nothing is marked above the pelvis, and the seat
#: of sit-to-stand is on no plate.
NAMES = (TREADMILL, *(f"quarter_turn_{k}" for k in "abcde"), "quiet_standing_one_plate", "quiet_standing_two_plates",
         "drop_jump_uneven")
#: From here a foot stands across a plate's edge, s: the plates then hold only part (SOURCE.md of the trials).
PARTIAL_FROM = {"quarter_turn_b": 1.95}
#: A foot all of whose markers go faster than this is in the air, whatever stands under it, m/s.
SWINGS = 0.5


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


@dataclass(frozen=True)
class Felt:
    """All plates together at ``times`` (N,) s: force (N,) N upward; point (N, 2) m, NaN where nothing presses; whole
    (N,) bool: they hold all that the ground gives."""

    times: Array
    force: Array
    point: Array
    whole: Array

    def near(self, at: Array, rows: Array, seconds: float) -> Array:
        """Whether any plate sample of ``rows`` (N,) bool lies within so many seconds of the times ``at``."""
        some = self.times[rows]
        if not len(some):
            return np.zeros(len(at), bool)
        after = np.clip(np.searchsorted(some, at), 0, len(some) - 1)
        gap = np.minimum(np.abs(at - some[after]), np.abs(at - some[np.maximum(after - 1, 0)]))
        return np.asarray(gap < seconds)


def felt(t: Trial) -> Felt:
    press = t.plate_force[..., 2]
    total = press.sum(0)
    with np.errstate(invalid="ignore", divide="ignore"):
        weighed = (press[..., None] * np.nan_to_num(t.plate_point[..., :2])).sum(0)
        point = weighed / np.where(total > THRESHOLD, total, np.nan)[:, None]
    return Felt(t.plate_times, total, point, _whole(t))


def _whole(t: Trial) -> Array:
    """(N,) bool: each foot either stands on a plate, by a load that can be used, or swings."""
    at = t.plate_times
    out = np.ones(len(at), bool)
    if t.name == TREADMILL or t.name.startswith("quiet"):
        return out
    for side, foot in t.feet.items():
        paths = np.stack([t.places[m] for m in foot.markers])
        speed = np.linalg.norm(np.gradient(paths, t.times, axis=1), axis=-1).min(0)
        carried = np.interp(at, t.times, speed) > SWINGS
        for load in t.loads:
            if load.foot == side and load.on_usable and load.on is not None:
                # a trial that ends on the plates is whole to its end
                off = load.off if load.off_usable and load.off is not None else PARTIAL_FROM.get(t.name, np.inf)
                carried |= (at >= load.on) & (at <= off)
        out &= carried
    return out


def read(t: Trial, fps: float, table: str = "mean", half_window: float = HALF_WINDOW) -> Read:
    """The trial at one rate, phases together."""
    plates = felt(t)
    loads, alongs, acrosses = [], [], []
    for phase in PHASES:
        shot, at = t.sampled(fps, phase)
        character = shot.characters[0]
        motion = mass_motion_of(shot, character, masses_of(character, TABLES[table]), half_window=half_window)
        pull = float(np.linalg.norm(motion.gravity))
        force = np.interp(at, plates.times, plates.force)
        where = np.stack([np.interp(at, plates.times, plates.point[:, k]) for k in range(2)], 1)
        whole = motion.sure & (at <= plates.times[-1]) & ~plates.near(at, ~plates.whole, HALF_WINDOW / 2)
        error = motion.pressure_point(np.zeros(3))[:, :2] - where
        aloft = plates.near(at, plates.whole & (plates.force < THRESHOLD), 0.1)
        pressed = whole & motion.bears & ~aloft & np.isfinite(error).all(1)
        heading = motion.velocity[pressed, :2].mean(0) if pressed.any() else np.array([1.0, 0.0])
        if np.linalg.norm(heading) < 0.3:  # standing, or on a belt: as the feet point
            heading = _facing(shot.characters[0])
        heading = heading / np.linalg.norm(heading)
        alongs.append(error[pressed] @ heading)
        acrosses.append(error[pressed] @ [-heading[1], heading[0]])
        loads.append((motion.load - force / (t.mass * pull))[whole])
    return Read(np.concatenate(loads), np.concatenate(alongs), np.concatenate(acrosses))


def _facing(character: Character) -> Array:
    """Where the feet point, on the mean, (2,)."""
    ahead = sum((character.end(f"foot.{s}") - character.head(f"foot.{s}")).mean(0) for s in "LR")
    return np.asarray(ahead)[:2]


def trials(folder: Path) -> list[Trial]:
    return [trial(folder, name) for name in NAMES]


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
