# SPDX-License-Identifier: GPL-3.0-or-later
"""The checks of the Spacing and Arcs lanes, and pop, on clean motion, and on faults planted in it.

    python -m tests.corpus.spacing_page [DIR] [--families kinks shoves ...]

Writes docs/corpus_spacing.md; build.py corpus does the same. With families only these are planted anew, and the page
keeps the rows of the others; what is clean is always counted anew, by all checks. DIR may hold captured BVH and
hand-keyed files: these are counted clean, faults are planted in the registry's clips only. These checks look together
with those of limbs and feet, which own some of what they see. A third of the clips, told by a hash of the name, is held
back, and counted apart.
"""

import argparse
import os
import sys
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from plumbline.core.catalogue import chosen
from plumbline.core.note import Note
from plumbline.core.report.progress import Progress
from plumbline.core.shot import Shot
from plumbline.core.testing import clips, corpus
from plumbline.core.testing.plant_blocks import blocks
from plumbline.core.testing.plant_freezes import freezes
from plumbline.core.testing.plant_locks import locks
from plumbline.core.testing.plant_marches import marches
from plumbline.core.testing.plant_paths import kinks, shoves, wiggles
from plumbline.core.testing.plant_snaps import snaps
from plumbline.core.testing.plant_stops import stops
from plumbline.core.testing.plants import SIZES, Case, judge, prepared, review
from plumbline.core.testing.rekey import rekeyed

from . import files
from .first_recipes import RECIPES, Yardstick
from .tables import Tally

DOCS = Path(__file__).resolve().parents[2] / "docs" / "corpus_spacing.md"
CHECKS = ("linear-span", "dead-stop", "twinned-stop", "frozen-part", "stuck-in-space", "jitter", "uneven-spacing",
          "arc-break", "pop")
#: What owns some of these notes, or is raised by a careless remedy.
BESIDE = ("joint-limit", "overextension", "slip", "ground-gap")
FAMILIES = (marches, stops, blocks, freezes, locks, wiggles, shoves, kinks, snaps)
#: What each check set out to find, percent: middle, large. On keyed motion the issue's, on captured what the recipes
#: that were tried first had found.
ASKED = {
    "keyed": {"linear-span": (84, 92), "dead-stop": (85, 93), "twinned-stop": (76, 80), "frozen-part": (100, 100),
              "stuck-in-space": (84, 88), "jitter": (88, 99), "uneven-spacing": (78, 87), "arc-break": (75, 87),
              "pop": (100, 100)},
    "captured": {"linear-span": (78, 86), "dead-stop": (90, 90), "frozen-part": (100, 100), "stuck-in-space": (86, 86),
                 "jitter": (88, 99), "uneven-spacing": (66, 86), "arc-break": (75, 87), "pop": (46, 100)},
}
#: Captured clips are planted at these rates, those keyed anew too, where the clip has them.
RATES = (24.0, 30.0, 60.0)
Counts = dict[tuple[str, str, bool], list[tuple[corpus.Subject, Note, str]]]
Minutes = dict[tuple[str, str, bool], float]
Sources = dict[tuple[str, str, str], float]


def run(more: Path | None, progress: Progress, families: Sequence[Callable[..., Iterator[Case]]] = FAMILIES) -> None:
    """Counts, writes the page and prints its tables."""
    yardstick = Yardstick()
    kept = [] if len(families) == len(FAMILIES) else DOCS.read_text("utf-8").splitlines()
    text = page(clean(more, progress, yardstick), planted(progress, yardstick, families), yardstick,
                more is not None, kept)
    DOCS.write_text(text, "utf-8", newline="\n")
    progress.clear()
    print(text)


# ---- clean motion ------------------------------------------------------------------------------------------


def clean(more: Path | None, progress: Progress, yardstick: Yardstick) -> tuple[Minutes, Counts, Sources]:
    """Minutes and notes of every kind of clip and rate, held back or not, each with the reason by which the list of the
    clips' own faults holds it, '' where it does not; and the minutes by kind, source and rate."""
    minutes: Minutes = defaultdict(float)
    sources: Sources = defaultdict(float)
    notes: Counts = defaultdict(list)
    subjects = [*corpus.captured(more), *corpus.proxies()]
    if more is not None:
        subjects += [subject for subject, why in files.subjects(more) if not why]
    for k, subject in enumerate(subjects):
        progress.part(f"{subject.clip} at {subject.rate}", 0.3 * k / len(subjects))
        shot = subject.make()
        key = subject.kind, subject.rate, subject.held_back
        minutes[key] += shot.count / shot.rate / 60
        sources[subject.kind, subject.source, subject.rate] += shot.count / shot.rate / 60
        if subject.kind == "captured":
            yardstick.look(subject.rate, shot)
        for note in review(shot, chosen([*CHECKS, *BESIDE])).notes:
            if note.check in CHECKS:
                own = next((a.reason for a in corpus.accepted() if a.covers(subject.clip, shot, note)), "")
                notes[key].append((subject, note, own))
    return minutes, notes, sources


