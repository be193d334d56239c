# SPDX-License-Identifier: GPL-3.0-or-later
"""Lengths read as people say them: no more digits than tell anything, and no digit that flips the unit."""

import pytest
from plumbline.core.amounts import length


@pytest.mark.parametrize(("meters", "said"), [
    (0.0004, "0 mm"), (0.0044, "4 mm"), (0.0099, "10 mm"), (0.00996, "1.0 cm"), (0.035, "3.5 cm"), (0.0994, "9.9 cm"),
    (0.0996, "10 cm"), (0.85, "85 cm"), (-0.035, "-3.5 cm"),
])
def test_lengths(meters, said):
    assert length(meters) == said
