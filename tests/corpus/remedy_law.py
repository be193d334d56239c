# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedies of spacing, arcs and balance, carried out in Blender on planted keyed shots: is the note gone, did
another come?

    python -m tests.corpus.remedy_law [CHECK ...] [--clips CLIP ...] [--rates 24 30] [--add FILE]

Each clip keyed anew gets every family's faults planted (``keyed_stage``: sparse keys, frame by frame where the fault
is); the shot is checked as the button does it, the note's own operator is run, and what its second check says counts.
Writes docs/corpus_remedies.md where nothing narrows the run.
"""

import argparse
import json
import os
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import bpy
from plumbline.blender_addon import registration, session, settings
from plumbline.blender_addon.key_mending import mend_keys
from plumbline.blender_addon.panels.sidebar import mend_of
from plumbline.core.note import Note
from plumbline.core.takes import same
from plumbline.core.testing import clips, corpus
from plumbline.core.testing.plant_blocks import blocks
from plumbline.core.testing.plant_carries import carries
from plumbline.core.testing.plant_flights import caught
from plumbline.core.testing.plant_freezes import freezes
from plumbline.core.testing.plant_locks import locks
from plumbline.core.testing.plant_paths import kinks, shoves, wiggles
from plumbline.core.testing.plant_snaps import snaps
from plumbline.core.testing.plant_stops import stops
from plumbline.core.testing.plant_tilts import tilts
from plumbline.core.testing.plants import SIZES, Case, Clean, prepared
from plumbline.core.testing.rekey import rekeyed

from . import keyed_stage

DOCS = Path(__file__).resolve().parents[2] / "docs" / "corpus_remedies.md"
FAMILIES: dict[str, Callable[[Clean], Iterator[Case]]] = {
    "dead-stop": stops, "twinned-stop": blocks, "frozen-part": freezes, "stuck-in-space": locks, "jitter": wiggles,
    "uneven-spacing": shoves, "arc-break": kinks, "pop": snaps, "off-balance": tilts, "undriven-move": carries,
    "hard-landing": caught,
}
#: Cases of one check in one clip and size at most.
EACH = 2


@dataclass
class Tally:
    """What came of the cases of one check and size. seen: whose note Blender's own sampling shows as well."""

    planted: int = 0
    seen: int = 0
    done: int = 0
    gone: int = 0
    raised: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    left: list[str] = field(default_factory=list)


