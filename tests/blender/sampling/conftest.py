# SPDX-License-Identifier: GPL-3.0-or-later
"""A scene of thirty frames with one walking figure."""

from typing import Any

import bpy
import pytest

from .figure import figure, walk
from .watching import Watch


@pytest.fixture
def scene() -> Any:
    scene = bpy.context.scene
    scene.frame_start, scene.frame_end = 1, 30
    scene.render.fps = 24
    return scene


@pytest.fixture
def rig(scene: Any) -> Any:
    rig = figure()
    walk(rig)
    return rig


@pytest.fixture
def watch(monkeypatch: pytest.MonkeyPatch) -> Watch:
    return Watch(monkeypatch)
