# SPDX-License-Identifier: GPL-3.0-or-later
"""Clean maximum beside limit of the checks of standing feet, and what is found of planted heel edges and late heels.

    python -m tests.corpus.feet [DIR]

ground-gap, thin-support and late-roll over captured clips (own rate, 24, 30), keyed proxies and, with DIR, its
captured and hand-keyed files. Captured and keyed clips are set down on a level mesh (core/testing/floors.py),
hand-keyed ones stand on a mesh at z = 0; thin-support looks at them without a mesh too, and knows that their soles
are guessed. Limits are chosen on two thirds of the clips; the others are counted apart. Late heels are planted in all
walks, those of DIR and of its trials with force plates too, captured at 24 frames a second and keyed anew. Writes
docs/corpus_feet.md.
"""

import os
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from plumbline.core.catalogue import catalogue
from plumbline.core.check import Check
from plumbline.core.measures.peel import peels
from plumbline.core.note import Note, Skip
from plumbline.core.report.progress import Progress
from plumbline.core.shot import Shot
from plumbline.core.study import Study
from plumbline.core.testing import clips, corpus
from plumbline.core.testing.floors import floor, on_floor
from plumbline.core.testing.plant_peels import late_heels
from plumbline.core.testing.plants import judge, prepared
from plumbline.core.testing.rekey import rekeyed

from . import files, plate_data, run
from .tables import Tally, law_table, planted_table

PAGE = Path(__file__).resolve().parents[2] / "docs" / "corpus_feet.md"
#: Limits so low that whatever is there is told.
LEAST = {"ground-gap": 1e-4, "thin-support": 1e-3, "late-roll": 1e-3}
#: Check and whether a mesh tells its ground -> its kinds, each a row of its own.
KINDS = {("ground-gap", True): ("over", "into"), ("thin-support", False): ("heel", "inner", "outer"),
         ("thin-support", True): ("heel", "toe", "inner", "outer"), ("late-roll", False): ("",)}


def subjects(more: Path | None) -> Iterator[tuple[str, str, str, Shot]]:
    for subject in (*corpus.captured(more), *corpus.proxies()):
        yield subject.kind, subject.clip, subject.rate, subject.make()
    for name in walked(more):
        for rate, fps in (("24", 24.0), ("30", 30.0), ("60", 60.0)):
            yield "captured", name, rate, plate_data.trial(more, name).sampled(fps)[0]
    for subject, why in files.subjects(more) if more is not None else ():
        if not why and subject.rate == "own":
            yield subject.kind, subject.clip, subject.rate, subject.make()


def walked(more: Path | None) -> tuple[str, ...]:
    """Trials with force plates in which people walk, where the folder has them."""
    there = more is not None and (more / "force_plates").is_dir()
    return tuple(n for n in (*plate_data.TRIALS, plate_data.TREADMILL) if "walk" in n or "turn" in n) if there else ()


def guessed(shot: Shot) -> Shot:
    """The shot with its soles called the guess that they are, where a floor was put under them."""
    first, *others = shot.characters
    soles = tuple(replace(sole, source="guess") for sole in first.soles)
    return replace(shot, characters=(replace(first, soles=soles), *others))


def measured(name: str, shot: Shot) -> list[Note]:
    """All that the check measures, however little; none where it cannot judge."""
    check: Check = type(catalogue()[name])()
    check.limit = replace(check.limit, low=LEAST[name])  # type: ignore[misc]
    study = Study(shot)
    out = []
    for character in shot.characters:
        fit = (character.size_is_known or not check.metric) and check.groups_on(character)
        if fit and not check.unjudged(study, character):
            out += [n for n in check.run(study, character) if not isinstance(n, Skip)]
    return out


