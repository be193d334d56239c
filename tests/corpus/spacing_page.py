# SPDX-License-Identifier: GPL-3.0-or-later
"""dead-stop, frozen-part, stuck-in-space and twinned-stop on clean motion, and on faults planted in it.

    python -m tests.corpus.spacing_page [DIR]

Writes docs/corpus_spacing.md; build.py corpus does the same. DIR may hold captured BVH and hand-keyed files: these are
counted clean, faults are planted in the registry's clips only.
"""

import os
import sys
from collections import defaultdict
from collections.abc import Callable, Iterator
from pathlib import Path

from plumbline.core.catalogue import chosen
from plumbline.core.note import Note, Severity
from plumbline.core.report.progress import Progress
from plumbline.core.runner import finish
from plumbline.core.shot import Shot
from plumbline.core.testing import clips, corpus
from plumbline.core.testing.plant_blocks import blocks
from plumbline.core.testing.plant_freezes import freezes
from plumbline.core.testing.plant_locks import locks
from plumbline.core.testing.plant_stops import stops
from plumbline.core.testing.plants import SIZES, judge, prepared
from plumbline.core.testing.rekey import rekeyed

from . import files
from .tables import Tally

DOCS = Path(__file__).resolve().parents[2] / "docs" / "corpus_spacing.md"
CHECKS = ("dead-stop", "frozen-part", "stuck-in-space", "twinned-stop")
FAMILIES = (stops, freezes, locks, blocks)
#: What each check set out to find on keyed motion, percent: middle, large.
ASKED = {"dead-stop": (85, 93), "frozen-part": (100, 100), "stuck-in-space": (84, 88), "twinned-stop": (76, 80)}
#: Captured clips are planted at these rates, those keyed anew too, where the clip has them.
RATES = (24.0, 30.0, 60.0)
Counts = dict[tuple[str, str], list[tuple[corpus.Subject, Note]]]


def run(more: Path | None, progress: Progress) -> None:
    """Counts, writes the page and prints its tables."""
    text = page(clean(more, progress), planted(progress), more is not None)
    DOCS.write_text(text, "utf-8", newline="\n")
    progress.clear()
    print(text)


# ---- clean motion ------------------------------------------------------------------------------------------


def clean(more: Path | None, progress: Progress) -> tuple[dict[tuple[str, str], float], Counts]:
    """Minutes and notes of every kind of clip and rate."""
    minutes: dict[tuple[str, str], float] = defaultdict(float)
    notes: Counts = defaultdict(list)
    subjects = [*corpus.captured(more), *corpus.proxies()]
    if more is not None:
        subjects += [subject for subject, why in files.subjects(more) if not why]
    for k, subject in enumerate(subjects):
        progress.part(f"{subject.clip} at {subject.rate}", 0.3 * k / len(subjects))
        shot = subject.make()
        key = subject.kind, subject.rate
        minutes[key] += shot.count / shot.rate / 60
        result = finish(shot, chosen(list(CHECKS)))
        if result.failed:
            raise AssertionError(f"{subject.clip}: {result.failed[0].error}")
        notes[key] += [(subject, note) for note in result.notes]
    return minutes, notes


def clean_table(minutes: dict[tuple[str, str], float], notes: Counts) -> Iterator[str]:
    yield "| clips | rate | minutes | " + " | ".join(CHECKS) + " |"
    yield "|---" * (3 + len(CHECKS)) + "|"
    for key in sorted(minutes):
        cells = []
        for check in CHECKS:
            told = [note.severity for _, note in notes[key] if note.check == check]
            cells.append(" / ".join(f"{told.count(s) / minutes[key]:.1f}" if s in told else "0" for s in Severity))
        yield f"| {key[0]} | {key[1]} | {minutes[key]:.2f} | " + " | ".join(cells) + " |"
    yield ""
    found = [(s, n) for some in notes.values() for s, n in some if n.severity.rank]
    yield f"Of medium severity and above: {len(found)}"
    yield ""
    for subject, n in found:
        held = ", held back" if subject.held_back else ""
        yield (f"- {subject.clip} at {subject.rate} ({subject.kind}{held}): {n.severity} {n.check} of "
               f"{', '.join(n.parts)}, frames {n.start} to {n.end}, {n.measured:.3g} {n.unit}")


# ---- planted faults ----------------------------------------------------------------------------------------


