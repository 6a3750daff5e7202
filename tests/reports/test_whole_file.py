"""A file is written whole or not at all."""

import pytest

from analysis_lib.reports.files.whole_file import write_bytes_whole, write_text_whole


def test_folders_are_made_and_text_is_utf8_with_line_feeds(tmp_path):
    write_text_whole(tmp_path / "a" / "b.txt", "Peak 90°\n")
    assert (tmp_path / "a" / "b.txt").read_bytes() == b"Peak 90\xc2\xb0\n"


def test_a_failed_write_leaves_the_old_file_and_no_litter(tmp_path):
    target = tmp_path / "page.html"
    target.write_bytes(b"old")
    with pytest.raises(TypeError):
        write_bytes_whole(target, "text is not bytes")
    assert target.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]
