# SPDX-License-Identifier: GPL-3.0-or-later
"""How slip's own numbers stand on clips that they were not chosen on.

Numbers that say whether a foot stands are set to shares of itself, one at a time, and three kinds of mistakes are
counted: notes of medium severity or above on clean clips that tests/corpus/accepted.json does not hold (false), slides
listed there that are no longer told (lost), and planted skates that are not told at their severity (missed). A share is
taken where the choosing clips have the fewest mistakes, the one in use first; what the held-back clips would have taken
stands beside it. Then trials with force plates, on all of which but one nothing was ever chosen.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import chain
from pathlib import Path
from types import ModuleType

from plumbline.core.catalogue import catalogue
from plumbline.core.measures import belt, contacts, drift
from plumbline.core.note import Note
from plumbline.core.report.progress import Progress
from plumbline.core.runner import finish
from plumbline.core.shot import Shot
from plumbline.core.study import Study
from plumbline.core.testing import clips, corpus
from plumbline.core.testing.plant_skates import skates
from plumbline.core.testing.plants import SIZES, Case, Clean

from . import files, plate_data
from .drifts import largest

SHARES = (0.6, 1.0, 1.6)
#: Numbers that decide where a foot stands, on what, or what of its way is a slide.
NUMBERS: tuple[tuple[ModuleType, str], ...] = (
    *((contacts, n) for n in ("SWING_SHARE", "SWING_HEIGHT", "NO_SWING", "GATE", "SURE_HEIGHT", "SURE_SPEED",
                              "NOT_STILL", "LOWER_KNOWN", "LOWER_GUESSED", "SKATE_RISE", "GLIDE_RISE", "GLIDE_FAR",
                              "LIES")),
    *((belt, n) for n in ("STANDS", "MOST_SPREAD")),
    *((drift, n) for n in ("EDGE", "SHORTEST", "WINDOW", "TOGETHER", "UNSURE_HEIGHT", "UNSURE_PLACE")),
)
PLATE_RATES = (24.0, 30.0, 60.0)
#: A number, its value in use, and by share of it the mistakes on the choosing and on the held-back clips.
Swept = list[tuple[str, float, "dict[float, Mistakes]", "dict[float, Mistakes]"]]


@dataclass
class Host:
    """A clip and the skates planted in it. judged: whether what is told of it as it is counts; listed: whether the
    slides that the list has of the clip are in it."""

    clip: str
    shot: Shot
    held_back: bool
    judged: bool
    listed: bool
    cases: list[Case] = field(default_factory=list)


@dataclass(frozen=True)
class Mistakes:
    false: int
    lost: int
    missed: int

    @property
    def all(self) -> int:
        return self.false + self.lost + self.missed


def has_all(more: Path) -> bool:
    """Whether the folder holds the trials with force plates."""
    return (more / "force_plates").is_dir() and (more / "walk_force_plates").is_dir()


def slips(shot: Shot) -> tuple[Note, ...]:
    return finish(shot, [catalogue()["slip"]]).notes


def hosts(more: Path | None, progress: Progress) -> list[Host]:
    """Captured clips at 24 frames a second or their own lower rate, proxies, and hand-keyed ones at their own rate."""
    found: Iterator[corpus.Subject] = chain(corpus.captured(more), corpus.proxies())
    if more is not None:
        found = chain(found, (s for s, why in files.subjects(more) if not why and s.rate == "own"))
    out = []
    for subject in found:
        progress.part(f"slip's numbers: {subject.clip}", 0.1)
        shot = subject.make()
        if subject.kind == "captured" and shot.rate > 24.5:
            continue
        sparse = subject.kind == "keyed" and subject.clip in corpus.faulty_proxies()
        host = Host(subject.clip, shot, subject.held_back, not sparse, subject.kind != "keyed")
        if not sparse and subject.clip in clips.names():
            host.cases = [case for case in skates(prepared_for_slip(shot)) if case.size != "small"]
        out.append(host)
    return out


def told_as(case: Case, severity: str | None) -> bool:
    """Whether a planted skate is told at that severity."""
    first, last = (case.shot.frame(i) for i in case.window)
    return any(n.part == case.part and n.start <= last + 1 and first - 1 <= n.end and n.severity == severity
               for n in slips(case.shot))


def mistakes(found: list[Host]) -> Mistakes:
    false = lost = missed = 0
    for host in found:
        if host.judged:
            notes = slips(host.shot)
            false += len(corpus.unaccepted(host.clip, host.shot, notes))
            for row in corpus.accepted():
                if host.listed and row.clip == host.clip and row.check == "slip":
                    lost += not any(row.covers(host.clip, host.shot, n) for n in notes)
        missed += sum(not told_as(case, case.severity) for case in host.cases)
    return Mistakes(false, lost, missed)


def swept(found: list[Host], progress: Progress) -> Swept:
    sets = [[h for h in found if h.held_back == held] for held in (False, True)]
    same = [mistakes(s) for s in sets]
    out = []
    for k, (module, name) in enumerate(NUMBERS):
        used = getattr(module, name)
        told: list[dict[float, Mistakes]] = [{1.0: same[0]}, {1.0: same[1]}]
        for share in SHARES:
            progress.part(f"slip's numbers: {name} x {share:g}", 0.1 + 0.9 * k / len(NUMBERS))
            if share != 1.0:
                setattr(module, name, used * share)
                try:
                    for into, hosts_of in zip(told, sets, strict=True):
                        into[share] = mistakes(hosts_of)
                finally:
                    setattr(module, name, used)
        out.append((name, used, told[0], told[1]))
    return out


def chosen(told: dict[float, Mistakes]) -> float:
    """The share with the fewest mistakes, the one in use where it is among them, else the nearest to it."""
    least = min(m.all for m in told.values())
    return min((s for s, m in told.items() if m.all == least), key=lambda s: max(s, 1 / s))


def numbers_table(told: Swept) -> str:
    heads = " | ".join(f"x {s:g}" for s in SHARES)
    lines = [f"| number | in use | {heads} | taken | of held-back clips | fewest there |",
             "|---|---|" + "---|" * (len(SHARES) + 3)]
    for name, used, on, off in told:
        cells = " | ".join(f"{on[s].false} + {on[s].lost} + {on[s].missed}" for s in SHARES)
        take, best = chosen(on), min(m.all for m in off.values())
        lines.append(f"| {name} | {used:g} | {cells} | x {take:g} | {off[take].false} + {off[take].lost} + "
                     f"{off[take].missed} | {best} |")
    return "\n".join(lines)


def plates_table(more: Path) -> str:
    """Trials with force plates: notes on them, and skates planted in them; soles known from markers, then guessed."""
    lines = ["| trial | soles | seconds | notes at 24, 30, 60 | largest drift, legs | 4 cm as asked | 10 cm high |",
             "|---|---|---|---|---|---|---|"]
    for guessed in (False, True):
        for name in (*plate_data.TRIALS, plate_data.TREADMILL):
            trial = plate_data.trial(more, name)
            shots = [trial.sampled(fps)[0] for fps in PLATE_RATES]
            if guessed:
                shots = [replace(s, characters=(replace(s.characters[0], soles=()),)) for s in shots]
            notes = ", ".join(str(len(slips(shot))) for shot in shots)
            right = {size: [0, 0] for size in SIZES}
            for case in skates(prepared_for_slip(shots[0])):
                if case.size != "small":
                    asked = {"middle": "low" if guessed else "medium", "large": "high"}[case.size]
                    right[case.size][0] += told_as(case, asked)
                    right[case.size][1] += 1
            told = " | ".join(f"{a} of {b}" for a, b in (right["middle"], right["large"]))
            lines.append(f"| {name} | {'guessed' if guessed else 'markers'} | {shots[0].count / shots[0].rate:.1f} | "
                         f"{notes} | {max(largest(shot) for shot in shots):.3f} | {told} |")
    return "\n".join(lines)


def prepared_for_slip(shot: Shot) -> Clean:
    """The shot to plant skates in, reviewed by slip alone."""
    return Clean(shot, finish(shot, [catalogue()["slip"]]), Study(shot).of(contacts.contacts, shot.characters[0]))


def page(more: Path, progress: Progress) -> str:
    found = hosts(more, progress)
    told = swept(found, progress)
    held = [h for h in found if h.held_back]
    moved = [name for name, _, on, _ in told if chosen(on) != 1.0]
    return (
        "## Its other numbers, on clips that they were not chosen on\n\n"
        "When these numbers were first set, all clips were looked at, the hand-keyed ones too: none was held back. "
        "So each is set anew here, one at a time, to shares of itself, on the choosing clips alone, and what comes out "
        f"is counted on the others. {len(found) - len(held)} clips choose, with "
        f"{sum(len(h.cases) for h in found if not h.held_back)} skates of 4 and 10 cm planted in captured and re-keyed "
        f"ones; {len(held)} are held back, with {sum(len(h.cases) for h in held)} skates. Mistakes are false notes + "
        "listed slides no longer told + skates missed, of slip alone: a slide that another check's note tells too "
        "counts as false, and one told only at another rate as no longer told. "
        + (f"The choosing clips would rather have another share of {', '.join(moved)}." if moved else
           "The choosing clips would have no other share of any number.")
        + f"\n\n{numbers_table(told)}\n\n"
        "## Trials with force plates\n\n"
        "People with markers who walk, turn, stand, sit down and jump on plates. Nothing was ever chosen on "
        "these but on treadmill_walk, from which the thresholds of contacts and the shape of a guessed sole were once "
        "read. Soles are known from markers, then guessed as on bare skeletons. Skates are planted at 24 frames a "
        "second; 4 cm are asked as medium where soles are known, as low where guessed.\n\n"
        f"{plates_table(more)}\n")