def main(words: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("checks", nargs="*", default=list(FAMILIES), metavar="CHECK")
    parser.add_argument("--clips", nargs="*", default=None, metavar="CLIP", help="these clips alone")
    parser.add_argument("--add", type=Path, help="a file with counts that this run's are added to: a run in parts")
    parser.add_argument("--rates", type=float, nargs="*", default=[24.0, 30.0])
    asked = parser.parse_args(words)
    known = [n for n in clips.names() if n not in corpus.faulty_proxies()]
    names = known if asked.clips is None else [n for n in known if n in asked.clips]
    if not names:
        parser.error("none of these clips is there: build.py fetches them")
    tallies = _kept(asked.add)
    registration.register()
    for name in names:
        for rate in asked.rates:
            if rate > clips.clip(name).fps + 0.5 and rate != 24.0:
                continue
            start = time.perf_counter()
            host = rekeyed(corpus.at_24(name) if rate == 24.0 else clips.load(name, rate))
            clean = prepared(host)
            count = sum(_family(check, clean, tallies) for check in asked.checks)
            print(f"{name} at {rate:g}: {count} cases in {time.perf_counter() - start:.0f} s", file=sys.stderr)
    registration.unregister()
    if asked.add is not None:
        asked.add.write_text(json.dumps([[*key, asdict(t)] for key, t in tallies.items()]), "utf-8")
    text = page(tallies)
    if asked.checks == list(FAMILIES) and (asked.clips is None or asked.add is not None):
        DOCS.write_text(text, "utf-8", newline="\n")
    print(text)
    for (check, size), t in tallies.items():
        for line in t.left:
            print(f"{check}, {size}: {line}")
    return 0


def _kept(path: Path | None) -> dict[tuple[str, str], Tally]:
    """The counts that the file holds."""
    out: dict[tuple[str, str], Tally] = defaultdict(Tally)
    for check, size, row in json.loads(path.read_text("utf-8")) if path is not None and path.exists() else ():
        out[check, size] = Tally(**{**row, "refused": Counter(row["refused"])})
    return out


def _family(check: str, clean: Clean, tallies: dict[tuple[str, str], Tally]) -> int:
    taken: Counter[str] = Counter()
    for case in FAMILIES[check](clean):
        if taken[case.size] < EACH:
            taken[case.size] += 1
            judge(case, clean, tallies[check, case.size])
    return sum(taken.values())


def judge(case: Case, clean: Clean, tally: Tally) -> None:
    """One case built, checked, mended and checked again."""
    tally.planted += 1
    bpy.ops.wm.read_factory_settings(use_empty=True)
    keyed_stage.build(case.shot, clean.shot)
    bpy.context.view_layer.update()
    bpy.ops.plumbline.check_shot()
    before = _notes()
    number, note = _found(case, before)
    if note is None:
        return
    tally.seen += 1
    settings.show_row(number, bpy.context.scene)
    operator = mend_of(note).rpartition(".")[2]
    mend: Any = getattr(bpy.ops.plumbline, operator) if operator else None
    if mend is None or not mend.poll():
        tally.refused["no operator runs"] += 1
        return
    if mend() != {"FINISHED"}:
        tally.refused[mend_keys(bpy.context, note)] += 1
        return
    tally.done += 1
    after = _notes()
    rest = [o for o in before if o is not note]
    left = [n for n in after if n.check == note.check and {n.part, *n.parts} & {note.part, *note.parts}
            and n.start <= note.end and note.start <= n.end and not any(same(n, o) for o in rest)]
    # beside the planted note's own, other medium notes that were not there, nor as low with as much to tell
    more = [n for n in after if n.severity.rank >= 1
            and not any(same(n, o) for o in before if o.severity.rank >= 1 or abs(o.measured) >= abs(n.measured))]
    tally.gone += not left
    tally.raised += bool(more)
    if left:
        tally.left.append(f"{case.name}: {note.measured:.3g} -> {max(n.measured for n in left):.3g} {note.unit}")
    if more:
        tally.left.append(f"{case.name}: raised {[f'{n.severity} {n.check} {n.part} {n.start}-{n.end}' for n in more]}")


def _notes() -> tuple[Note, ...]:
    checked = session.of(bpy.context.scene)
    assert checked is not None and checked.result is not None, checked and checked.why
    return checked.notes


def _found(case: Case, notes: tuple[Note, ...]) -> tuple[int, Note | None]:
    first, last = (case.shot.frame(i) for i in case.window)
    here = [(k, n) for k, n in enumerate(notes) if n.check == case.check and case.part in (n.part, *n.parts)
            and n.start <= last + 1 and first - 1 <= n.end]
    return max(here, key=lambda kn: kn[1].severity.rank, default=(-1, None))


def page(tallies: dict[tuple[str, str], Tally]) -> str:
    rows = ["| check | size | planted | seen in Blender | carried out | note gone | a new medium note |"]
    rows.append("|---" * 7 + "|")
    every = sorted(tallies, key=lambda k: (list(FAMILIES).index(k[0]), SIZES.index(k[1])))
    total = Tally()
    for key in every:
        t = tallies[key]
        rows.append(_row(*key, t))
        for name in ("planted", "seen", "done", "gone", "raised"):
            setattr(total, name, getattr(total, name) + getattr(t, name))
    rows.append(_row("all", "", total))
    refused: Counter[str] = Counter()
    for t in tallies.values():
        refused.update(t.refused)
    said = "".join(f"- {count}: {why}\n" for why, count in refused.most_common())
    return (
        "<!-- Written by `python -m tests.corpus.remedy_law`. -->\n"
        "# Remedies carried out on planted keys\n\n"
        "Faults planted in captured clips that were keyed anew with sparse keys, built in Blender as a rig with keys "
        "at 24 and 30 frames a second, checked, mended by the note's own operator, and checked again. Gone: of those "
        "carried out, no note of the same check is left on its parts there. A new medium note: of any check, on trial "
        "or not; one that was low before counts where it now measures more.\n\n"
        + "\n".join(rows) + "\n" + (f"\nNot carried out:\n\n{said}" if said else "")
    )


def _row(check: str, size: str, t: Tally) -> str:
    return (f"| {check} | {size} | {t.planted} | {t.seen} | {t.done} | {t.gone} ({_share(t.gone, t.done)}) | "
            f"{t.raised} ({_share(t.raised, t.done)}) |")


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f} %" if whole else "-"


if __name__ == "__main__":
    code = main(sys.argv[1:])
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)  # pip's bpy may hang where the interpreter ends by itself
