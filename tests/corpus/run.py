# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs the checks over real motion, and over faults planted in it, and counts.

    build.py corpus [--more DIR] [--only TEXT] [--planted KINDS] [--page corpus]

Clean clips first: every note of medium severity or above that tests/corpus/accepted.json does not hold is printed and
counted as false. Then the planted faults. A third of the clips, told by a fixed hash of their names, is held back:
limits are chosen on the others, and both are counted apart. --more adds the BVH and hand-keyed files of a folder, and
its trials of people who jump as clips to plant flights in, as the keeper's hop is. The tables go to docs/corpus.md,
those of slip's limits to docs/corpus_slip.md, of balance and flight to docs/corpus_weight.md, of stops, freezes, locks
and blocks to docs/corpus_spacing.md, tangent's own to docs/corpus_tangent.md. --planted plants the named kinds of
faults alone, as carries,tilts, says what is found and what remedies do, and writes nothing. --page corpus writes
docs/corpus.md alone; the other pages have commands of their own.
Exit code 1 where a false note is left.
"""

import os
import sys
import time
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path

from plumbline.core.note import Result
from plumbline.core.report.progress import Progress
from plumbline.core.shot import Shot
from plumbline.core.testing import clips, corpus, planting
from plumbline.core.testing.plants import Clean, Verdict, judge, prepared, review

from . import files, slip_page, spacing_page, tangent_page, weight_page
from .flown import HOP, flown
from .low_notes import low_table
from .tables import Row, Tally, clean_table, law_table, page, planted_table

DOCS = Path(__file__).resolve().parents[2] / "docs" / "corpus.md"


def main(words: list[str]) -> int:
    told = dict(zip(words[::2], words[1::2], strict=False))
    families = told.get("--planted", "").split(",")
    kinds = [kind.__name__ for kind in planting.KINDS]
    if (len(words) % 2 or set(told) - {"--more", "--only", "--planted", "--page"}
            or not Path(told.get("--more", ".")).is_dir() or told.get("--page", "corpus") != "corpus"
            or ("--planted" in told and set(families) - set(kinds))):
        print("usage: build.py corpus [--more DIR] [--only TEXT] [--planted KINDS] [--page corpus], DIR a folder with "
              "BVH, .blend and .glb files, TEXT what the names of the clips to run hold, KINDS of faults to plant and "
              f"nothing else: {','.join(kinds)}", file=sys.stderr)
        return 2
    more, only = Path(told["--more"]) if "--more" in told else None, told.get("--only", "")
    start = time.monotonic()
    progress = Progress(sys.stderr, "corpus", sys.stderr.isatty())
    if "--planted" in told:
        tallies = planted(clean(None, progress, only, hosts_only=True), progress, families, more)
        progress.clear()
        print(f"{planted_table(tallies)}\n\n{law_table(tallies)}\n{time.monotonic() - start:.0f} s")
        return int(not tallies)
    rows = clean(more, progress, only)
    if only:
        progress.clear()
        print(f"{clean_table(rows)}\n\n{low_table(rows)}")
        return int(not rows or any(row.false for row in rows))
    tallies = planted(rows, progress, (), more)
    progress.clear()
    text = page(rows, tallies, more is not None)
    print(f"{clean_table(rows)}\n\n{low_table(rows)}")
    print(planted_table(tallies))
    DOCS.write_text(text, "utf-8")
    false = any(row.false for row in rows)
    if "--page" in told:
        return int(false)
    slip_page.run(more, progress)
    weight_page.run(more, progress, lambda: tallies)
    spacing_page.run(more, progress)
    wrong = tangent_page.run(more, progress)
    print(f"{time.monotonic() - start:.0f} s")
    return int(wrong > 0 or false)


def subjects(more: Path | None, only: str = "") -> Iterator[tuple[corpus.Subject, str]]:
    keeper = corpus.Subject("keyed", "keeper", "own", files.keeper)
    for subject in (*corpus.captured(more), *corpus.proxies(), keeper, HOP):
        if only in subject.clip:
            yield subject, ""
    if more is not None:
        yield from files.subjects(more, only)


def clean(more: Path | None, progress: Progress, only: str = "", hosts_only: bool = False) -> list[Row]:
    """One row a clip and rate; of those alone that faults are planted in where ``hosts_only`` says so."""
    rows = []
    total = len(list(corpus.captured(more))) + len(list(corpus.proxies())) + 1
    for k, (subject, why) in enumerate(subjects(more, only)):
        progress.part(f"{subject.clip} at {subject.rate}", 0.4 * min(1.0, k / total))
        if hosts_only and not hosting(subject):
            continue
        if why:
            rows.append(Row(subject, 0.0, (), (), (), (), why))
            continue
        shot = subject.make()
        result = review(shot)
        rows.append(row_of(subject, shot, result))
    return rows


def row_of(subject: corpus.Subject, shot: Shot, result: Result) -> Row:
    minutes = shot.count / shot.rate / 60
    loud = [n for n in result.notes if n.severity.rank >= 1 and not n.trial]
    trial = tuple(n for n in result.notes if n.severity.rank >= 1 and n.trial)
    left = corpus.unaccepted(subject.clip, shot, loud)
    faulty = subject.kind == "keyed" and subject.clip in corpus.faulty_proxies()
    own = tuple(n for n in loud if n not in left) if not faulty else tuple(loud)
    # a clip alone has no camera and no ground
    skipped = tuple(s for s in result.skipped if s.check != "tangent" and "body map" not in s.why
                    and "no mesh near its feet" not in s.why)
    low = tuple(n for n in result.notes if n.severity.rank == 0)
    return Row(subject, minutes, low, () if faulty else tuple(left), own, skipped,
               corpus.faulty_proxies().get(subject.clip, "") if faulty else "", trial)


def hosting(subject: corpus.Subject) -> bool:
    """Whether faults are planted in it, if it is clean: captured clips at 24, or their own rate where that is no
    higher, and keyed ones that anybody has."""
    if subject.kind == "captured":
        return subject.clip in clips.names() and (subject.rate == "24" or clips.clip(subject.clip).fps < 24.5)
    return subject.kind == "keyed" and subject.clip in {*clips.names(), "keeper"}


def planted(rows: list[Row], progress: Progress, families: Sequence[str] = (), more: Path | None = None
            ) -> list[Tally]:
    """Faults of some kinds, all where none is named, planted where the clip itself raised nothing unaccepted; those of
    flights in clips with faults elsewhere too, and in the trials of a folder."""
    hosts = [*(r.subject for r in rows if not r.why and not r.false and hosting(r.subject)), *flown(more)]
    trials = {subject.clip for subject in flown(more)}
    counts: dict[tuple[str, str, str], Tally] = defaultdict(Tally)
    for k, subject in enumerate(hosts):
        apart = subject.clip in trials or corpus.faulty(subject.clip, subject.kind)
        kinds = planting.APART if apart else planting.KINDS
        if families and not any(kind.__name__ in families for kind in kinds):
            continue
        host: Clean = prepared(subject.make())
        for case in planting.cases(host, families, kinds):
            progress.part(f"{subject.clip}: {case.kind}", 0.4 + 0.6 * k / len(hosts))
            verdict: Verdict = judge(case, host.result)
            tally = counts[(case.kind, subject.kind, case.size)]
            tally.add(case, subject, verdict)
    return list(counts.values())


if __name__ == "__main__":
    code = main(sys.argv[1:])
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)  # pip's bpy may hang where the interpreter ends by itself
