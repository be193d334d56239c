# SPDX-License-Identifier: GPL-3.0-or-later
"""tangent on planted lanterns: one captured clip and one keyed one. ``build.py corpus`` runs all of them."""

import pytest

from . import tangent


@pytest.mark.parametrize("name,keyed", [("humanoid3d_walk", False), ("humanoid3d_kick", True)])
def test_planted_lanterns_are_found_and_mended_and_the_rest_is_silent(name: str, keyed: bool) -> None:
    rows = [case.row() for case in tangent.planted(name, keyed)]
    kisses = [r for r in rows if r["gap"] is not None]
    assert len(kisses) == 3 and len(rows) == 7
    for row in rows:
        assert tangent.right(row), row
