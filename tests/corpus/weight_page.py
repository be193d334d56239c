# SPDX-License-Identifier: GPL-3.0-or-later
"""The limits of airborne, hard-landing, off-balance and undriven-move beside clean clips and planted faults, chosen on
some clips and counted on the others.

    python -m tests.corpus.weight_page [DIR [PART]]

Writes docs/corpus_weight.md; build.py corpus does the same. DIR may hold captured and hand-keyed files. PART writes one
section of the page anew, as a word that its heading holds ('planted', 'remedies'; 'numbers' takes longest).
"""

import os
import sys
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import chain
from pathlib import Path

import numpy as np
from plumbline.core.catalogue import catalogue
from plumbline.core.checks.airborne import ASTRAY, DROPS, FLOATS, PUSHED, SHORT, SURE
from plumbline.core.checks.hard_landing import HardLanding, impacts
from plumbline.core.measures.contacts import contacts
from plumbline.core.measures.flights import Flights, flights
from plumbline.core.measures.mass import Masses, masses
from plumbline.core.measures.outside import LIMIT
from plumbline.core.measures.support import Base, base
from plumbline.core.note import Limit, Note
from plumbline.core.report.progress import Progress
from plumbline.core.runner import finish
from plumbline.core.shot import Character, Shot
from plumbline.core.study import Study
from plumbline.core.testing import clips, corpus
from plumbline.core.testing.plant_carries import carries
from plumbline.core.testing.plant_flights import caught, floats, posts, throws
from plumbline.core.testing.plant_tilts import tilts
from plumbline.core.testing.planting import APART
from plumbline.core.testing.plants import SIZES, Case, Clean

from . import files, plate_data, slip_choice, weight_choice
from .flown import HOP, flown
from .slip_choice import PLATE_RATES
from .slip_page import CREDIT
from .tables import Tally, law_table

DOCS = Path(__file__).resolve().parents[2] / "docs" / "corpus_weight.md"
CHECKS = ("airborne", "hard-landing", "off-balance", "undriven-move")
KINDS = (floats, throws, posts, caught, carries, tilts)
#: What is measured, in words: its check, its limit, and whether the smaller number is the worse.
FACES: dict[str, tuple[str, Limit, bool]] = {
    "gravity of a flight, too little": ("airborne", FLOATS, True),
    "gravity of a flight, too much": ("airborne", DROPS, False),
    "push sideways in flight": ("airborne", PUSHED, False),
    "straying from a parabola": ("airborne", ASTRAY, False),
    "force of a landing": ("hard-landing", HardLanding.limit, False),
    "force of a push-off": ("hard-landing", HardLanding.limit, False),
    "pressure point held outside": ("undriven-move", LIMIT, False),
}


@dataclass
class Host:
    """One shot and what is planted in it. guessed: its masses are, so that nothing is more than low."""

    subject: corpus.Subject
    shot: Shot
    guessed: bool
    cases: list[Case] = field(default_factory=list)


def told(shot: Shot, check: str | None = None) -> tuple[Note, ...]:
    return finish(shot, [catalogue()[c] for c in ((check,) if check else CHECKS)]).notes


def false(host: Host) -> list[Note]:
    """Notes of medium severity or above that are no listed fault of the clip, notes on trial too."""
    if host.subject.kind == "keyed" and host.subject.clip in corpus.faulty_proxies():
        return []
    return [n for n in told(host.shot) if n.severity.rank >= 1
            and not any(a.covers(host.subject.clip, host.shot, n) for a in corpus.accepted())]


def right(case: Case) -> bool:
    """Whether a planted fault is told at the severity that is asked, or not above low where none is."""
    first, last = (case.shot.frame(i) for i in case.window)
    found = [n for n in told(case.shot, case.check) if n.start <= last + 1 and first - 1 <= n.end
             and n.kind == case.note_kind]
    most = max((n.severity for n in found), key=lambda s: s.rank, default=None)
    return most == case.severity if case.severity else most is None or most.rank == 0


