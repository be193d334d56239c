# SPDX-License-Identifier: GPL-3.0-or-later
"""Measures the speed of a review against a bare sweep of the same scene, prints the table, writes docs/speed.md.

    python benchmarks/bench.py [light rigify crowd throng long lanes] [--rounds N] [--frames N] [--no-page]

--frames cuts the scenes short for a quick look; such a run, like one with --no-page, leaves docs/speed.md as it is.
"""

import argparse
import json
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import bpy
from lanes import GOALS, costs
from scenes import FULL, Size, build, hang_lantern
from timing import FOUNDING, JOINTS, Review, Taken, take

HOME = Path(__file__).resolve().parents[1]
KEPT, PAGE = HOME / "out" / "bench", HOME / "docs" / "speed.md"
LANES = "lanes"
NAMES = [*FULL, LANES]
VERSION = f"{bpy.app.version[0]}.{bpy.app.version[1]}"


@dataclass(frozen=True)
class Row:
    """One line of the table: the scene, what is judged in it, the most it may cost, and the core's most share."""

    key: str
    scene: str
    what: str
    goal: float | None
    share: float | None
    checks: tuple[str, ...] | None = None
    kissing: float | None = None
    stepped: bool = False


ROWS = (
    Row("light", "light", "founding checks", 0.70, 0.30, FOUNDING),
    Row("light-stepped", "light", "joints and soles, every frame stepped", None, 0.30, JOINTS, stepped=True),
    Row("rigify-joints", "rigify", "joints and soles", 0.22, 0.03, JOINTS, 0.0),
    Row("rigify-some", "rigify", "founding checks, two meshes' outlines on 3 of 10 frames", 0.35, None, FOUNDING, 0.3),
    Row("rigify-every", "rigify", "founding checks, two meshes' outlines on every frame", 0.60, None, FOUNDING, 1.0),
    Row("crowd", "crowd", "joints and soles", 0.75, 0.30, JOINTS),
    Row("crowd-stepped", "crowd", "joints and soles, every frame stepped", None, 0.30, JOINTS, stepped=True),
    Row("crowd-outlines", "throng", "all checks, outlines of figures that pass each other on every frame", None, None),
    Row("long", "long", "founding checks", 0.70, 0.30, FOUNDING),
    Row("long-stepped", "long", "joints and soles, every frame stepped", None, 0.30, JOINTS, stepped=True),
)


def say(text: str) -> None:
    print(text, flush=True)


def measure(
    names: list[str], rounds: int, frames: int | None, keep: Callable[[dict[str, dict[str, float]]], None]
) -> dict[str, dict[str, float]]:
    """Key of a row -> its numbers; keep: called with them after each round, so that a run that is cut short tells
    what it has."""
    out: dict[str, dict[str, float]] = {}
    for name in names:
        if name == LANES:
            say(f"[{VERSION}] {name}: one keeper of crowd, 1,000 frames")
            told = costs(build("crowd", Size(1_000, skin=2_000)))
            out[LANES] = {" and ".join(lanes): seconds for lanes, seconds in told.items()}
            keep(out)
            continue
        size = FULL[name] if frames is None else replace(FULL[name], frames=min(frames, FULL[name].frames))
        say(f"[{VERSION}] {name}: building {size.frames} frames")
        scene = build(name, size)
        rows = [row for row in ROWS if row.scene == name]
        reviews = [Review(row.checks, _lantern(scene, row.kissing), row.stepped) for row in rows]

        def tell(text: str, so_far: list[Taken], name: str = name, rows: list[Row] = rows, size: Any = size) -> None:
            say(f"[{VERSION}] {name}: {text}")
            out.update((row.key, numbers(some, size.frames)) for row, some in zip(rows, so_far, strict=True))
            keep(out)

        take(scene, reviews, rounds, tell)
    return out


def _lantern(scene: Any, kissing: float | None) -> Callable[[], None]:
    return (lambda: None) if kissing is None else (lambda: hang_lantern(scene, kissing))


def numbers(taken: Taken, frames: int) -> dict[str, float]:
    return {
        "frames": frames,
        "rounds": len(taken.rounds),
        "bare_ms": 1000 * taken.middle("bare") / frames,
        "review_ms": 1000 * (taken.middle("sampling") + taken.middle("checks")) / frames,
        "ratio": taken.middle("ratio"),
        "share": taken.middle("share"),
        "looked": taken.middle("looked"),
    }


def table(found: dict[str, dict[str, dict[str, float]]]) -> list[str]:
    """Lines of a Markdown table. found: Blender version -> key of a row -> its numbers."""
    versions = sorted(found)
    head = ["scene", "judged", "frames with meshes read"]
    head += [f"{v}: bare, ms a frame" for v in versions] + [f"{v}: review / bare" for v in versions] + ["goal"]
    head += [f"{v}: checks / sampling" for v in versions] + ["goal", "rounds"]
    lines = [f"| {' | '.join(head)} |", "|" + " --- |" * len(head)]
    for row in ROWS:
        own = [found[v].get(row.key) for v in versions]
        if not any(own):
            continue
        some = next(o for o in own if o)
        cells = [row.scene, row.what, f"{some['looked']:.0f} of {some['frames']:.0f}"]
        cells += [f"{o['bare_ms']:.2f}" if o else "" for o in own]
        cells += [against(o["ratio"], row.goal) if o else "" for o in own] + [goal(row.goal)]
        cells += [against(o["share"], row.share) if o else "" for o in own]
        rounds = " and ".join(dict.fromkeys(f"{o['rounds']:.0f}" for o in own if o))
        lines.append(f"| {' | '.join([*cells, goal(row.share), rounds])} |")
    return lines


