"""Places that cannot be written: a full disk, a folder without rights. Old files stay whole, and the words say where."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from analysis_lib.__main__ import main
from analysis_lib.reports import whole_file
from analysis_lib.study.synthetic import small_study

LIMITED = """
import resource, sys
from pathlib import Path
from analysis_lib.reports.whole_file import write_text_whole
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
write_text_whole(Path(sys.argv[1]), "new" * 1000)
"""


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    folder = tmp_path_factory.mktemp("places") / "study"
    small_study(folder, riders=1, duration_s=8.0)
    return folder


def test_a_file_that_outgrows_its_room_leaves_the_old_one_and_no_litter(tmp_path):
    """The operating system's own limit on the size of a file stands in for a full disk: the write stops half-way."""
    page = tmp_path / "page.html"
    page.write_text("old")
    run = subprocess.run(
        [sys.executable, "-c", LIMITED, str(page)], capture_output=True, text=True, check=False
    )
    assert run.returncode != 0
    assert "File too large" in run.stderr
    assert page.read_text() == "old"
    assert list(tmp_path.iterdir()) == [page]


def test_a_full_disk_leaves_the_old_file_and_no_litter(tmp_path, monkeypatch):
    page = tmp_path / "page.html"
    page.write_text("old")
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")

    def on_a_full_disk(handle, mode):
        os.close(handle)
        return open("/dev/full", mode)  # noqa: PTH123 - the caller closes it

    monkeypatch.setattr(whole_file.os, "fdopen", on_a_full_disk)
    with pytest.raises(OSError, match="No space left"):
        whole_file.write_text_whole(page, "new" * 10_000)
    assert page.read_text() == "old"
    assert list(tmp_path.iterdir()) == [page]


def test_an_output_place_that_cannot_be_made_exits_with_2_and_names_it(study, tmp_path, capsys):
    in_the_way = tmp_path / "notes.txt"
    in_the_way.write_text("mine")
    assert main(["report", str(study), "--out", str(in_the_way / "report")]) == 2
    message = capsys.readouterr().err
    assert "notes.txt" in message
    assert "make room and rights there" in message


def test_a_read_only_output_folder_exits_with_2_and_names_it(study, tmp_path, capsys):
    locked = tmp_path / "locked"
    locked.mkdir()
    locked.chmod(0o555)
    if os.access(locked, os.W_OK):
        pytest.skip("this user may write everywhere, read-only folders too")
    assert main(["report", str(study), "--out", str(locked / "report")]) == 2
    assert "Permission denied" in capsys.readouterr().err