def hosts(more: Path | None, progress: Progress, planted_only: bool = False) -> Iterator[Host]:
    """Captured clips at all rates, proxies, the keeper's hop, and hand-keyed ones at all rates; faults are planted at
    24 frames a second in clips that have no fault of their own on the list, those of flights in the others too.
    planted_only: no others."""
    subjects: Iterator[corpus.Subject] = chain(corpus.captured(more), corpus.proxies(), (HOP,))
    if more is not None:
        subjects = chain(subjects, (s for s, why in files.subjects(more) if not why))
    for subject in subjects:
        if planted_only and subject.kind == "captured" and subject.rate != "24" and (
                clips.clip(subject.clip, more).fps > 24.5):
            continue
        progress.part(f"weight: {subject.clip} at {subject.rate}", 0.2)
        shot = subject.make()
        guessed = any(Study(shot).of(masses, c).guessed for c in shot.characters)
        host = Host(subject, shot, guessed)
        own = corpus.faulty(subject.clip, subject.kind)
        if subject.clip in clips.names() and shot.rate < 24.5 and not (
                subject.kind == "keyed" and subject.clip in corpus.faulty_proxies()):
            host.cases = _cases(shot, APART if own else KINDS)
        yield host


def _cases(shot: Shot, kinds: Sequence[Callable[[Clean], Iterator[Case]]]) -> list[Case]:
    clean = Clean(shot, finish(shot, [catalogue()[c] for c in CHECKS]), Study(shot).of(contacts, shot.characters[0]))
    return [case for kind in kinds for case in kind(clean)]


def trials(more: Path | None) -> Iterator[Host]:
    """Who jumps, of whom only the flights are judged here."""
    for subject in flown(more):
        shot = subject.make()
        yield Host(subject, shot, False, _cases(shot, APART))


def measured(host: Host) -> Iterator[tuple[str, float]]:
    """Every value of every face, those that a listed fault of the clip covers left out."""
    shot, study = host.shot, Study(host.shot)
    for c in shot.characters:
        known: Masses = study.of(masses, c)
        if known.why or known.guessed:
            continue
        found: Flights = study.of(flights, c)
        leg = c.leg_length
        for flight in found.found:
            if _listed(host, "airborne", flight.first, flight.last):
                continue
            if (flight.last - flight.first + 1) / shot.rate >= SHORT:
                yield "gravity of a flight, too little", flight.pull + SURE * flight.doubt
                yield "gravity of a flight, too much", flight.pull - SURE * flight.doubt
                yield "push sideways in flight", flight.push - SURE * flight.push_doubt
                yield "straying from a parabola", float(flight.astray.max()) / leg
        for impact in impacts(study, c, found.found):
            if not impact.doubtful:
                yield ("force of a landing" if impact.sign > 0 else "force of a push-off"), impact.force
        yield "pressure point held outside", _held(host, study, c) / leg


def _held(host: Host, study: Study, c: Character) -> float:
    found: Base | None = study.of(base, c)
    if found is None:
        return 0.0
    fine = [not any(_listed(host, check, i, i) for check in ("off-balance", "undriven-move"))
            for i in range(host.shot.count)]
    return max(0.0, float(found.held[np.array(fine)].max(initial=0.0)))


def _listed(host: Host, check: str, first: int, last: int) -> bool:
    if host.subject.kind == "keyed" and host.subject.clip in corpus.faulty_proxies():
        return True
    start, end = (i / host.shot.rate for i in (first, last))
    for row in corpus.accepted():
        if row.clip != host.subject.clip or row.check != check or (row.keyed and host.subject.kind != "keyed"):
            continue
        if row.first is None or row.last is None:
            return True
        if (row.first - 1) / row.rate - corpus.SLACK <= end and start <= (row.last - 1) / row.rate + corpus.SLACK:
            return True
    return False


def clean_table(found: list[Host]) -> str:
    worst: dict[tuple[str, bool], list[tuple[float, str]]] = defaultdict(list)
    for host in found:
        for face, value in measured(host):
            worst[face, host.subject.held_back].append((value, f"{host.subject.clip} at {host.subject.rate}"))
    lines = ["| measure | unit | low | medium | high | clips | how many | clean worst | of |",
             "|---|---|---|---|---|---|---|---|---|"]
    for face, (_, limit, least) in FACES.items():
        for held in (False, True):
            values = worst[face, held]
            value, clip = (min if least else max)(values, default=(float("nan"), "-"))
            unit = "leg" if limit.unit == "m" else limit.unit
            lines.append(f"| {face} | {unit} | {limit.low:g} | {limit.medium:g} | {limit.high:g} | "
                         f"{'held back' if held else 'choosing'} | {len(values)} | {value:.3f} | {clip} |")
    return "\n".join(lines)


