# SPDX-License-Identifier: GPL-3.0-or-later
"""tangent on planted lanterns: one captured clip and one keyed one. ``build.py corpus`` runs all of them."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest


def corpus() -> ModuleType:
    path = Path(__file__).with_name("tangent.py")
    spec = importlib.util.spec_from_file_location("corpus_tangent", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name,keyed", [("humanoid3d_walk", False), ("humanoid3d_kick", True)])
def test_planted_lanterns_are_found_and_mended_and_the_rest_is_silent(name: str, keyed: bool) -> None:
    rows = [case.row() for case in corpus().planted(name, keyed)]
    kisses = [r for r in rows if r["gap"] is not None]
    assert len(kisses) == 3 and len(rows) == 7
    for row in kisses:
        right = ("severity_right", "worst_right", "size_right", "mended")
        assert row["found"] and all(row[key] for key in right) and not row["others"], row
    for row in rows:
        assert row["gap"] is not None or not (row["found"] or row["others"]), row
