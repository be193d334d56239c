# SPDX-License-Identifier: GPL-3.0-or-later
import gzip

import pytest
from plumbline.core.report.blend_header import NotABlend, saved_by

OLD = b"BLENDER-v402RENDH\x00\x00\x00"
NEW = b"BLENDER17-01v0502REND\x00\x00\x00"
#: The first bytes of compressed files that Blender 4.5.15 and 5.2.3 wrote.
ZSTD_OLD = bytes.fromhex("28b52ffd60d403cd03008405") + b"BLENDER-v405RENDH\x00\x00\x00@"
ZSTD_NEW = bytes.fromhex("28b52ffda041060100c537001447") + b"BLENDER17-01v0502REND\x00"


@pytest.mark.parametrize(
    ("content", "version"),
    [
        (OLD, (4, 2)),
        (NEW, (5, 2)),
        (b"BLENDER_V293" + bytes(20), (2, 93)),
        (b"BLENDER17-01v1200" + bytes(9), (12, 0)),
        (gzip.compress(OLD + bytes(500)), (4, 2)),
        (gzip.compress(NEW), (5, 2)),
        (ZSTD_OLD, (4, 5)),
        (ZSTD_NEW, (5, 2)),
        (b"\x28\xb5\x2f\xfd" + bytes(60), None),
    ],
)
def test_reads_the_version(tmp_path, content, version):
    file = tmp_path / "shot.blend"
    file.write_bytes(content)
    assert saved_by(file) == version


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"hello", "not a .blend"),
        (b"\x89PNG\r\n", "not a .blend"),
        (b"BLENDER-v4", "cut short"),
        (b"BLENDER99999999999999999", "header"),
        (gzip.compress(b"hello" * 99), "not a .blend"),
        (b"\x1f\x8b\x08", "cut short"),
    ],
)
def test_says_what_is_wrong(tmp_path, content, words):
    file = tmp_path / "shot.blend"
    file.write_bytes(content)
    with pytest.raises(NotABlend, match=words):
        saved_by(file)


def test_a_file_that_is_not_there_is_an_os_error(tmp_path):
    with pytest.raises(OSError):
        saved_by(tmp_path / "none.blend")
