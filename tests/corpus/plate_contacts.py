# SPDX-License-Identifier: GPL-3.0-or-later
"""Contacts against force plates: how far each 20 N crossing is missed.

    python -m tests.corpus.plate_contacts DIR [--events]

DIR holds the folders of trials that plate_data.py reads. Printed are the walk at 24, 30 and 60 frames a second and
played at 0.6 to 2 times its speed, and ten other trials, of which five, drawn by a fixed seed, chose what was to be
chosen; all at four phases of the frame. An event is a crossing that the plates tell to be trusted and that lies
0.06 s or more inside the trial. Standing up and sitting down is judged by what bears, for there the feet stay on the
ground, and its makers smoothed it: its crossings are told to 0.05 s, so it is shown by itself too.
"""

import sys
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from plumbline.core.measures.supports import Supports, supports
from plumbline.core.shot import Shot
from plumbline.core.study import Study

from . import plate_data
from .plate_data import TREADMILL, TRIALS
from .plate_floor import SITTING

RATES = (24.0, 30.0, 60.0)
PHASES = (0.0, 0.25, 0.5, 0.75)
SPEEDS = (0.6, 0.8, 1.5, 2.0)
NEAR = 0.033
#: Asked of all whole contacts; plate_floor.py tells what is in the way.
GOAL = 0.95
SEEN = 0.06
#: Drawn before any of them was looked at.
CHOSE = tuple(TRIALS[i] for i in sorted(np.random.default_rng(0).permutation(len(TRIALS))[:5]))


@dataclass(frozen=True)
class Miss:
    """One event in one sampling of one trial; late s, infinite where nothing was found."""

    trial: str
    foot: str
    which: str
    at: float
    fps: float
    late: float
    whole: bool


def bare(shot: Shot, toes: bool) -> Shot:
    """The figure without its soles, which then are guessed from its joints, and without toe bones."""
    c = shot.characters[0]
    rows = [i for i, part in enumerate(c.parts) if toes or not part.startswith("toe")]
    less = replace(
        c, soles=(), parts=tuple(c.parts[i] for i in rows), bones=tuple(c.bones[i] for i in rows),
        heads=c.heads[:, rows], tails=c.tails[:, rows], axes=c.axes[:, rows], twist_axes=c.twist_axes[:, rows],
        rest_heads=c.rest_heads[rows], rest_tails=c.rest_tails[rows], rest_axes=c.rest_axes[rows])
    return replace(shot, characters=(less,))


def missed(folder: Path, name: str, fps: float, phase: float, speed: float = 1.0, plates: bool = True,
           kind: str = "") -> list[Miss]:
    """Every event of a trial, sampled at ``fps`` as if played at ``speed``; without plates the laboratory's marks.
    kind: '' with soles, 'guessed' without, 'toeless' without toe bones too."""
    trial = plate_data.trial(folder, name)
    shot, now = trial.sampled(fps / speed, phase)
    shot = replace(bare(shot, kind == "guessed") if kind else shot, fps=fps)
    found: Supports = Study(shot).of(supports, shot.characters[0])
    whole = {(load.foot, moment) for load in trial.loads if load.whole for moment in (load.on, load.off)}
    out = []
    for foot, which, at in trial.events() if plates else trial.marked:
        if not trial.times[0] + SEEN < at < trial.times[-1] - SEEN:
            continue
        told = [m for s in found.found if s.part == f"foot.{foot}" for span in s.bears
                if (m := span.on if which == "on" else span.off) is not None]
        late = min(((now[0] + m * speed / fps - at) / speed for m in told), key=abs, default=np.inf)
        out.append(Miss(name, foot, which, at, fps, late, (foot, at) in whole))
    return out


def line(title: str, found: Iterable[Miss], near: float = NEAR) -> str:
    rows = list(found)
    late = np.array([1000 * m.late for m in rows])
    if not len(late):
        return f"{title:44s} no event"
    events = len({(m.trial, m.foot, m.which, m.at) for m in rows})
    parts = []
    for which in ("on", "off"):
        own = np.array([1000 * m.late for m in rows if m.which == which])
        own = own[np.isfinite(own)]
        parts.append(f"{which} {own.mean():+4.0f} +- {own.std():3.0f}" if len(own) else f"{which} none")
    share = 100 * np.mean(np.abs(late) <= 1000 * near)
    return f"{title:44s}{events:3d} events {share:5.1f} %  worst {np.abs(late).max():4.0f} ms  " + ", ".join(parts)