def notes_table(found: list[Host]) -> str:
    counts: dict[tuple[str, bool, str], list[int]] = defaultdict(lambda: [0, 0, 0])
    minutes: dict[tuple[str, bool], list[float]] = defaultdict(lambda: [0, 0.0])
    loud = []
    for host in found:
        key = host.subject.kind, host.subject.held_back
        minutes[key][0] += 1
        minutes[key][1] += host.shot.count / host.shot.rate / 60
        wrong = false(host)
        loud += [(host, n) for n in wrong]
        for n in told(host.shot):
            counts[(*key, n.check)][0 if n.severity.rank == 0 else 1 if n in wrong else 2] += 1
    lines = ["| clips | held back | n | minutes | " + " | ".join(CHECKS) + " |", "|---|---|---|---|" + "---|" * 4]
    for (kind, held), (n, time) in sorted(minutes.items()):
        cells = " | ".join(" + ".join(map(str, counts[kind, held, c])) for c in CHECKS)
        lines.append(f"| {kind} | {'yes' if held else 'no'} | {n:.0f} | {time:.2f} | {cells} |")
    lines += ["", f"False: {len(loud)}", ""]
    lines += [f"- {h.subject.clip} at {h.subject.rate} ({h.subject.kind}): {n.severity} {n.check}, frames {n.start} to "
              f"{n.end}, {n.measured:.3g} {n.unit}" for h, n in loud]
    return "\n".join(lines)


def planted_table(found: list[Host]) -> str:
    counts: dict[tuple[str, str, str, bool], list[int]] = defaultdict(lambda: [0, 0])
    hosts_of: dict[tuple[str, str], set[str]] = defaultdict(set)
    for host in found:
        for case in host.cases:
            cell = counts[case.kind, host.subject.kind, case.size, host.subject.held_back]
            cell[0] += right(case)
            cell[1] += 1
            hosts_of[case.kind, host.subject.kind].add(host.subject.clip)
    lines = ["| fault | on | clips | " + " | ".join(f"{s}, choosing | {s}, held back" for s in SIZES) + " |",
             "|---|---|---|" + "---|" * 6]
    whole: dict[tuple[str, str], set[str]] = defaultdict(set)
    for (kind, on), names in sorted(hosts_of.items()):
        cells = " | ".join("{} of {}".format(*counts[kind, on, s, held]) for s in SIZES for held in (False, True))
        lines.append(f"| {kind} | {on} | {len(names)} | {cells} |")
        whole[kind.partition(",")[0], on] |= names
    both = "; ".join(f"{kind}, {on}: {', '.join(sorted(names))}" for (kind, on), names in whole.items()
                     if len(names) > len(hosts_of[kind, on]))
    return "\n".join(lines) + f"\n\nClips, whether a flight is put right first or not: {both}."


def plates_table(more: Path) -> str:
    """Trials with force plates: notes on them, and the largest that is held outside."""
    lines = ["| trial | seconds | notes at 24, 30, 60 | largest held outside, legs |", "|---|---|---|---|"]
    for name in (*plate_data.TRIALS, plate_data.TREADMILL):
        trial = plate_data.trial(more, name)
        shots = [trial.sampled(fps)[0] for fps in PLATE_RATES]
        notes = ", ".join(str(len(told(shot))) for shot in shots)
        held = [0.0]
        for shot in shots:
            c = shot.characters[0]
            known: Base | None = Study(shot).of(base, c)
            if known is not None:
                held.append(float(known.held.max()) / c.leg_length)
        lines.append(f"| {name} | {shots[0].count / shots[0].rate:.1f} | {notes} | {max(held):.3f} |")
    return "\n".join(lines)


