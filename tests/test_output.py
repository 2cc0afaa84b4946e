"""Files are written whole or not at all, and a folder that cannot be written is told in plain words."""

import os
import stat

import pytest

from wellrecords.errors import WellRecordsError
from wellrecords.output import check_file, check_folder, write_whole


def test_a_file_is_written_whole_with_its_folder(tmp_path):
    path = write_whole(tmp_path / "a" / "b.txt", b"first")
    assert write_whole(path, b"second").read_bytes() == b"second"
    assert [one.name for one in path.parent.iterdir()] == ["b.txt"]
    umask = os.umask(0)
    os.umask(umask)
    assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~umask


@pytest.mark.parametrize("attempt", [lambda path: write_whole(path, b""), check_file])
def test_a_place_that_cannot_be_written_is_told(tmp_path, attempt):
    (tmp_path / "afile").write_text("mine")
    (tmp_path / "folder").mkdir()
    for path in (tmp_path / "afile" / "x.csv", tmp_path / "afile" / "deeper" / "x.csv", tmp_path / "folder"):
        with pytest.raises(WellRecordsError, match=r"Next: name a f"):
            attempt(path)
    assert (tmp_path / "afile").read_text() == "mine"
    assert sorted(one.name for one in tmp_path.rglob("*")) == ["afile", "folder"]


def test_trying_a_folder_leaves_nothing_behind(tmp_path):
    check_folder(tmp_path / "a" / "b")
    check_folder(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_broken_link_is_no_folder(tmp_path):
    (tmp_path / "link").symlink_to(tmp_path / "gone")
    with pytest.raises(WellRecordsError, match="cannot be written"):
        check_folder(tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
