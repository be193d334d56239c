# SPDX-License-Identifier: GPL-3.0-or-later
"""The corpus run's numbers as tables, and the page of the docs that holds them."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from plumbline.core.note import Note, Skip
from plumbline.core.testing.corpus import Subject
from plumbline.core.testing.plants import SIZES, Case, Verdict

from .low_notes import low_table


@dataclass(frozen=True)
class Row:
    """One clip at one rate. low: low notes, those on trial too; false, accepted, trial: notes of medium or above, those
    on trial apart; why: not used."""

    subject: Subject
    minutes: float
    low: tuple[Note, ...]
    false: tuple[Note, ...]
    accepted: tuple[Note, ...]
    skipped: tuple[Skip, ...]
    why: str = ""
    trial: tuple[Note, ...] = ()


@dataclass
class Tally:
    """Counts of one kind and size of fault on one kind of clip; held: of the clips held back."""

    kind: str = ""
    check: str = ""
    host: str = ""
    size: str = ""
    clips: set[str] = field(default_factory=set)
    n: int = 0
    asked: int = 0
    asked_found: int = 0
    found: int = 0
    severe: int = 0
    alone: int = 0
    worst: int = 0
    sized: int = 0
    told: int = 0
    silenced: int = 0
    raised: int = 0
    tried: int = 0
    held: int = 0
    held_found: int = 0

    def add(self, case: Case, subject: Subject, verdict: Verdict) -> None:
        self.kind, self.check, self.host, self.size = case.kind, case.check, subject.kind, case.size
        self.clips.add(subject.clip)
        self.n += 1
        self.asked += case.severity is not None
        self.asked_found += case.severity is not None and verdict.note is not None
        self.found += verdict.note is not None
        self.severe += verdict.severity_right if case.severity else (
            verdict.note is None or verdict.note.severity.rank == 0)
        self.alone += verdict.alone
        self.worst += verdict.worst_right
        self.told += case.measured is not None
        self.sized += bool(verdict.size_right)
        self.silenced += bool(verdict.silenced)
        self.raised += bool(verdict.raised)
        self.tried += bool(verdict.tried)
        if subject.held_back:
            self.held += 1
            self.held_found += verdict.note is not None


def clean_table(rows: Iterable[Row]) -> str:
    """Notes a minute by kind of clip and rate, then every note of medium or above, false ones first."""
    rows = list(rows)
    sums: dict[tuple[str, str, bool], list[float]] = defaultdict(lambda: [0, 0.0, 0, 0, 0])
    for r in rows:
        if not r.why or r.false:
            s = sums[r.subject.kind, r.subject.rate, r.subject.held_back]
            for i, v in enumerate((1, r.minutes, len(r.low), len(r.false), len(r.accepted))):
                s[i] += v
    lines = ["| clips | rate | held back | n | minutes | low a minute | false, medium up | a minute | the clips' own |",
             "|---|---|---|---|---|---|---|---|---|"]
    for (kind, rate, held), (n, minutes, low, false, own) in sorted(sums.items()):
        lines.append(f"| {kind} | {rate} | {'yes' if held else 'no'} | {n:.0f} | {minutes:.2f} | {low / minutes:.1f} | "
                     f"{false:.0f} | {false / minutes:.1f} | {own:.0f} |")
    for title, name in (("False", "false"), ("The clips' own faults", "accepted"), ("On trial, medium up", "trial")):
        found = [(r, n) for r in rows for n in getattr(r, name)]
        lines += ["", f"{title}: {len(found)}", ""]
        lines += [f"- {r.subject.clip} at {r.subject.rate} ({r.subject.kind}): {n.severity} {n.check} of "
                  f"{', '.join(n.parts)}, frames {n.start} to {n.end}, {n.measured:.3g} {n.unit}" for r, n in found]
    said = sorted({(r.subject.clip, r.subject.rate, s.check, s.why) for r in rows for s in r.skipped})
    lines += ["", f"Skipped with a reason: {len(said)}", ""]
    lines += [f"- {clip} at {rate}: {check}: {why}" for clip, rate, check, why in said]
    left = sorted({(r.subject.clip, r.why) for r in rows if r.why})
    lines += ["", f"Not used: {len(left)}", ""] + [f"- {clip}: {why}" for clip, why in left]
    return "\n".join(lines)


def planted_table(tallies: Iterable[Tally]) -> str:
    lines = ["| fault | on | size | n (clips) | found | right severity | only this note | worst frame | size right | "
             "remedy silences | raises a medium note | raises one on trial | found, held back |",
             "|---|---|---|---|---|---|---|---|---|---|---|---|---|"]
    for t in sorted(tallies, key=lambda t: (t.check, t.kind, t.host, SIZES.index(t.size))):
        lines.append(
            f"| {t.check}: {t.kind} | {t.host} | {t.size} | {t.n} ({len(t.clips)}) | {_share(t.found, t.n)} | "
            f"{_share(t.severe, t.n)} | {_share(t.alone, t.n)} | {_share(t.worst, t.n)} | {_share(t.sized, t.told)} | "
            f"{_share(t.silenced, t.found)} | {_share(t.raised, t.found)} | "
            f"{_share(t.tried, t.found)} | "
            f"{_share(t.held_found, t.held)} of {t.held} |")
    return "\n".join(lines)


def law_table(tallies: Iterable[Tally]) -> str:
    """The law of remedies, per check, whatever kinds and sizes of its faults were planted."""
    lines = ["| check | planted, a severity asked | found of them | notes | remedy silences | raises a medium note | "
             "raises one on trial |", "|---|---|---|---|---|---|---|"]
    told: dict[str, list[int]] = defaultdict(lambda: [0] * 6)
    for t in tallies:
        for k, count in enumerate((t.asked, t.asked_found, t.found, t.silenced, t.raised, t.tried)):
            told[t.check][k] += count
    for check, (asked, right, found, silenced, raised, tried) in sorted(told.items()):
        lines.append(f"| {check} | {asked} | {_share(right, asked)} | {found} | {_share(silenced, found)} | "
                     f"{_share(raised, found)} | {_share(tried, found)} |")
    return "\n".join(lines)


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f} %" if whole else "-"


def page(rows: Iterable[Row], tallies: Iterable[Tally], more: bool) -> str:
    tallies = list(tallies)
    extra = " With a folder of hand-keyed and captured files beside them." if more else ""
    return (
        f"<!-- Written by `python3 build.py corpus{' --more DIR' if more else ''}`. -->\n"
        "# The checks on real motion\n\n"
        "Captured clips at their own rate and resampled to 24 and 30 frames a second, the same keyed anew with sparse "
        f"keys at 24, and the keeper's clean take.{extra} A third of the clips, told by a hash of the name, is held "
        "back: limits are chosen on the others. Notes on trial are not counted, but listed apart.\n\n"
        f"## Clean clips\n\n{clean_table(rows)}\n\n"
        "## Low notes on clean clips\n\n"
        "Low notes a minute; in brackets how many, and in how many clips. Those on trial are counted too.\n\n"
        f"{low_table(rows)}\n\n"
        "## Planted faults\n\n"
        "Small, middle and large: joints bent 5, 15 and 30 degrees past their limit; limbs pulled 2, 4 and 8 % past "
        "their length; feet slid 3, 4 and 10 cm (of an adult's leg of 0.85 m); parts marched evenly between corners of "
        "at least 0.1, 0.25 and 0.5 leg/s; feet put 2, 5 and 10 cm over or into a floor; flights stretched in time by "
        "10, 25 and 50 %, those that the clip makes and those of figures thrown up out of their motion; landings "
        "stopped within 3, 2 and 1 frames of 24; hips carried and bodies tilted so that a push is demanded 1.3, 2 and "
        "3 times the medium limit outside of what stands; moves stopped in one frame at 52 to 63, 67 to 78 and over "
        "82 % of their peak; parts held dead for 0.75, 1.4 and 2.6 s; a head held in space for 6, 10 and 16 frames; 2, "
        "3 and 6 parts turned as one block; knees and elbows straightened by 8, 15 and 25 degrees in one frame; "
        "wiggles of 0.5, 1 and 3 cm over 8 frames; paths kinked by 30, 60 and 90 degrees; one frame moved 20, 40 and "
        "80 % toward its neighbor. Each is planted where it moves no standing foot but the one it is about. "
        "Worst frame: within 1. Size: within 3 degrees, 10 %, or 1 cm. "
        "Right severity of a fault that only may be low: not above low.\n\n"
        f"{planted_table(tallies)}\n\n"
        "## What remedies do\n\n"
        "Each is applied to the samples of the fault that it mends, and all checks look again.\n\n"
        f"{law_table(tallies)}\n")