def lane_table(found: dict[str, dict[str, dict[str, float]]]) -> list[str]:
    """Lines of a Markdown table of what lanes cost. found: as of ``table``."""
    versions = sorted(v for v in found if LANES in found[v])
    if not versions:
        return []
    head = ["lanes", *(f"{v}: CPU s for 1,000 frames of one figure" for v in versions), "goal"]
    lines = ["", f"| {' | '.join(head)} |", "|" + " --- |" * len(head)]
    for lanes, most in GOALS.items():
        name = " and ".join(lanes)
        cells = [against(found[v][LANES][name], most) for v in versions]
        lines.append(f"| {' | '.join([name, *cells, goal(most)])} |")
    return lines


def goal(value: float | None) -> str:
    return "" if value is None else f"{value:.2f}"


def against(value: float, goal: float | None) -> str:
    text = f"{value:.3f}"
    return text if goal is None or value <= goal else f"**{text}** (over)"


def page(found: dict[str, dict[str, dict[str, float]]]) -> str:
    lines = [
        "# Speed",
        "",
        "Written by `python3 build.py bench`; the scenes are those of `benchmarks/scenes.py`.",
        "",
        "What a whole review costs (sampling and checks; the file is open already) against what Blender itself"
        " needs to play the shot once: a bare `frame_set` over the same frames of the same scene. Both are CPU"
        " seconds of all threads, in one process, taken in turn; each number is the median of its rounds."
        " Drawing is in neither. The body map is found anew in every round. Ratios carry over from one machine to"
        " another, milliseconds do not.",
        "",
        "A figure, prop or camera that nothing but its own keys and its parents moves is not stepped: its motion is"
        " worked out from the keys for all frames at once, and Blender's own evaluation confirms it on up to 32 of"
        " them. `light`, `crowd` and `long` go that way, `rigify` with its constraints does not.",
        "",
        "What the checks may be of sampling was set on poses that Blender evaluates frame by frame. Simple figures are"
        " sampled that way once more, to show that share too; of what reading their keys costs the checks are far"
        " more than their goal, since that is so cheap.",
        "",
        *table(found),
        *lane_table(found),
        "",
        "Lanes are timed in the core alone, with every measure that they stand on, on one keeper of `crowd` and beside"
        " a yardstick (`core/testing/cost.py`), so that a busy machine changes the number little.",
        "",
        "The goal of `crowd` was set on joints and soles, so these are judged there. `throng` is its first 100"
        " frames with all checks: in its picture the figures pass each other all the time, and every pair of their"
        " outlines is followed, beside a scene that costs next to nothing. It has no goal; its number tells what"
        " such a shot costs.",
        "",
        "On `rigify` the lantern hangs at the edge of the head's outline on the share of the frames that is named."
        " Meshes are read on every third of these, and wherever the kiss begins, ends, bends quickly or is nearest;"
        " between them its gap is worked out (`core/measures/kiss_between.py`), which the tests hold to 0.3 px of"
        " what a look finds.",
        "",
        "The bare sweep of `light` takes a tenth of a second or less, and on a shared machine it swings by two and"
        " more from run to run, its ratio with it: a number near its goal there does not prove that it is met.",
        "",
        "`tests/blender/test_speed.py` holds small versions of the scenes to what they reached when it was written,"
        " with a quarter of room. A number marked (over) misses its goal.",
        "",
        f"Measured on {os.cpu_count()} cores.",
    ]
    return "\n".join(lines) + "\n"


def keep(found: dict[str, dict[str, float]]) -> None:
    """Puts these numbers of this Blender among the kept ones, and writes the page."""
    KEPT.mkdir(parents=True, exist_ok=True)
    own = KEPT / f"{VERSION}.json"
    before = json.loads(own.read_text()) if own.is_file() else {}
    own.write_text(json.dumps({**before, **found}, indent=1))
    PAGE.write_text(page({path.stem: json.loads(path.read_text()) for path in sorted(KEPT.glob("*.json"))}))


def main(words: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", metavar="scene", help=f"some of {' '.join(NAMES)}; all by default")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--frames", type=int, default=None, help="at most so many frames of each scene")
    parser.add_argument("--no-page", action="store_true", help="leave docs/speed.md as it is")
    options: Any = parser.parse_args(words)
    unknown = sorted(set(options.names) - set(NAMES))
    if unknown:
        parser.error(f"no scene is called {', '.join(unknown)}; there are {', '.join(NAMES)}")
    writes = options.frames is None and not options.no_page
    found = measure(options.names or NAMES, options.rounds, options.frames, keep if writes else lambda _: None)
    say("\n".join([*table({VERSION: found}), *lane_table({VERSION: found})]))
    if writes:
        say(f"wrote {PAGE.relative_to(HOME)}")
    return int(any(found[r.key]["ratio"] > r.goal for r in ROWS if r.goal is not None and r.key in found))


if __name__ == "__main__":
    code = main(sys.argv[1:])
    sys.stdout.flush()
    os._exit(code)  # Blender as a Python module may hang when the interpreter ends
