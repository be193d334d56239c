# SPDX-License-Identifier: GPL-3.0-or-later
"""Real Blender, as it comes from the factory, before each test; nobody's own settings are read or written."""
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

# before Blender is imported: where it would look for the person's settings and extensions
_resources = tempfile.TemporaryDirectory(prefix="plumbline-tests-")
os.environ["BLENDER_USER_RESOURCES"] = _resources.name

import bpy  # noqa: E402
from plumbline.blender_addon import registration  # noqa: E402

HOME = Path(__file__).parents[2]


@pytest.fixture(autouse=True)
def factory_blender() -> None:
    """An empty file and factory settings."""
    bpy.ops.wm.read_factory_settings(use_empty=True)


@pytest.fixture
def shot(tmp_path: Path) -> Path:
    """A small shot with one fault, saved as a file."""
    from .tower import keeper, saved

    keeper()
    return saved(tmp_path / "tower.blend")


@pytest.fixture
def rig() -> Any:
    """A figure whose left knee bends the wrong way round frame 20, at frame 3."""
    from .sampling.figure import bent_knee

    rig = bent_knee()
    bpy.context.scene.frame_set(3)
    return rig


@pytest.fixture
def face() -> Iterator[None]:
    """The add-on is registered."""
    registration.register()
    yield
    registration.unregister()


@pytest.fixture(scope="session")
def extension_zip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The extension as build.py makes it."""
    folder = tmp_path_factory.mktemp("dist")
    subprocess.run([sys.executable, HOME / "build.py", "zip", "--to", folder], check=True)
    return next(folder.glob("*.zip"))


def pytest_unconfigure() -> None:
    _resources.cleanup()  # the session leaves without the clean-up of the interpreter's end
