# SPDX-License-Identifier: GPL-3.0-or-later
"""Clips that faults of flights are planted in, and no others: the keeper's hop off a step; and trials with force plates
in which a person jumps, captured at 24 frames a second and keyed anew. Other faults are not, since half of the trials
is held back for the contacts."""

from collections.abc import Iterator
from functools import partial
from pathlib import Path

from plumbline.core.shot import Shot
from plumbline.core.testing.corpus import Subject
from plumbline.core.testing.rekey import rekeyed

from . import files, plate_data

TRIALS = ("drop_jump_uneven",)
#: The keeper's own take: keyed by script.
HOP = Subject("keyed", "keeper_hop", "own", files.keeper_hop)


def flown(more: Path | None) -> Iterator[Subject]:
    """The keeper's hop, and where the folder has them the trials."""
    yield HOP
    if more is not None and (more / "force_plates").is_dir():
        for name in TRIALS:
            yield Subject("captured", name, "24", partial(_captured, more, name))
            yield Subject("keyed", name, "24", partial(_keyed, more, name))


def _captured(more: Path, name: str) -> Shot:
    return plate_data.trial(more, name).sampled(24.0)[0]


def _keyed(more: Path, name: str) -> Shot:
    return rekeyed(_captured(more, name))
