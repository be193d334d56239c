# SPDX-License-Identifier: GPL-3.0-or-later
import os

import pytest
from plumbline.core.report.notes_file import CannotWrite, claim, finish, write

SAFE_TO_RUN_AS_ROOT = hasattr(os, "geteuid") and os.geteuid() == 0


def test_the_file_has_its_name_only_when_finished(tmp_path):
    path = tmp_path / "notes.json"
    part = claim(path)
    write(part, '{\n "schema": 1}\n')
    assert not path.exists()
    finish(part, path)
    assert path.read_text() == '{\n "schema": 1}\n'
    assert os.listdir(tmp_path) == ["notes.json"]


def test_an_older_notes_file_goes_before_the_work_begins(tmp_path):
    path = tmp_path / "notes.json"
    path.write_text('{\n "schema": 1,\n "complete": true}')
    claim(path)
    assert os.listdir(tmp_path) == []


def test_an_empty_file_of_that_name_may_go(tmp_path):
    path = tmp_path / "notes.json"
    path.touch()
    claim(path)
    assert not path.exists()


@pytest.mark.parametrize("content", [b"BLENDER-v402", b"{}", b'{"height": 1.8}', b"[1]", b"\x00"])
def test_what_is_no_notes_file_is_never_overwritten(tmp_path, content):
    path = tmp_path / "notes.json"
    path.write_bytes(content)
    with pytest.raises(CannotWrite, match="no notes file"):
        claim(path)
    assert path.read_bytes() == content


def test_a_folder_a_missing_folder_and_a_device_are_refused(tmp_path):
    with pytest.raises(CannotWrite, match="is a folder"):
        claim(tmp_path)
    with pytest.raises(CannotWrite, match="no folder"):
        claim(tmp_path / "none" / "notes.json")
    if os.path.exists("/dev/null"):
        with pytest.raises(CannotWrite, match="plain file"):
            claim(type(tmp_path)("/dev/null"))


@pytest.mark.skipif(SAFE_TO_RUN_AS_ROOT or os.name == "nt", reason="root may write anywhere; a folder's mode is POSIX")
def test_a_folder_that_may_not_be_written_is_refused(tmp_path):
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o555)
    with pytest.raises(CannotWrite, match="permission denied"):
        claim(locked / "notes.json")


def test_a_link_leads_to_its_target(tmp_path):
    real = tmp_path / "real.json"
    link = tmp_path / "link.json"
    real.write_text('{"schema": 1}')
    link.symlink_to(real)
    part = claim(link)
    write(part, '{"schema": 1, "complete": true}')
    finish(part, link)
    assert link.is_symlink()
    assert "complete" in real.read_text()


def test_a_name_as_long_as_names_may_be(tmp_path):
    path = tmp_path / ("n" * 250 + ".json")
    part = claim(path)
    write(part, "{}")
    finish(part, path)
    assert path.exists()
