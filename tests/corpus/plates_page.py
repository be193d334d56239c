# SPDX-License-Identifier: GPL-3.0-or-later
"""Motion beside force plates, and the floors: what no check of contacts and balance can know, written as a page.

    python -m tests.corpus.plates_page DIR

DIR holds walk_force_plates and force_plates. Writes docs/corpus_plates.md: contacts (plate_contacts.py), what is in
their way where a seat takes the load over (plate_floor.py), pressure point and force (plates.py), and the floors that
the choice of a table of masses and half a frame set, beside the steps of the checks that stand on them.
"""

import os
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from plumbline.core.catalogue import catalogue
from plumbline.core.checks.airborne import DROPS, FLOATS, SURE
from plumbline.core.checks.hard_landing import TOUCH
from plumbline.core.measures.mass import masses_of
from plumbline.core.measures.mass_motion import mass_motion_of
from plumbline.core.shot import GRAVITY
from plumbline.core.tables.segments import TABLES

from . import plate_contacts, plate_floor, plates
from .plate_data import Trial

PAGE = Path(__file__).resolve().parents[2] / "docs" / "corpus_plates.md"
#: m: no center of mass of a captured figure is known better from frame to frame.
LEAST = 0.001
#: m/s: the fall that a captured jump lands with.
FALL = 2.1
#: Frames of 24 in which it is stopped.
STOPS = (1, 2, 3, 4)
FRAMES = (3, 4, 5, 6, 8)


def table_floor(found: Sequence[Trial], fps: float = 24.0) -> list[str]:
    """Lines: how far center of mass and pressure point of the trials lie apart by two tables, at worst, in cm."""
    lines = ["| tables | center, level | center, height | pressure point, 95 % under | at worst |",
             "|---|---|---|---|---|"]
    moved = {}
    for t in found:
        shot, _ = t.sampled(fps)
        c = shot.characters[0]
        moved[t.name] = {name: mass_motion_of(shot, c, masses_of(c, table)) for name, table in TABLES.items()}
    names = list(TABLES)
    for k, one in enumerate(names):
        for other in names[k + 1:]:
            level, height, point = [], [], []
            for by in moved.values():
                a, b = by[one], by[other]
                away = a.center - b.center
                level.append(np.linalg.norm(away[:, :2], axis=1))
                height.append(np.abs(away[:, 2]))
                both = a.bears & b.bears & a.sure & b.sure
                apart = np.linalg.norm(a.pressure_point(np.zeros(3)) - b.pressure_point(np.zeros(3)), axis=1)[both]
                point.append(apart[np.isfinite(apart)])
            cells = [np.concatenate(rows) for rows in (level, height, point)]
            lines.append(f"| {one}, {other} | {100 * cells[0].max():.1f} | {100 * cells[1].max():.1f} | "
                         f"{100 * np.quantile(cells[2], 0.95):.1f} | {100 * cells[2].max():.1f} |")
    return lines


def half_a_frame(fps: float = 24.0) -> list[str]:
    """Lines: what half a frame of a take-off or a touch is worth, by closed form."""
    dt = 1 / fps
    out = [f"| frames of {fps:g} in the air | two standard errors of the fitted curve, g | gravity by time and height, "
           "half a frame off, g |", "|---|---|---|"]
    for n in FRAMES:
        error = SURE * LEAST * np.sqrt(720 / (n * (n**2 - 1) * (n**2 - 4))) / (GRAVITY * dt**2)
        low, high = ((1 + way / (2 * n)) ** -2 for way in (1, -1))
        out.append(f"| {n} | {error:.2f} | {low:.2f} to {high:.2f} |")
    out += ["", f"| frames of {fps:g} that stop {FALL:g} m/s | mean force, BW | touch told {1000 * TOUCH:.0f} ms late "
    "and "
            "early | half a frame late and early |", "|---|---|---|---|"]
    for n in STOPS:
        give = FALL * n * dt / 2
        true = 1 + FALL**2 / (2 * GRAVITY * give)
        cells = [" to ".join(f"{1 + FALL**2 / (2 * GRAVITY * max(give + way * off * FALL, 0.001)):.1f}"
                             for way in (1, -1)) for off in (TOUCH, dt / 2)]
        half = cells[1] if n > 1 else cells[1].split(" to ")[0] + " and more"
        out.append(f"| {n} | {true:.1f} | {cells[0]} | {half} |")
    return out


