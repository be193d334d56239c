# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures of a shot with a note's evidence laid over: Workbench stills from the shot's camera, or a framed view
where it
has none. Rendered in a copy of the scene that is thrown away, so the file, the frame and the settings stay as they
are. Not for
an open session with unkeyed edits: after a render Blender evaluates the open scene again, and keyed channels fall
back to their
keys (seen in 4.2, 4.5 and 5.2)."""

import ctypes
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ..core.measures.kisses import view_of
from ..core.note import Note
from ..core.report.framing import framed
from ..core.report.picture import bones, draw, frame_of, marks
from ..core.report.raster import png
from ..core.shot import Camera, Shot

Array = np.ndarray

#: Longer side of a still in pixels; a picture is for a look, not for print.
LONG_SIDE = 1280


class NoPictures(RuntimeError):
    """Pictures cannot be drawn here, with one sentence that says why."""


def check_drawing() -> None:
    """Raises NoPictures where Blender would abort for want of a system library: that cannot be caught once it
    renders."""
    if not sys.platform.startswith("linux"):
        return
    try:
        ctypes.CDLL("libEGL.so.1")
    except OSError:
        raise NoPictures("pictures are left out: the system library libEGL.so.1 is missing (package libegl1)") from None


def picture(
    scene: Any, shot: Shot, note: Note, path: Path, frame: int | None = None, long_side: int = LONG_SIDE
) -> None:
    """Writes a PNG of a note at its worst frame (or at ``frame``), its longer side so many pixels. Raises
    NoPictures."""
    check_drawing()
    number = note.worst if frame is None else frame
    i = int(np.argmin(np.abs(shot.frames - number)))
    own = shot.camera
    view = view_of(own, i) if own is not None else None
    framing = framed(shot, note) if view is None else None
    if view is None:
        assert framing is not None
        view = view_of(framing, 0)
    assert view is not None
    size = _size(view.size, long_side)
    pixels = still(scene, number, size, framing, shot.unit_scale)
    seen = frame_of(view, number, size)
    draw(pixels, [*([] if _has_skin(scene) else bones(shot, seen)), *marks(note, seen, camera=framing is None)])
    path.write_bytes(png(pixels))


def still(scene: Any, number: int, size: tuple[int, int], camera: Camera | None, unit_scale: float) -> Array:
    """Pixels (H, W, 3), 0 to 1 as on screen, of a frame of the scene through its own camera in use, or through
    ``camera``."""
    with _stage(scene) as stage, tempfile.TemporaryDirectory() as folder:
        render = stage.render
        render.engine = "BLENDER_WORKBENCH"
        render.resolution_x, render.resolution_y, render.resolution_percentage = *size, 100
        render.pixel_aspect_x = render.pixel_aspect_y = 1.0
        render.use_border = render.use_sequencer = render.use_compositing = render.use_stamp = False
        render.use_file_extension = True
        render.film_transparent = False
        render.dither_intensity = 0.0  # its noise would double the size of the file
        render.image_settings.file_format = "PNG"
        render.image_settings.color_mode = "RGB"
        render.filepath = os.path.join(folder, "still")
        _plain_shading(stage)
        stage.frame_set(number)
        if camera is not None:
            stage.timeline_markers.clear()  # they would bind the shot's own cameras again
            stage.camera = _camera_object(stage, camera, unit_scale)
        with bpy.context.temp_override(scene=stage):  # the operator's own ``scene`` would render the open scene's frame
            bpy.ops.render.render(write_still=True)
        return _read(render.filepath + ".png")


@contextmanager
def _stage(scene: Any) -> Iterator[Any]:
    """A copy of the scene that shares its objects; it and everything made in it are thrown away at the end."""
    before = {name: set(getattr(bpy.data, name)) for name in ("cameras", "objects", "images", "worlds")}
    stage = scene.copy()
    stage.name = ".plumbline stills"
    try:
        yield stage
    finally:
        bpy.data.scenes.remove(stage)
        scene.frame_set(scene.frame_current, subframe=scene.frame_subframe)  # the objects still show the still's frame
        for name, known in before.items():
            container = getattr(bpy.data, name)
            for made in set(container) - known:
                container.remove(made)


def _has_skin(scene: Any) -> bool:
    """Whether a mesh that a render shows hangs on an armature."""
    return any(
        o.type == "MESH"
        and not o.hide_render
        and ((o.parent is not None and o.parent.type == "ARMATURE") or any(m.type == "ARMATURE" for m in o.modifiers))
        for o in scene.objects
    )


def _camera_object(stage: Any, camera: Camera, unit_scale: float) -> Any:
    from mathutils import Matrix

    data: Any = bpy.data.cameras.new(".plumbline stills")
    data.lens = float(camera.lens_mm[0])
    data.sensor_width, data.sensor_height = (float(v) for v in camera.sensor_mm[0])
    data.sensor_fit = camera.fit[0]
    matrix = camera.world_from_camera[0].copy()
    matrix[:3, 3] /= unit_scale
    distance = float(np.linalg.norm(matrix[:3, 3]))
    data.clip_start, data.clip_end = 0.01, max(1000.0, 10 * distance)
    thing = bpy.data.objects.new(data.name, data)
    stage.collection.objects.link(thing)
    thing.matrix_world = Matrix(matrix.tolist())
    return thing


def _plain_shading(stage: Any) -> None:
    shading = stage.display.shading
    shading.light = "STUDIO"
    shading.color_type = "MATERIAL"
    shading.show_cavity = True
    shading.show_shadows = False
    stage.view_settings.view_transform = "Standard"
    stage.view_settings.look = "None"
    stage.view_settings.exposure, stage.view_settings.gamma = 0.0, 1.0
    stage.world = bpy.data.worlds.new(".plumbline stills")
    stage.world.color = (0.05, 0.055, 0.06)


def _size(units: Array, long_side: int) -> tuple[int, int]:
    """Even pixel sizes of a picture of these proportions."""
    k = long_side / float(units.max())
    return max(2, 2 * round(float(units[0]) * k / 2)), max(2, 2 * round(float(units[1]) * k / 2))


def _read(path: str) -> Array:
    image: Any = bpy.data.images.load(path)
    try:
        image.colorspace_settings.name = "Non-Color"  # the file's numbers as they are
        width, height = image.size
        flat = np.empty(width * height * image.channels, np.float32)
        image.pixels.foreach_get(flat)
        return flat.reshape(height, width, image.channels)[::-1, :, :3].astype(float)
    finally:
        bpy.data.images.remove(image)
