# SPDX-License-Identifier: GPL-3.0-or-later
"""What is shipped is what is here: packages, license lines, the extension's files, one version."""
import re
import runpy
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

HOME = Path(__file__).parents[1]
PROJECT = tomllib.loads((HOME / "pyproject.toml").read_text("utf-8"))
TOOLS = PROJECT["tool"]["setuptools"]
BUILD = runpy.run_path(str(HOME / "build.py"))
MANIFEST = tomllib.loads((HOME / "blender_addon/extension-root/blender_manifest.toml").read_text("utf-8"))


def source_files() -> list[Path]:
    """Every Python file of the repository, and nothing that was built or fetched."""
    apart = {".env", ".cache", ".stage", "build", "dist", "out", ".git"}
    return [path for path in sorted(HOME.rglob("*.py")) if path.relative_to(HOME).parts[0] not in apart]


def test_every_package_on_disk_is_listed() -> None:
    on_disk = set()
    for name, folder in TOOLS["package-dir"].items():
        for init in (HOME / folder).rglob("__init__.py"):
            inside = init.parent.relative_to(HOME / folder)
            if "extension-root" not in inside.parts:
                on_disk.add(".".join((name, *inside.parts)))
    assert sorted(TOOLS["packages"]) == sorted(on_disk)


@pytest.mark.parametrize("path", source_files(), ids=lambda path: path.relative_to(HOME).as_posix())
def test_license_is_the_first_line(path: Path) -> None:
    assert path.read_text("utf-8").splitlines()[0] == "# SPDX-License-Identifier: GPL-3.0-or-later"


def test_license_text_is_whole() -> None:
    text = (HOME / "LICENSE").read_text("utf-8")
    assert "GNU GENERAL PUBLIC LICENSE" in text and "END OF TERMS AND CONDITIONS" in text


def test_one_version_everywhere() -> None:
    assert MANIFEST["version"] == BUILD["version"]()
    changes = (HOME / "CHANGELOG.md").read_text("utf-8")
    assert re.search(rf"^## {re.escape(MANIFEST['version'])}\b", changes, re.MULTILINE)


def test_manifest_keeps_blenders_rules() -> None:
    assert MANIFEST["id"] == "plumbline" and MANIFEST["blender_version_min"] == "4.2.0"
    assert MANIFEST["license"] == ["SPDX:GPL-3.0-or-later"]
    for text in (MANIFEST["tagline"], *MANIFEST["permissions"].values()):
        assert len(text) <= 64 and text[-1].isalnum()
    assert set(MANIFEST["permissions"]) == {"files"}
    assert "wheels" not in MANIFEST


def test_zip_holds_what_people_need_and_no_more(tmp_path: Path) -> None:
    subprocess.run([sys.executable, HOME / "build.py", "zip", "--to", tmp_path], check=True)
    with zipfile.ZipFile(next(tmp_path.glob("plumbline-*.zip"))) as archive:
        names = set(archive.namelist())
        assert archive.testzip() is None
    tops = {name.partition("/")[0] for name in names}
    assert tops == {"__init__.py", "blender_manifest.toml", "LICENSE", "README.md", "core", "blender_addon"}
    assert not [name for name in names if "testing/" in name or "__pycache__" in name or "extension-root" in name]
    for folder in ("core", "blender_addon"):
        for path in (HOME / folder).rglob("*.py"):
            inside = path.relative_to(HOME).as_posix()
            apart = inside.startswith(("core/testing/", "blender_addon/extension-root/"))
            assert (inside in names) != apart, inside
    assert {path.relative_to(HOME).as_posix() for path in (HOME / "core").rglob("*.schema.json")} <= names


def test_the_same_files_give_the_same_zip(tmp_path: Path) -> None:
    for folder in ("one", "two"):
        BUILD["make_zip"](["--to", str(tmp_path / folder)])
    one, two = (next((tmp_path / folder).glob("*.zip")).read_bytes() for folder in ("one", "two"))
    assert one == two
