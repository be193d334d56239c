# SPDX-License-Identifier: GPL-3.0-or-later
"""The largest drift of a figure's feet, noted or not."""

from plumbline.core.measures.contacts import contacts
from plumbline.core.measures.drift import drifts, stands, steps_of
from plumbline.core.measures.sole import soles
from plumbline.core.measures.tread import tread
from plumbline.core.shot import Shot
from plumbline.core.study import Study

#: Drifts are read down to this, of a leg.
LEAST = 0.002


def largest(shot: Shot) -> float:
    """The largest drift of any stance, in legs, noted or not."""
    c = shot.characters[0]
    study = Study(shot)
    t, touch = study.of(tread, c), study.of(contacts, c)
    source = study.of(soles, c).source
    told = stands(t, touch)
    found = [d.size for side in t.sides
             for d in drifts(t, steps_of(t, touch, side, source[side] == "guess"), told[side], LEAST * t.leg,
                             LEAST * t.leg)]
    return max(found, default=0.0) / t.leg
