"""What a run tells while it works and at its end."""

from analysis_lib.reports.running.page_making import PageState
from analysis_lib.reports.running.progress import Progress, end_table

PAGES = (
    PageState("R01", "Rider R01", "", "", seconds=2.5),
    PageState("R02", "Rider R02", "", "", seconds=4.0),
    PageState("R03", "Rider R03", "", "", cause="no recording", seconds=0.25),
    PageState("R04", "Rider R04", "", "", unchanged=True),
)
ON_A_CLUSTER = PageState("R05", "Rider R05", "", "", seconds=3.0, beforehand=12)


def test_each_page_has_a_line_with_its_count_state_time_and_key():
    said = []
    progress = Progress(said.append, 12)
    for page in (*PAGES, ON_A_CLUSTER):
        progress.tell(page, "0123456789abcdef")
    assert said[0] == " 1 of 12  Rider R01: made (2.5 s, key 0123456789ab)"
    assert said[2] == " 3 of 12  Rider R03: failed: no recording (0.2 s, key 0123456789ab)"
    assert said[3] == " 4 of 12  Rider R04: unchanged (0.0 s, key 0123456789ab)"
    assert said[4].endswith("made (3.0 s, 12 recordings analysed beforehand, key 0123456789ab)")


def test_the_end_table_counts_done_unchanged_and_failed_with_times():
    assert end_table(PAGES, 5.0).splitlines() == [
        "done      2   6.5 s of work, longest 4.0 s (Rider R02)",
        "unchanged 1   0.0 s of work, longest 0.0 s (Rider R04)",
        "failed    1   0.2 s of work, longest 0.2 s (Rider R03)",
        "in all    4   5.0 s on the clock",
    ]


def test_an_error_of_a_hostile_file_sends_nothing_to_the_terminal():
    said = []
    state = PageState("R01", "Rider R01", "", "", cause="ValueError: \x1b]0;title\x07\u202e")
    Progress(said.append, 1).tell(state, "0" * 64)
    assert "ValueError: ·]0;title··" in said[0]