def main(more: Path | None) -> int:
    best: dict[tuple[str, bool, str, str, bool], tuple[float, str]] = defaultdict(lambda: (0.0, ""))
    loud: list[str] = []
    progress = Progress(sys.stderr, "feet", sys.stderr.isatty())
    for kind, clip, rate, shot in subjects(more):
        progress.part(f"{clip} at {rate}", 0.2)
        back = corpus.held_back(clip)
        stands = replace(shot, surfaces=(floor(),)) if kind == "hand-keyed" else on_floor(shot)
        for name, mesh in KINDS:
            limit = catalogue()[name].limit
            seen = shot if not mesh else stands if name == "ground-gap" or kind == "hand-keyed" else guessed(stands)
            for note in measured(name, seen):
                leg = next(c for c in shot.characters if c.name == note.character)
                size = note.measured / (leg.leg_length * leg.real_size if note.unit == "m" else 1.0)
                row = (name, mesh, note.kind, kind, back)
                best[row] = max(best[row], (size, f"{clip} at {rate}, frame {note.worst}"))
                if size >= limit.medium:
                    loud.append(f"{name} {note.kind} {size:.3f}{'' if mesh else ', no mesh'}: {clip} at {rate}, "
                                f"{note.text}")
    tallies = [*run.planted(run.clean(None, progress, hosts_only=True), progress, ["edges"]), *late(more, progress)]
    progress.clear()
    text = page(best, loud, tallies)
    print(text)
    PAGE.write_text(text, "utf-8", newline="\n")
    return 0


def late(more: Path | None, progress: Progress) -> list[Tally]:
    """Late heels planted in every walk at 24 frames a second, captured and keyed anew."""
    counts: dict[tuple[str, str], Tally] = defaultdict(Tally)
    for name, captured in walks(more):
        if not Study(captured).of(peels, captured.characters[0]):
            continue
        for kind, shot in (("captured", captured), ("keyed", rekeyed(captured))):
            subject = corpus.Subject(kind, name, "24", lambda shot=shot: shot)
            host = prepared(shot)
            for case in late_heels(host):
                progress.part(f"{name}: {case.kind}", 0.9)
                counts[kind, case.size].add(case, subject, judge(case, host.result))
    return list(counts.values())


def walks(more: Path | None) -> Iterator[tuple[str, Shot]]:
    """Captured clips and trials at 24 frames a second."""
    for name in clips.names(more):
        yield name, clips.load(name, 24.0 if clips.clip(name, more).fps > 24.5 else None, more)
    for name in walked(more):
        yield name, plate_data.trial(more, name).sampled(24.0)[0]


def page(best: dict[tuple[str, bool, str, str, bool], tuple[float, str]], loud: list[str],
         tallies: list[Tally]) -> str:
    out = ["# Standing feet: clean maximum beside limit", "",
           "Written by `python -m tests.corpus.feet DIR`. In legs, of `thin-support` in seconds. Ground: a mesh that "
           "captured and keyed clips are set down on, and that hand-keyed ones are given "
           "at z = 0.", "",
           "| check | ground | face | low / medium / high | clips | largest, chosen on | largest, held back | where |",
           "| --- | --- | --- | --- | --- | --- | --- | --- |"]
    for (name, mesh), kinds in KINDS.items():
        limit = catalogue()[name].limit
        for kind in kinds:
            for clip in ("captured", "keyed", "hand-keyed"):
                mine, back = (best.get((name, mesh, kind, clip, b), (0.0, "")) for b in (False, True))
                where = max(mine, back)[1]
                out.append(f"| {name} | {'a mesh' if mesh else 'none'} | {kind} | "
                           f"{limit.low:g} / {limit.medium:g} / {limit.high:g} | {clip} | "
                           f"{mine[0]:.3f} | {back[0]:.3f} | {where or 'nothing measured'} |")
    out += ["", "What passes medium on clean clips:", "", *(f"- {line}" for line in loud)]
    out += ["", "## Weight planted on heel edges", "",
            "For 0.3 s (small, low) and 0.6 s (large, medium), where one foot carries alone or both feet stand.", "",
            *_tables([t for t in tallies if t.check != "late-roll"]), "", "## Heels planted late", "",
            "Held down for 2 (small) and 3 (large) frames of 24; how far the body then gets depends on the step, so "
            "no size is asked.", "", *_tables([t for t in tallies if t.check == "late-roll"])]
    return "\n".join(out) + "\n"


def _tables(tallies: list[Tally]) -> tuple[str, str, str]:
    return planted_table(tallies), "", law_table(tallies)


if __name__ == "__main__":
    if len(sys.argv) > 2 or (len(sys.argv) == 2 and not Path(sys.argv[1]).is_dir()):
        print("usage: python -m tests.corpus.feet [DIR], the folder with more clips", file=sys.stderr)
        os._exit(2)
    code = main(Path(sys.argv[1]) if len(sys.argv) == 2 else None)
    sys.stdout.flush()
    os._exit(code)  # pip's bpy may hang where the interpreter ends by itself
