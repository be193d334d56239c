# SPDX-License-Identifier: GPL-3.0-or-later
"""The modules of benchmarks/, which is no package: they are run by their path."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"


def loaded(name: str) -> ModuleType:
    """One of them by its file's name."""
    spec = importlib.util.spec_from_file_location(f"plumbline_benchmarks_{name}", BENCHMARKS / f"{name}.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


scenes, timing, lanes = loaded("scenes"), loaded("timing"), loaded("lanes")
