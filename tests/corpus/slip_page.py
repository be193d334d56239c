# SPDX-License-Identifier: GPL-3.0-or-later
"""slip's limits beside the clean clips and the planted skates, chosen on some clips and counted on the others.

    python -m tests.corpus.slip_page [DIR]

Writes docs/corpus_slip.md; build.py corpus does the same. DIR may hold captured BVH files; where it holds trials with
force plates too, slip's other numbers are looked at as well (slip_choice.py). Limits are chosen on the
clips that are not held back: medium of keyed motion midway between the largest clean drift and the least that is read
of 4 cm, low of guessed soles below what is read of 3 cm, the floor that captured motion is held to.
"""

import os
import sys
from collections import defaultdict
from pathlib import Path

from plumbline.core.catalogue import catalogue
from plumbline.core.checks.slip import BARE_LOW, BARE_MEDIUM, KEYED_LOW, KEYED_MEDIUM, Slip
from plumbline.core.measures.contacts import contacts
from plumbline.core.note import Result, Severity
from plumbline.core.report.progress import Progress
from plumbline.core.runner import finish
from plumbline.core.shot import Shot
from plumbline.core.study import Study
from plumbline.core.testing import clips, corpus
from plumbline.core.testing.plant_skates import skates
from plumbline.core.testing.plants import SIZES, Clean

from . import slip_choice
from .drifts import largest

DOCS = Path(__file__).resolve().parents[2] / "docs" / "corpus_slip.md"
CREDIT = """\
Clips named cmu: the data used was obtained from mocap.cs.cmu.edu; the database was created with funding from NSF
EIA-0196217. None of it is kept here.

"""
KINDS = {"captured": (BARE_LOW, BARE_MEDIUM, Slip.limit.high), "keyed": (KEYED_LOW, KEYED_MEDIUM, Slip.limit.high)}


class Counts:
    """What was counted of one kind of motion, on the choosing or on the held-back clips."""

    def __init__(self) -> None:
        self.clean: list[tuple[float, str]] = []
        self.clips: set[str] = set()
        self.right: dict[str, list[bool]] = defaultdict(list)
        self.read: dict[str, list[float]] = defaultdict(list)
        self.minutes: dict[str, float] = defaultdict(float)
        self.notes: dict[tuple[str, int], int] = defaultdict(int)

    def add_clean(self, subject: corpus.Subject, shot: Shot) -> None:
        self.minutes[subject.rate] += shot.count / shot.rate / 60
        for note in _slips(shot).notes:
            self.notes[subject.rate, note.severity.rank] += 1
        if not _faulty(subject):
            self.clean.append((largest(shot), subject.clip))

    def add_planted(self, subject: corpus.Subject, shot: Shot) -> None:
        c = shot.characters[0]
        for case in skates(Clean(shot, _slips(shot), Study(shot).of(contacts, c))):
            first, last = (shot.frame(i) for i in case.window)
            found = [n for n in _slips(case.shot).notes
                     if n.part == case.part and n.start <= last + 1 and first - 1 <= n.end]
            note = max(found, key=lambda n: n.measured, default=None)
            self.clips.add(subject.clip)
            self.right[case.size].append(note is not None and note.severity == case.severity)
            self.read[case.size].append(note.measured / c.leg_length if note else 0.0)


def counted(more: Path | None, progress: Progress) -> dict[tuple[str, bool], Counts]:
    """Kind and held back -> counts, of captured clips at all rates and of the keyed proxies; skates are planted at 24
    frames a second, or at the clip's own rate below that."""
    out: dict[tuple[str, bool], Counts] = defaultdict(Counts)
    subjects = [*corpus.captured(more), *corpus.proxies()]
    for k, subject in enumerate(subjects):
        progress.part(f"slip: {subject.clip} at {subject.rate}", k / len(subjects))
        shot = subject.make()
        into = out[subject.kind, subject.held_back]
        into.add_clean(subject, shot)
        carried = subject.clip in clips.names()
        if carried and shot.rate < 24.5 and not (subject.kind == "keyed" and _faulty(subject)):
            into.add_planted(subject, shot)
    return out


def limits_table(found: dict[tuple[str, bool], Counts]) -> str:
    lines = ["| motion | low | medium | high | clips | largest clean drift | of | 3 cm low | 4 cm as asked | "
             "10 cm high | clips with skates | least read of 3 cm | of 4 cm | of 10 cm |",
             "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|"]
    for kind, limits in KINDS.items():
        for held in (False, True):
            c = found[kind, held]
            drift, clip = max(c.clean, default=(0.0, "-"))
            right = " | ".join(f"{sum(c.right[s])} of {len(c.right[s])}" for s in SIZES)
            least = " | ".join(f"{min(c.read[s], default=0.0):.3f}" for s in SIZES)
            steps = " | ".join(f"{v:.3f}" for v in limits)
            which = "held back" if held else "choosing"
            lines.append(f"| {kind} | {steps} | {which} | {drift:.3f} | {clip} | {right} | {len(c.clips)} | "
                         f"{least} |")
    return "\n".join(lines)


def notes_table(found: dict[tuple[str, bool], Counts]) -> str:
    lines = ["| motion | rate | clips | minutes | low a minute | medium | high |", "|---|---|---|---|---|---|---|"]
    for (kind, held), c in sorted(found.items()):
        for rate, minutes in sorted(c.minutes.items()):
            low, medium, high = (c.notes[rate, s.rank] for s in (Severity.LOW, Severity.MEDIUM, Severity.HIGH))
            lines.append(f"| {kind} | {rate} | {'held back' if held else 'choosing'} | {minutes:.2f} | "
                         f"{low / minutes:.1f} | {medium} | {high} |")
    return "\n".join(lines)


def page(found: dict[tuple[str, bool], Counts], more: bool) -> str:
    return (
        f"<!-- Written by `python3 build.py corpus{' --more DIR' if more else ''}`. -->\n"
        "# slip's limits\n\n"
        "In legs, 0.85 m on an adult. Captured: bare skeletons, whose soles are guessed; keyed: the same clips keyed "
        "anew. The largest clean drift is that of any stance, noted or not, of the clips that have no slip listed as "
        "their own. 4 cm are asked as low on captured motion and as medium on keyed. Known soles on captured motion "
        f"have {Slip.limit.low} low, {Slip.limit.medium} medium, {Slip.limit.high} high; no captured clip here has "
        f"one{', but the trials with force plates below do' if more else ''}.\n\n"
        f"{CREDIT if more else ''}{limits_table(found)}\n\n"
        "## Notes of slip alone, the clips' own faults among them\n\n"
        f"{notes_table(found)}\n")


def run(more: Path | None, progress: Progress) -> None:
    text = page(counted(more, progress), more is not None)
    if more is not None and slip_choice.has_all(more):
        text += "\n" + slip_choice.page(more, progress)
    DOCS.write_text(text, "utf-8")


def _slips(shot: Shot) -> Result:
    return finish(shot, [catalogue()["slip"]])


def _faulty(subject: corpus.Subject) -> bool:
    return subject.clip in corpus.faulty_proxies() or any(
        a.clip == subject.clip and a.check == "slip" for a in corpus.accepted())


if __name__ == "__main__":
    run(Path(sys.argv[1]) if len(sys.argv) > 1 else None, Progress(sys.stderr, "slip", sys.stderr.isatty()))
    print(DOCS.read_text("utf-8"))
    sys.stdout.flush()
    os._exit(0)  # pip's bpy may hang where the interpreter ends by itself