def _all(folder: Path, names: Iterable[str], rates: Iterable[float] = RATES, speed: float = 1.0, kind: str = ""
         ) -> list[Miss]:
    return [m for n in names for fps in rates for phase in PHASES
            for m in missed(folder, n, fps, phase, speed, kind=kind)]


def _counted(folder: Path) -> str:
    """Of all samplings how many show as many contacts of the feet as there are: as the laboratory marked, or one each
    that never ends for who stands."""
    right = total = 0
    for name in TRIALS:
        trial = plate_data.trial(folder, name)
        # of quarter_turn_d only the step on the plate is marked
        if not (len(trial.marked) > 2 or name.startswith("quiet")):
            continue
        for fps in RATES:
            for phase in PHASES:
                shot, now = trial.sampled(fps, phase)
                found = Study(shot).of(supports, shot.characters[0]).found
                for foot in "LR":
                    own = [s.span for s in found if s.part == f"foot.{foot}"]
                    moments = [m for f, what, m in trial.marked if f == foot and what == "on"
                               and now[0] + 0.2 < m < now[-1] - 0.2]
                    begun = [s for s in own if s.on is not None and 0.2 < s.on / fps < now[-1] - now[0] - 0.2]
                    total += 1
                    right += len(begun) == len(moments) if trial.marked else [s.on for s in own] == [None] == [
                        s.off for s in own]
    return f"{right} of {total} samplings of a foot"


def report(folder: Path, events: bool = False) -> tuple[list[str], float]:
    """Lines of all groups; the share of the events of all whole contacts, sitting too, that are told within NEAR."""
    out = ["events within 33 ms, and how late they are told"]
    for fps in RATES:
        out.append(line(f"walk on a treadmill, {fps:g}", _all(folder, [TREADMILL], [fps])))
    for speed in SPEEDS:
        out.append(line(f"... played at x{speed:g}, all rates", _all(folder, [TREADMILL], speed=speed)))
    chose = {n: _all(folder, [n]) for n in CHOSE}
    held = {n: _all(folder, [n]) for n in TRIALS if n not in CHOSE}
    for title, group in (("chose", chose), ("held back", held)):
        for name, rows in group.items():
            out.append(line(f"{title}: {name}", rows))
        out.append(line(f"{title}: all but {SITTING}", [m for n, rows in group.items() if n != SITTING for m in rows]))
    every = [m for group in (chose, held) for rows in group.values() for m in rows]
    touch = [m for m in every if m.trial != SITTING]
    whole = [m for m in every if m.whole]
    out.append(line("all but sitting", touch))
    out.append(line("all but sitting, whole contacts", [m for m in touch if m.whole]))
    out.append(line("sitting, within 33 + 50 ms", [m for m in every if m.trial == SITTING], NEAR + 0.05))
    out.append(line("all whole contacts, sitting too", whole))
    for fps in RATES:
        out.append(line(f"all but sitting, {fps:g}", [m for m in touch if m.fps == fps]))
    for kind in ("guessed", "toeless"):
        out.append(line(f"all but sitting, soles {kind}", _all(folder, [n for n in TRIALS if n != SITTING], kind=kind)))
        out.append(line(f"walk on a treadmill, soles {kind}", _all(folder, [TREADMILL], kind=kind)))
    marked = [m for n in TRIALS for fps in RATES for phase in PHASES for m in missed(folder, n, fps, phase, 1.0, False)]
    out.append(line("steps marked by the laboratory", marked))
    out.append(line("... within 33 + 10 ms", marked, NEAR + 0.01))
    out.append("contacts found, by how many there are " + _counted(folder))
    if events:
        for key in sorted({(m.trial, m.at, m.foot, m.which) for m in every}):
            late = [1000 * m.late for m in every if (m.trial, m.at, m.foot, m.which) == key]
            out.append(f"{key[0]:26s}{key[1]:8.3f} {key[2]} {key[3]:4s} " + " ".join(f"{v:+.0f}" for v in late))
    return out, float(np.mean([abs(m.late) <= NEAR for m in whole]))


def main(folder: Path, events: bool = False) -> int:
    out, share = report(folder, events)
    print("\n".join(out))
    print(f"\ngoal: {100 * GOAL:g} % of all whole contacts, sitting too: "
          f"{'held' if share >= GOAL else 'missed'} at {100 * share:.1f} %")
    return int(share < GOAL)


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), "--events" in sys.argv[2:]))