def hosts() -> Iterator[tuple[corpus.Subject, Callable[[], Shot]]]:
    """The registry's clips that raise nothing themselves, captured and keyed anew, at each rate that they have."""
    own = {a.clip for a in corpus.accepted()}
    for name in clips.names():
        fps = clips.clip(name).fps
        if name in own:
            continue
        for rate in RATES:
            if rate > fps + 0.5 and rate != RATES[0]:
                continue

            def captured(name: str = name, rate: float = rate) -> Shot:
                return corpus.at_24(name) if rate == RATES[0] else clips.load(name, rate)

            def keyed(name: str = name, rate: float = rate) -> Shot:
                return rekeyed(captured(name, rate))

            yield corpus.Subject("captured", name, f"{rate:g}", captured), captured
            if name not in corpus.faulty_proxies():
                yield corpus.Subject("keyed", name, f"{rate:g}", keyed), keyed


def planted(progress: Progress) -> dict[tuple[str, str, str, str], Tally]:
    """Tallies by check, kind of clip, rate and size."""
    tallies: dict[tuple[str, str, str, str], Tally] = defaultdict(Tally)
    every = list(hosts())
    for k, (subject, make) in enumerate(every):
        host = prepared(make())
        for family in FAMILIES:
            progress.part(f"{subject.clip} at {subject.rate}: {family.__name__}", 0.3 + 0.7 * k / len(every))
            for case in family(host):
                tallies[case.check, subject.kind, subject.rate, case.size].add(case, subject, judge(case, host.result))
    return tallies


def planted_table(tallies: dict[tuple[str, str, str, str], Tally]) -> Iterator[str]:
    yield ("| check | on | rate | size | n (clips) | found | asked | right severity | only this note | worst frame | "
           "size right | remedy silences | raises a medium note | found, held back |")
    yield "|---" * 14 + "|"
    for key in sorted(tallies, key=lambda key: (*key[:3], SIZES.index(key[3]))):
        check, kind, rate, size = key
        t = tallies[key]
        asked = f"{ASKED[check][SIZES.index(size) - 1]} %" if kind == "keyed" and size != "small" else ""
        shares = [(t.severe, t.n), (t.alone, t.n), (t.worst, t.n), (t.sized, t.told), (t.silenced, t.found),
                  (t.raised, t.found)]
        cells = " | ".join(_share(*s) for s in shares)
        yield (f"| {check} | {kind} | {rate} | {size} | {t.n} ({len(t.clips)}) | {_share(t.found, t.n)} | {asked} | "
               f"{cells} | {_share(t.held_found, t.held)} of {t.held} |")


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f} %" if whole else "-"


def page(counted: tuple[dict[tuple[str, str], float], Counts], tallies: dict[tuple[str, str, str, str], Tally],
         more: bool) -> str:
    extra = " DIR" if more else ""
    return (
        f"<!-- Written by `python -m tests.corpus.spacing_page{extra}`. -->\n"
        "# Stops, freezes, locked heads and blocks on real motion\n\n"
        "## Notes a minute on clean clips\n\n"
        "Low / medium / high, before precedence with other lanes. Captured clips at their own rate and resampled, the "
        f"same keyed anew with sparse keys at 24{', and hand-keyed files' if more else ''}.\n\n"
        + "\n".join(clean_table(*counted))
        + "\n\n## Planted faults\n\n"
        "dead-stop: a hand or the whole body stops in one frame, its last step slowed to 52 to 63 %, 67 to 78 % and "
        "over 82 % of the peak. frozen-part: head, upper arm, forearm or hand held dead for 0.75, 1.4 and 2.6 s; what "
        "a clip is too short for is planted in its motion played to and fro. stuck-in-space: the head held in the "
        "world for 6, 10 and 16 frames of 24 while the chest travels. twinned-stop: 2, 3 and 6 parts of the upper "
        "body turned as one block in 8 and 12 frames. Asked: what was set out to be found on keyed motion. Size: "
        "within 0.05 of the share, 0.13 s, 1 % of the leg, one part.\n\n"
        + "\n".join(planted_table(tallies)) + "\n"
    )


if __name__ == "__main__":
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    run(folder, Progress(sys.stderr, "spacing", sys.stderr.isatty()))
    sys.stdout.flush()
    os._exit(0)  # pip's bpy may hang where the interpreter ends by itself
