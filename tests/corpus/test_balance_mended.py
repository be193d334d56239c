# SPDX-License-Identifier: GPL-3.0-or-later
"""The remedies of balance carried out in Blender on one keyed clip: gone, and nothing else comes. remedy_law does it on
all."""

from collections.abc import Iterator

import pytest
from plumbline.blender_addon import registration
from plumbline.core.testing import corpus
from plumbline.core.testing.plants import SIZES, Clean, prepared
from plumbline.core.testing.rekey import rekeyed

from .remedy_law import FAMILIES, Tally, judge


@pytest.fixture(scope="module")
def clean() -> Iterator[Clean]:
    registration.register()
    yield prepared(rekeyed(corpus.at_24("test_freebvh")))
    registration.unregister()


@pytest.mark.parametrize("check", ["off-balance", "undriven-move", "hard-landing"])
def test_carried_out_the_note_is_gone_and_no_other_comes(check: str, clean: Clean) -> None:
    """A body that leans over one foot takes the other one, which hangs in the air, along as its hips come back."""
    for case in FAMILIES[check](clean):
        if case.size != SIZES[2]:
            continue
        tally = Tally()
        judge(case, clean, tally)
        assert tally.seen == tally.done == tally.gone == 1 and not tally.raised, (case.name, tally)