def clean_table(minutes: Minutes, notes: Counts, sources: Sources) -> Iterator[str]:
    yield "| clips | rate | held back | minutes | " + " | ".join(CHECKS) + " | false | false and own |"
    yield "|---" * (6 + len(CHECKS)) + "|"
    for key in sorted(minutes):
        cells = [_rates([(n, own) for _, n, own in notes[key] if n.check == check], minutes[key]) for check in CHECKS]
        loud = [own for _, n, own in notes[key] if n.severity.rank >= 1]
        held = "yes" if key[2] else "no"
        yield (f"| {key[0]} | {key[1]} | {held} | {minutes[key]:.2f} | " + " | ".join(cells)
               + f" | {loud.count('') / minutes[key]:.1f} | {len(loud) / minutes[key]:.1f} |")
    yield "\n| held back or not, medium up | minutes | false | own | a minute |\n|---|---|---|---|---|"
    for kind, rate in sorted({key[:2] for key in minutes}):
        long = sum(minutes[kind, rate, held] for held in (False, True))
        loud = [own for held in (False, True) for _, n, own in notes[kind, rate, held] if n.severity.rank >= 1]
        false = loud.count("")
        yield f"| {kind} at {rate} | {long:.2f} | {false} | {len(loud) - false} | {len(loud) / long:.1f} |"
    yield "\n| from, medium up | rate | minutes | false | own | a minute |\n|---|---|---|---|---|---|"
    for (kind, source, rate), long in sorted(sources.items()):
        loud = [own for some in notes.values() for s, n, own in some
                if (s.kind, s.source, s.rate) == (kind, source, rate) and n.severity.rank >= 1]
        false = loud.count("")
        told = f"{kind}: {source}" if source else kind
        yield f"| {told} | {rate} | {long:.2f} | {false} | {len(loud) - false} | {len(loud) / long:.1f} |"
    for title, which in (("Of medium severity and above, false", False), ("The clips' own faults", True)):
        found = [(s, n, own) for some in notes.values() for s, n, own in some if n.severity.rank and bool(own) is which]
        yield f"\n{title}: {len(found)}\n"
        for subject, n, reason in found:
            held = ", held back" if subject.held_back else ""
            yield (f"- {subject.clip} at {subject.rate} ({subject.kind}{held}): {n.severity} {n.check} of "
                   f"{', '.join(n.parts)}, frames {n.start} to {n.end}, {n.measured:.3g} {n.unit}"
                   f"{': ' if reason else ''}{reason}")


def _rates(told: list[tuple[Note, str]], minutes: float) -> str:
    """Low, medium and above that are false, and the clips' own, a minute."""
    counts = (sum(n.severity.rank == 0 for n, _ in told), sum(n.severity.rank >= 1 and not own for n, own in told),
              sum(n.severity.rank >= 1 and bool(own) for n, own in told))
    return " / ".join(f"{c / minutes:.1f}" if c else "0" for c in counts)


# ---- planted faults ----------------------------------------------------------------------------------------


def hosts() -> Iterator[tuple[corpus.Subject, Callable[[], Shot]]]:
    """The registry's clips that raise nothing themselves, captured and keyed anew, at each rate that they have."""
    for name in clips.names():
        fps = clips.clip(name).fps
        if corpus.faulty(name, "captured"):
            continue
        for rate in RATES:
            if rate > fps + 0.5 and rate != RATES[0]:
                continue

            def captured(name: str = name, rate: float = rate) -> Shot:
                return corpus.at_24(name) if rate == RATES[0] else clips.load(name, rate)

            def keyed(name: str = name, rate: float = rate) -> Shot:
                return rekeyed(captured(name, rate))

            yield corpus.Subject("captured", name, f"{rate:g}", captured), captured
            if name not in corpus.faulty_proxies() and not corpus.faulty(name, "keyed"):
                yield corpus.Subject("keyed", name, f"{rate:g}", keyed), keyed


def planted(progress: Progress, yardstick: Yardstick,
            families: Sequence[Callable[..., Iterator[Case]]]) -> dict[tuple[str, str, str, str], Tally]:
    """Tallies by check, kind of clip, rate and size."""
    tallies: dict[tuple[str, str, str, str], Tally] = defaultdict(Tally)
    every = list(hosts())
    for k, (subject, make) in enumerate(every):
        host = prepared(make(), chosen([*CHECKS, *BESIDE]))
        for family in families:
            if family is marches and subject.rate != "24":        # they are many
                continue
            progress.part(f"{subject.clip} at {subject.rate}: {family.__name__}", 0.3 + 0.7 * k / len(every))
            for case in family(host):
                if case.severity is None:                       # noise, of which nothing is asked
                    continue
                verdict = judge(case, host.result, host.checks)
                tallies[case.check, subject.kind, subject.rate, case.size].add(case, subject, verdict)
                if subject.kind == "captured" and case.check in RECIPES:
                    yardstick.add(subject.rate, case, host.shot, verdict.note is not None)
    return tallies


