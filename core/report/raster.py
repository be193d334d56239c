# SPDX-License-Identifier: GPL-3.0-or-later
"""Draws lines and filled shapes into an array of pixels, smooth at their edges, and writes the array as PNG.

By distance: a pixel is covered as far as its center lies within the shape's edge, over one pixel's width.
"""

import struct
import zlib

import numpy as np

Array = np.ndarray


def stroke(pixels: Array, lines: list[Array], width: float, color: tuple[float, float, float], alpha: float) -> None:
    """Draws open lines, each (n, 2) pixels with (0, 0) at the upper left corner, as one mark: where they cross,
    ``alpha`` is
    not laid on twice. pixels (H, W, 3) float 0 to 1 are changed in place."""
    box = _box(pixels, lines, width / 2 + 1)
    if box is None:
        return
    x0, y0, x1, y1 = box
    cover = np.zeros((y1 - y0, x1 - x0))
    for line in lines:
        for a, b in zip(line[:-1], line[1:], strict=True) if len(line) > 1 else [(line[0], line[0])]:
            piece = _box(pixels, [np.array([a, b])], width / 2 + 1)
            if piece is None:
                continue
            u0, v0, u1, v1 = piece
            distance = _distance(u0, v0, u1, v1, a, b)
            window = cover[v0 - y0 : v1 - y0, u0 - x0 : u1 - x0]
            np.maximum(window, np.clip(width / 2 + 0.5 - distance, 0, 1), out=window)
    _lay(pixels[y0:y1, x0:x1], cover * alpha, color)


def fill(pixels: Array, outline: Array, color: tuple[float, float, float], alpha: float) -> None:
    """Fills a closed outline (n, 2), by the even-odd rule."""
    box = _box(pixels, [outline], 1.0)
    if box is None or len(outline) < 3:
        return
    x0, y0, x1, y1 = box
    xs, ys = np.arange(x0, x1) + 0.5, np.arange(y0, y1) + 0.5
    inside = np.zeros((y1 - y0, x1 - x0), bool)
    nearest = np.full(inside.shape, np.inf)
    for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        nearest = np.minimum(nearest, _distance(x0, y0, x1, y1, a, b))
        if a[1] != b[1]:
            rows = (a[1] <= ys) != (b[1] <= ys)
            crossing = a[0] + (ys - a[1]) * (b[0] - a[0]) / (b[1] - a[1])
            inside ^= rows[:, None] & (xs[None, :] < crossing[:, None])
    cover = np.clip(0.5 + np.where(inside, nearest, -nearest), 0, 1)
    _lay(pixels[y0:y1, x0:x1], cover * alpha, color)


def png(pixels: Array) -> bytes:
    """A PNG file of pixels (H, W, 3) float 0 to 1."""
    data = (np.clip(pixels, 0, 1) * 255 + 0.5).astype(np.uint8)
    height, width = data.shape[:2]
    rows = np.zeros((height, width * 3 + 1), np.uint8)  # the first byte of a row says that it is not filtered
    rows[:, 1:] = data.reshape(height, -1)
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + _chunk(b"IHDR", head)
        + _chunk(b"IDAT", zlib.compress(rows.tobytes(), 6))
        + _chunk(b"IEND", b"")
    )


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def _box(pixels: Array, lines: list[Array], margin: float) -> tuple[int, int, int, int] | None:
    """The part of the picture that the lines can touch, or None."""
    if not lines:
        return None
    points = np.concatenate(lines)
    if not np.isfinite(points).all():
        return None
    height, width = pixels.shape[:2]
    low = np.clip(np.floor(points.min(0) - margin), 0, (width, height)).astype(int)
    high = np.clip(np.ceil(points.max(0) + margin), 0, (width, height)).astype(int)
    return None if (high <= low).any() else (int(low[0]), int(low[1]), int(high[0]), int(high[1]))


def _distance(x0: int, y0: int, x1: int, y1: int, a: Array, b: Array) -> Array:
    """Distance of the pixel centers of a window from the segment a to b."""
    x = np.arange(x0, x1)[None, :] + 0.5 - a[0]
    y = np.arange(y0, y1)[:, None] + 0.5 - a[1]
    d = b - a
    length = float(d @ d)
    t = np.clip((x * d[0] + y * d[1]) / length, 0, 1) if length > 0 else 0.0
    out: Array = np.hypot(x - t * d[0], y - t * d[1])
    return out


def _lay(window: Array, cover: Array, color: tuple[float, float, float]) -> None:
    window += cover[:, :, None] * (np.array(color) - window)
