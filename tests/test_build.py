# SPDX-License-Identifier: GPL-3.0-or-later
"""build.py says plainly what is wrong: another Python, a library that is missing, an unknown word."""
import ast
import runpy
import subprocess
import sys
from pathlib import Path

import pytest

HOME = Path(__file__).parents[1]
BUILD = runpy.run_path(str(HOME / "build.py"))
LISTED = """\tlinux-vdso.so.1 (0x00007ffd)
\tlibX11.so.6 => not found
\tlibm.so.6 => /lib/x86_64-linux-gnu/libm.so.6 (0x00007f)
\tlibxkbcommon.so.0 => not found
"""


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, HOME / "build.py", *words], capture_output=True, text=True)


def test_old_pythons_can_read_it() -> None:
    """The sentence that names the right Python must reach people with an old one, and not a SyntaxError."""
    tree = ast.parse((HOME / "build.py").read_text("utf-8"), feature_version=(3, 8))
    assert isinstance(tree.body[1], ast.ImportFrom) and tree.body[1].module == "__future__"
    for node in tree.body:
        if isinstance(node, ast.Import):
            assert "tomllib" not in [alias.name for alias in node.names], "3.8 has no tomllib"


def test_another_python_gets_one_sentence(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setitem(BUILD["main"].__globals__, "HERE", "3.12")
    assert BUILD["main"](["test"]) == 2
    said = capsys.readouterr().out.splitlines()
    assert len(said) == 1 and "3.11 or 3.13" in said[0]


def test_missing_libraries_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    assert BUILD["not_found"](LISTED) == {"libX11.so.6", "libxkbcommon.so.0"}
    monkeypatch.setitem(BUILD["what_bpy_lacks"].__globals__, "like_debian", lambda: True)
    said = BUILD["what_bpy_lacks"](sys.executable, "ImportError: libX11.so.6: cannot open shared object file")
    assert "libX11.so.6" in said and "apt-get install --no-install-recommends python3-venv libxrender1" in said
    assert "\n" not in said


def test_another_failure_of_blender_is_told_as_it_is() -> None:
    assert "ModuleNotFoundError: No module named 'bpy'" in BUILD["what_bpy_lacks"](
        sys.executable, "Traceback\nModuleNotFoundError: No module named 'bpy'\n")


def test_an_unknown_word_lists_the_words() -> None:
    done = run("moonwalk")
    assert done.returncode == 2
    for word in ("test", "demo", "zip", "stage", "docs", "new-check", "corpus", "bench", "oracles", "window", "lint"):
        assert f"  {word} " in done.stdout


def test_new_check_writes_a_pair_that_fails_until_it_measures(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a copy of the house: the stub is found by the catalogue, and its own tests fail visibly."""
    (tmp_path / "docs").symlink_to(HOME / "docs", True)
    for folder in ("core/checks", "tests/core/checks"):
        (tmp_path / folder).mkdir(parents=True)
    monkeypatch.setitem(BUILD["new_check"].__globals__, "HOME", tmp_path)
    assert BUILD["new_check"](["lost-lantern"]) == 0
    stub = (tmp_path / "core/checks/lost_lantern.py").read_text("utf-8")
    laws = (tmp_path / "tests/core/checks/test_lost_lantern.py").read_text("utf-8")
    assert "class LostLantern(Check)" in stub and 'check = "lost-lantern"' in laws
    assert not [word for word in ("{NAME}", "{CLASS}", "{MODULE}") if word in stub + laws]
    from plumbline.core import checks
    from plumbline.core.catalogue import catalogue
    monkeypatch.setattr(checks, "__path__", [*checks.__path__, str(tmp_path / "core/checks")])
    catalogue.cache_clear()
    try:
        space: dict[str, type] = {}
        exec(compile(laws, "test_lost_lantern.py", "exec"), space)
        case = space["TestLostLantern"]()
        case.test_silent_on_clean_motion()
        with pytest.raises(AssertionError, match="expected one note, got"):
            case.test_speaks_once_with_the_right_span_and_size()
    finally:
        catalogue.cache_clear()
        sys.modules.pop("plumbline.core.checks.lost_lantern", None)
    with pytest.raises(BUILD["Stop"], match="exists already"):
        BUILD["new_check"](["lost-lantern"])
    with pytest.raises(BUILD["Stop"], match="small letters"):
        BUILD["new_check"](["../Lantern"])