def page(folder: Path) -> tuple[str, bool]:
    contacts, share = plate_contacts.report(folder)
    found = plates.trials(folder)
    outside, landing = catalogue()["off-balance"].limit, catalogue()["hard-landing"].limit
    held = share >= plate_contacts.GOAL
    out = [
        "# Motion beside force plates, and the floors", "",
        "Written by `python -m tests.corpus.plates_page DIR`. Eleven trials of people with markers who walk, turn, "
        "stand, "
        "rise from a seat and jump on plates; none of them is kept here.", "",
        "## Contacts beside crossings of 20 N", "",
        "Five of the ten trials, drawn by a fixed seed, chose what was to be chosen. Each at 24, 30 and 60 frames a "
        "second and four phases of the frame.", "", "```", *contacts, "```", "",
        f"Asked: {100 * plate_contacts.GOAL:g} % of all whole contacts. "
        + ("Held." if held else f"**Missed at {100 * share:.1f} %**, by rising from a seat alone.") + " Whole "
        "contacts of "
        "a foot that is set down and lifted are all told.", "",
        "### Rising from a seat", "",
        "Its feet never leave the ground, and nothing measures the seat: what its record calls on and off is how the "
        "weight of a body at rest is shared between a seat and two feet. It was smoothed and cut to zero under 20 N by "
        "its makers, so that its moments may be 0.05 s out. Motion tells the force on the whole body to 0.02 body "
        "weights rms "
        "on the best of the moving trials (below), a foot's share of it no better. Laid beside each other here is the "
        "plates' own force alone, no motion: "
        "where it crosses 20 N, and where it would seem to if it were told that much wrong.", "",
        "```", *plate_floor.lines(folder, plate_contacts.NEAR), "```", "",
        "So a method that is as good as any here at telling force stays under what is asked, and these crossings are "
        "no contacts that motion shows: the feet are told to stand throughout, and that the weight comes onto them by "
        "what bears. On this trial no check of weight makes a note (corpus_weight.md).", "",
        "## Pressure point and vertical force", "", *plates.table_of(found), "",
        f"{found[0].name}: along / across in cm and vertical force in body weights, rms, by table and by window.", "",
        *plates.floors_of(found[0]), "",
        "## Floors", "",
        "What cannot be known, and the finest step that stands on it.", "",
        "The choice of the table of masses, over all trials but walk_four_plates and sit_to_stand, at 24 frames a "
        "second, "
        "in cm:", "", *table_floor(found), "",
        f"The lowest step of `off-balance` and `undriven-move` is {outside.low:g} of the leg, "
        f"{100 * outside.low * 0.85:.0f} cm on an adult; a fifth of the inertial part is taken off before.", "",
        "Half a frame at take-off and touch:", "", *half_a_frame(), "",
        f"`airborne` fits the frames in the air and reads no times: half a frame is worth nothing to it, and its first "
        f"steps ({FLOATS.low:g} and {DROPS.low:g} g) speak only beyond two standard errors. `hard-landing` lets the "
        f"lower "
        f"end of its range decide; its steps are {landing.low:g}, {landing.medium:g} and {landing.high:g} body "
        f"weights. "
        "A lift-off of keyed motion is known to one frame; a contact of captured motion to 10 ms rms, 27 ms at worst, "
        "so "
        "no check of contacts has a step under one frame of 24.",
    ]
    return "\n".join(out) + "\n", held


def main(folder: Path) -> int:
    text, held = page(folder)
    print(text)
    PAGE.write_text(text, "utf-8", newline="\n")
    return int(not held)


if __name__ == "__main__":
    if len(sys.argv) != 2 or not Path(sys.argv[1]).is_dir():
        print("usage: python -m tests.corpus.plates_page DIR, the folder with the trials", file=sys.stderr)
        os._exit(2)
    code = main(Path(sys.argv[1]))
    sys.stdout.flush()
    os._exit(code)  # pip's bpy may hang where the interpreter ends by itself