def page(more: Path | None, progress: Progress, tally: Callable[[], list[Tally]], part: str = "") -> dict[str, str]:
    """Headings and texts of the page, of all sections or of those alone whose headings hold ``part``."""
    @cache
    def found() -> list[Host]:
        return list(hosts(more, progress))

    def planted() -> list[Host]:
        mine = found() if not part else hosts(None, progress, planted_only=True)
        return [*(h for h in mine if h.cases), *trials(more)]

    intro = (
        "Of airborne, hard-landing, off-balance and undriven-move. A third of the clips, told by a hash of the name, "
        "is held back. Until this page was first written all clips were looked at; what it shows is how the limits "
        "stand on either part, and which numbers the choosing clips alone would take.\n\n"
        "Clean worst: the worst of anything measured, noted or not, with two standard errors of a flight's fit taken "
        "off; the clips' own listed faults, figures whose masses are only guessed (never more than low) and flights "
        "under 0.15 s (never more than low) are left out. The pressure point is off-balance's where the body leans "
        "and undriven-move's where it goes. The same table of ground-gap, thin-support and late-roll is in "
        f"corpus_feet.md, of slip in corpus_slip.md.\n\n{CREDIT if more else ''}")
    text: dict[str, Callable[[], str]] = {
        "# The limits of balance and flight": lambda: f"{intro}{clean_table(found())}",
        "## Notes on clean clips": lambda: f"Low + false + the clips' own, at all rates.\n\n{notes_table(found())}",
        "## Planted faults": lambda: (
            "Told at the severity that the demanded excess asks for, or not above low where it asks for none; by the "
            "check alone. Flights of a clip, and of figures thrown up from a crouch and into a give, stretched by 10, "
            "25 and 50 %, those that no gravity makes put right first; landings stopped within 3, 2 and 1 frames of "
            "24, by the hips alone or with the whole figure frozen, and those of the thrown; the pressure point 1.3, "
            "2 and 3 times the medium limit outside, by hips carried within 0.5 s and by the body tilted about the "
            "standing foot. What shares, worst frames and remedies come to is in corpus.md.\n\n"
            f"{planted_table(planted())}"),
        "## What remedies do": lambda: (
            "Each is applied to the samples of the fault that it mends, and all checks look again; "
            "`build.py corpus --planted floats,throws,posts,caught,carries,tilts` tells it by kind and size.\n\n"
            f"{law_table(t for t in tally() if t.check in CHECKS)}"),
    }
    if more is not None and slip_choice.has_all(more):
        text["## Trials with force plates"] = lambda: (
            "People with markers who walk, turn, stand, sit down, get up and jump. Nothing of these checks was ever "
            f"chosen on them.\n\n{plates_table(more)}")
    text["## Its numbers, on clips that they were not chosen on"] = lambda: weight_choice.page(found(), progress)
    return {title: make() for title, make in text.items() if part.lower() in title.lower()}


def run(more: Path | None, progress: Progress, tally: Callable[[], list[Tally]], part: str = "") -> None:
    """Writes the page, or one part of it anew; tally: what build.py corpus counts of planted faults."""
    new = page(more, progress, tally, part)
    old = DOCS.read_text("utf-8") if part else ""
    if not new:
        raise SystemExit(f"no section holds {part!r}")
    if not part:
        written = f"<!-- Written by `python3 build.py corpus{' --more DIR' if more else ''}`. -->"
        old = "\n\n".join([written, *new]) + "\n"
    for title, text in new.items():
        before, found, after = old.partition(f"\n{title}\n")
        if not found:
            raise SystemExit(f"the page has no {title!r} yet: write it whole first")
        rest = after.find("\n## ")
        old = f"{before}{found}\n{text.rstrip()}\n{after[rest:] if rest >= 0 else ''}"
    DOCS.write_text(old, "utf-8")


if __name__ == "__main__":
    from . import run as whole

    shown = Progress(sys.stderr, "weight", sys.stderr.isatty())
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else None

    def counted() -> list[Tally]:
        rows = whole.clean(None, shown, hosts_only=True)
        return whole.planted(rows, shown, [kind.__name__ for kind in KINDS], folder)

    run(folder, shown, counted, sys.argv[2] if len(sys.argv) > 2 else "")
    print(DOCS.read_text("utf-8"))
    sys.stdout.flush()
    os._exit(0)  # pip's bpy may hang where the interpreter ends by itself
