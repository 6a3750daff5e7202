"""Places that cannot be written: a full disk, a folder without rights. Old files stay whole, and the words say where."""

import os
import shutil
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from pathlib import Path

import pytest

from analysis_lib.__main__ import main
from analysis_lib.reports.files import whole_file
from analysis_lib.reports.files.run_record import checksums
from analysis_lib.study.synthetic.synthetic import small_study

LIMITED = """
import resource, sys
from pathlib import Path
from analysis_lib.reports.files.whole_file import write_text_whole
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
write_text_whole(Path(sys.argv[1]), "new" * 1000)
"""


AS_NOBODY = """
import os, sys
import analysis_lib.reports.running.runner
from analysis_lib.__main__ import main
from analysis_lib.study.checks.folder import open_study
open_study(sys.argv[2])
if os.geteuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
sys.exit(main(sys.argv[1:]))
"""
"""The study is opened once before, which imports all that is needed: nobody may not be allowed to read the installation."""


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
    with pytest.raises(OSError, match=r"No space left.*page\.html"):
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


def test_a_read_only_output_folder_exits_with_2_and_names_it(study, tmp_path):
    """Root may write everywhere, so a process of root's becomes nobody first; its place must be open to all."""
    with tempfile.TemporaryDirectory() as place:
        Path(place).chmod(0o755)
        shutil.copytree(study, Path(place) / "study")
        locked = Path(place) / "locked"
        locked.mkdir()
        locked.chmod(0o555)
        words = ["report", str(Path(place) / "study"), "--out", str(locked / "report")]
        run = subprocess.run(
            [sys.executable, "-c", AS_NOBODY, *words], capture_output=True, text=True, check=False
        )
        assert run.returncode == 2
        assert str(locked / "report") in run.stderr
        assert "Permission denied" in run.stderr
        assert "make room and rights there" in run.stderr
        assert "Traceback" not in run.stderr
        assert list(locked.iterdir()) == []


@contextmanager
def _small_disk(folder, kilobytes):
    """A file system of a few kilobytes in memory, where this user may mount one."""
    folder.mkdir()
    mount = shutil.which("mount")
    words = ["-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(folder)]
    if mount is None or subprocess.run([mount, *words], capture_output=True, check=False).returncode:
        pytest.skip("this user may not mount a small file system (tmpfs)")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def test_on_a_disk_that_is_truly_full_the_old_file_stays_and_no_litter(tmp_path):
    with _small_disk(tmp_path / "disk", 64) as disk:
        page = disk / "page.html"
        page.write_text("old")
        with pytest.raises(OSError, match="No space left"):
            whole_file.write_text_whole(page, "new" * 100_000)
        assert page.read_text() == "old"
        assert list(disk.iterdir()) == [page]


@pytest.mark.long
def test_a_disk_that_fills_up_stops_the_run_and_the_next_one_finishes_with_the_same_bytes(
    one_trial_report, tmp_path, capsys
):
    first = one_trial_report
    needed = sum(path.stat().st_size for path in first.folder.rglob("*") if path.is_file())
    with _small_disk(tmp_path / "disk", needed // 3000) as disk:
        words = ["report", str(first.study), "--out", str(disk / "report"), "--jobs", "1"]
        assert main(words) == 2
        assert f"{disk / 'report'}{os.sep}" in (said := capsys.readouterr().err)
        assert "No space left" in said
        assert not [path for path in disk.rglob("*") if path.name.startswith(whole_file.UNFINISHED)]
        subprocess.run(["mount", "-o", f"remount,size={needed // 200}k", str(disk)], check=True)
        assert main(words) == 0
        assert checksums(disk / "report") == checksums(first.folder)
