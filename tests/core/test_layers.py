# SPDX-License-Identifier: GPL-3.0-or-later
"""The walls, read from the source itself: what core may import, and how the rest reaches it."""
import ast
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

HOME = Path(__file__).parents[2]
CORE = HOME / "core"
OUTSIDE = [folder for name in ("tests", "sample_scenes", "benchmarks", "docs") if (folder := HOME / name).is_dir()]
INSIDE = sorted([*CORE.rglob("*.py"), *(HOME / "blender_addon").rglob("*.py")])


@cache
def nodes(path: Path) -> list[ast.AST]:
    """What may import or touch sys.path, wherever it stands."""
    return [node for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.Import | ast.ImportFrom | ast.Attribute)]


def imports(path: Path) -> Iterator[tuple[int, str, int]]:
    """(level of the dots, module, line) of every import, nested ones too."""
    for node in nodes(path):
        if isinstance(node, ast.Import):
            yield from ((0, alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.level, node.module or "", node.lineno


def named(path: Path) -> str:
    return path.relative_to(HOME).as_posix()


@pytest.mark.parametrize("path", sorted(CORE.rglob("*.py")), ids=named)
def test_core_imports_the_standard_library_numpy_and_itself(path: Path) -> None:
    depth = len(path.relative_to(CORE).parts)
    for level, module, line in imports(path):
        if level:
            assert level <= depth, f"{named(path)}:{line} climbs out of core"
        else:
            top = module.partition(".")[0]
            assert top == "numpy" or top in sys.stdlib_module_names, f"{named(path)}:{line} imports {module}"


@pytest.mark.parametrize("path", INSIDE, ids=named)
def test_inside_the_house_imports_are_relative(path: Path) -> None:
    for level, module, line in imports(path):
        assert level or module.partition(".")[0] not in ("plumbline", "core", "blender_addon"), f"{named(path)}:{line}"


@pytest.mark.parametrize("path", [path for folder in OUTSIDE for path in sorted(folder.rglob("*.py"))], ids=named)
def test_outside_the_house_the_package_has_one_name(path: Path) -> None:
    for level, module, line in imports(path):
        assert level or module.partition(".")[0] not in ("core", "blender_addon"), f"{named(path)}:{line}"


@pytest.mark.parametrize("path", [*INSIDE, *(path for folder in OUTSIDE for path in sorted(folder.rglob("*.py")))],
                         ids=named)
def test_nobody_edits_the_path(path: Path) -> None:
    for node in nodes(path):
        assert not (isinstance(node, ast.Attribute) and node.attr == "path" and isinstance(node.value, ast.Name)
                    and node.value.id == "sys"), f"{named(path)}:{node.lineno} touches sys.path"