def planted_table(tallies: dict[tuple[str, str, str, str], Tally], kept: Sequence[str]) -> Iterator[str]:
    """kept: the lines of a page whose rows stand in for what was not planted anew."""
    yield ("| check | on | rate | size | n (clips) | found | asked | right severity | only this note | worst frame | "
           "size right | remedy silences | raises a medium note | found, chosen on | found, held back |")
    yield "|---" * 15 + "|"
    rows = {key: _row(key, t) for key, t in tallies.items()}
    again = {key[0] for key in rows}
    for line in kept:
        cells = [cell.strip() for cell in line.split("|")[1:5]]
        if line.count("|") == 16 and cells[0] in CHECKS and cells[0] not in again:
            check, kind, rate, size = cells
            rows[check, kind, rate, size] = line
    for key in sorted(rows, key=lambda key: (CHECKS.index(key[0]), *key[1:3], SIZES.index(key[3]))):
        yield rows[key]


def _row(key: tuple[str, str, str, str], t: Tally) -> str:
    check, kind, rate, size = key
    least = ASKED[kind].get(check)
    asked = f"{least[SIZES.index(size) - 1]} %" if least and size != "small" else ""
    shares = [(t.severe, t.n), (t.alone, t.n), (t.worst, t.n), (t.sized, t.told), (t.silenced, t.found),
              (t.raised + t.tried, t.found)]
    cells = " | ".join(_share(*s) for s in shares)
    return (f"| {check} | {kind} | {rate} | {size} | {t.n} ({len(t.clips)}) | {_share(t.found, t.n)} | {asked} | "
            f"{cells} | {_share(t.found - t.held_found, t.n - t.held)} of {t.n - t.held} | "
            f"{_share(t.held_found, t.held)} of {t.held} |")


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f} %" if whole else "-"


def page(counted: tuple[Minutes, Counts, Sources], tallies: dict[tuple[str, str, str, str], Tally],
         yardstick: Yardstick, more: bool, kept: Sequence[str]) -> str:
    extra = " DIR" if more else ""
    return (
        f"<!-- Written by `python -m tests.corpus.spacing_page{extra}`. -->\n"
        "# Spacing and arcs on real motion\n\n"
        "## Notes a minute on clean clips\n\n"
        "Low / medium and above, false / medium and above, the clips' own faults (tests/corpus/accepted.json tells "
        "each with its reason). False, false and own: of all these checks, medium and above, a minute. Captured clips "
        "at their own rate and resampled, the same keyed anew with sparse keys "
        f"at 24{', and hand-keyed files' if more else ''}. A third of the clips is held back: no limit is chosen on "
        "it.\n\n"
        + "\n".join(clean_table(*counted))
        + "\n\n## Planted faults\n\n"
        "linear-span: a part marched evenly for 5, 8 and 12 frames between corners. dead-stop: a hand or the whole "
        "body stops in one frame, its last step slowed to 52 to 63 %, 67 to 78 % and over 82 % of the peak. "
        "frozen-part: head, upper arm, forearm or hand held dead for 0.75, 1.4 and 2.6 s; what "
        "a clip is too short for is planted in its motion played to and fro. stuck-in-space: the head held in the "
        "world for 6, 10 and 16 frames of 24 while the chest travels. twinned-stop: 2, 3 and 6 parts of the upper "
        "body turned as one block in 8 and 12 frames. jitter: wiggles of 0.5, 1 and 3 cm over 8 frames. "
        "uneven-spacing: one frame moved 20, 40 and 80 % toward its neighbor. arc-break: kinks of 30, 60 and 90 "
        "degrees. pop: a knee or elbow straightened by 8, 15 and 25 degrees in one frame to between 1 and 9, where no "
        "step of its own beside it is as large; it is low where it does not snap both ways, asked are medium, high and "
        "high. Marches "
        "are planted at 24 alone, for they are many. Asked: on "
        "keyed motion what was set out to be found, on captured what recipes that were tried first had found. Size: "
        "within 0.05 of the share, 0.13 s, 1 % of the leg, one part. A raised medium note: on trial or not.\n\n"
        + "\n".join(planted_table(tallies, kept))
        + "\n\n## Like for like on captured motion\n\n"
        "What is asked of jitter, uneven-spacing and arc-break on captured motion are the shares that the recipes "
        "tried first (tests/corpus/first_recipes.py) had found at 24 of faults laid on bare paths, wherever a part "
        "was fast, with no other check beside them and every note on the clean motion kept. Here they look at the "
        "faults planted above, in bodies, at the same frames. The check alone: before the notes of other checks own "
        "any. The clip itself departs by more: within 0.75 s of the fault, from its own smooth path, than the fault "
        "makes it depart. Low notes a minute of the checks stand in the first table of this page.\n\n"
        + "\n".join(yardstick.table(kept)) + "\n"
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, metavar="DIR", help="captured and hand-keyed files")
    parser.add_argument("--families", nargs="+", choices=[f.__name__ for f in FAMILIES], help="plant these alone anew")
    asked = parser.parse_args()
    wanted = [f for f in FAMILIES if asked.families is None or f.__name__ in asked.families]
    run(asked.folder, Progress(sys.stderr, "spacing", sys.stderr.isatty()), wanted)
    sys.stdout.flush()
    os._exit(0)  # pip's bpy may hang where the interpreter ends by itself
