# SPDX-License-Identifier: GPL-3.0-or-later
"""What the plates' own record leaves unknowable of a crossing of 20 N: how far it moves where the load is a little off.

Motion tells the vertical force to 0.02 body weights rms at best (tests.corpus.plates), and how a seat and two feet that
do not move share it is told by motion no better than that. Here nothing is measured from motion: the crossings of the
plates' own force at 20 N and a little more are laid beside those at 20 N. Where a foot is set down or lifted hardly
anything moves; where a seat takes the load over, and the foot stays where it is, they move by more than what is asked.
Less than 20 N cannot be looked at so, since the record of sitting was cut to zero there; an error to that side is taken
to move a crossing as far.
"""

from pathlib import Path
from statistics import NormalDist

import numpy as np
from plumbline.core.shot import GRAVITY

from . import plate_data
from .plate_data import THRESHOLD, TRIALS, Trial

Array = np.ndarray
#: Body weights by which the load of a foot is told too small.
OFF = (0.01, 0.02, 0.03, 0.05)
#: Body weights rms of an error that is normal, of which so many even quantiles are taken.
RMS, QUANTILES = (0.01, 0.02, 0.03), 200
SITTING = "sit_to_stand"


def moved(trial: Trial, off: float) -> Array:
    """(E,) s: how far from each event of the trial's whole contacts its plate next crosses 20 N + ``off`` body weights
    the same way; infinite where it never does."""
    level = THRESHOLD + off * trial.mass * GRAVITY
    out = []
    for load in (load for load in trial.loads if load.whole):
        force = trial.plate_force[load.plate, :, 2]
        above = force > level
        steps = np.flatnonzero(above[1:] != above[:-1])
        part = (level - force[steps]) / (force[steps + 1] - force[steps])
        at = trial.plate_times[steps] + part * (trial.plate_times[steps + 1] - trial.plate_times[steps])
        for moment, rises in ((load.on, True), (load.off, False)):
            if moment is not None:
                out.append(np.min(np.abs(at[above[steps + 1] == rises] - moment), initial=np.inf))
    return np.array(out)


def lines(folder: Path, near: float) -> list[str]:
    """For each error of the load the share of crossings that stay within ``near`` seconds; and what the feet bear of a
    body that sits."""
    known = [plate_data.trial(folder, name) for name in TRIALS]
    seated = next(t for t in known if t.name == SITTING)
    touching = sum(len(moved(t, 0.0)) for t in known) - (sat := len(moved(seated, 0.0)))
    out = []
    for off in OFF:
        shares = []
        for sits in (False, True):
            found = np.concatenate([moved(t, off) for t in known if (t.name == SITTING) is sits])
            shares.append(f"{len(found):3d} events {100 * np.mean(found <= near):5.1f} %, median "
                          f"{1000 * np.median(found):3.0f} ms")
        out.append(f"plates' own crossing, load told {off:g} BW too small: touching {shares[0]}; sitting {shares[1]}")
    for rms in RMS:
        errors = [NormalDist(0.0, rms).inv_cdf((k + 0.5) / QUANTILES) for k in range(QUANTILES)]
        share = np.mean([moved(seated, abs(off)) <= near for off in errors])
        most = (touching + share * sat) / (touching + sat)
        out.append(f"plates' own crossing, load told wrong by {rms:g} BW rms: sitting {100 * share:5.1f} %, so of all "
                   f"whole contacts at most {100 * most:.1f} %")
    weight = seated.mass * GRAVITY
    light = [seated.plate_force[load.plate, rows, 2].max() for load in seated.loads
             if any("seated" in why for why in load.why_not)
             for rows in [_within(seated.plate_times, load.on, load.off)]]
    out.append(f"20 N is {THRESHOLD / weight:.3f} BW there; in {len(light)} spells while seated a foot bears up to "
               f"{min(light) / weight:.3f} to {max(light) / weight:.3f} BW and does not move")
    return out


def _within(times: Array, on: float | None, off: float | None) -> Array:
    return (times >= (-np.inf if on is None else on)) & (times <= (np.inf if off is None else off))
