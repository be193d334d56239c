# SPDX-License-Identifier: GPL-3.0-or-later
"""Presets of our own making for stylised work: by what they move the limits of the lanes of weight.

A preset moves limits, never what is measured: a note still tells the true number and the limit that it passed, with the
preset's name and what the limit is without it. 'grounded': poses and hits are pushed, gravity is people's. 'bouncy':
gravity is played with, bodies hang, snap to the ground and roll over their edges; feet must still not skate. Common
practice, no source.
"""

#: Preset -> check -> factor on its limits; of a share of gravity, which has 1 in its middle, the power of it: 0.78 with
#: 2 is 0.61, and 1.28 is 1.64. Checks that are not named keep their limits.
PRESETS: dict[str, dict[str, float]] = {
    "grounded": {"off-balance": 1.3, "undriven-move": 1.3, "hard-landing": 1.3, "thin-support": 1.5, "late-roll": 1.2},
    "bouncy": {
        "off-balance": 2.0, "undriven-move": 2.0, "airborne": 2.5, "hard-landing": 2.0, "ground-gap": 1.5,
        "thin-support": 2.5, "late-roll": 1.5,
    },
}


def factor(preset: str, check: str) -> float:
    """By what the preset ('' for none) moves the check's limits."""
    return PRESETS.get(preset, {}).get(check, 1.0)
