"""`check` holds a study against its frozen protocol, in the words of the study's page."""

from __future__ import annotations

import shutil

import pandas as pd
import pytest
from edits import edit_table

from analysis_lib.reports.running.check import check_study
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.planning.protocol_deviations import deviation_sentences
from analysis_lib.study.synthetic.synthetic import small_study
from analysis_lib.study.synthetic.synthetic_demo import PROTOCOL
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """Three riders who rode what the protocol drew for them, at one intensity."""
    root = tmp_path_factory.mktemp("protocol") / "study"
    planned = PROTOCOL.model_copy(update={"riders": 3, "dropout": 0.0, "washout_hours": 0.0})
    changes = {"intensities": DEMO_INTENSITIES[2:], "rules": {"min_turns": 5}}
    small_study(root, riders=3, duration_s=6.0, rate_hz=50.0, protocol=planned, **changes)
    (root / "datapackage.json").unlink()  # it would find the changes too
    return root


@pytest.fixture
def root(kept, tmp_path):
    return shutil.copytree(kept, tmp_path / "study")


def cautions(root, capsys) -> list[str]:
    """The lines that `check` prints as cautions, the exit code being 0."""
    assert check_study(root) == 0
    said = capsys.readouterr().out
    return said[said.index("caution") : said.index(" note")].splitlines()[1:-1]


def replace_in(root, file: str, old: str, new: str) -> None:
    text = (root / file).read_text(encoding="utf-8")
    assert text.count(old) == 1
    (root / file).write_text(text.replace(old, new), encoding="utf-8")


def test_a_study_that_kept_to_its_protocol_has_no_caution(kept, capsys):
    assert cautions(kept, capsys) == []


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        (
            "study.toml",
            'name = "power_W"\nlabel = "Power at fixed exertion"\nunit = "W"\nsource = "signals"\nbetter = "higher"\n'
            "smallest_effect = 4.0",
            'name = "power_W"\nlabel = "Power at fixed exertion"\nunit = "W"\nsource = "signals"\nbetter = "higher"\n'
            "smallest_effect = 1.0",
            "outcomes.power_W.smallest_effect: planned 4.0; found 1.0.",
        ),
        ("study.toml", "washout_hours = 0.0", "washout_hours = 9.0", "plan.washout_hours: planned 0.0; found 9.0."),
        ("study.toml", "axis_ratio = 1.13", "axis_ratio = 1.14", "rings.oval.axis_ratio: planned 1.13; found 1.14."),
        ("plan/protocol.md", "Small study", "Smaller study", "plan/protocol.md: planned SHA-256"),
        ("plan/protocol.json", '"level": 0.95', '"level": 0.9', "plan/protocol.json: planned SHA-256"),
        ("plan/protocol.json", '"level": 0.95', '"level": 0.9', "analysis.level: planned 0.9; found 0.95."),
    ],
)  # fmt: skip
def test_what_was_changed_since_is_a_caution(root, capsys, file, old, new, said):
    replace_in(root, file, old, new)
    heading, *lines = cautions(root, capsys)
    assert heading.startswith("  The protocol whose checksum begins with ")
    assert any(line.startswith(f"  {said}") for line in lines)
    page, *sentences = deviation_sentences(open_study(root))
    assert heading.partition(". ")[0].strip() == page.partition(";")[0]
    assert [line.strip() for line in lines] == sentences


def test_a_rider_in_another_sequence_than_the_allocation_list_has_is_a_caution(root, capsys):
    """Ridden as riders.csv says, so that nothing but the list tells."""
    allocated = pd.read_csv(root / "plan" / "allocation_open.csv").set_index("rider")["sequence"]
    other = {"ROOR": "ORRO", "ORRO": "ROOR"}[allocated["R02"]]
    rings = {"R": "round", "O": "oval"}
    mine = {period: rings[letter] for period, letter in enumerate(other, start=1)}

    def ride(trials):
        his = trials["rider"] == "R02"
        ring = trials["ring"].mask(his, trials["period"].astype(int).map(mine))
        mount = trials["mount_deg"].mask(his, ring.map({"round": "", "oval": "70.0"}))
        return trials.assign(ring=ring, mount_deg=mount)

    edit_table(root, "trials.csv", ride)
    edit_table(
        root,
        "riders.csv",
        lambda table: table.assign(sequence=table["sequence"].mask(table["rider"] == "R02", other)),
    )
    said = cautions(root, capsys)
    assert f"  Rider R02: planned sequence {allocated['R02']}; found sequence {other}." in said


def test_rests_too_short_are_one_line_a_rider_and_run_from_first_ride_to_first_ride(root, capsys):
    replace_in(root, "plan/protocol.json", '"washout_hours": 0.0', '"washout_hours": 5000.0')
    trials = pd.read_csv(root / "trials.csv", parse_dates=["started_at"])
    firsts = trials[trials["rider"] == "R01"].groupby("period")["started_at"].min()
    shortest_h = firsts.diff().min().total_seconds() / 3600
    said = [line for line in cautions(root, capsys) if "rest before" in line]
    assert said[0] == (
        "  Rider R01, rest before periods 2 to 4: planned at least 5000 h from the first ride of a period to the first of"
        f" the next; found as little as {shortest_h:.3g} h."
    )
    assert [line.split(",")[0] for line in said] == ["  Rider R01", "  Rider R02", "  Rider R03"]


def test_a_rider_who_is_not_enrolled_yet_is_a_note(root, capsys):
    edit_table(root, "riders.csv", lambda table: table[table["rider"] != "R03"])
    edit_table(root, "trials.csv", lambda table: table[table["rider"] != "R03"])
    assert cautions(root, capsys) == []
    check_study(root)
    assert (
        "  Riders: planned 3 enrolled; found R03 not in riders.csv." in capsys.readouterr().out.splitlines()
    )


def test_that_nothing_was_frozen_is_a_note(root, capsys):
    shutil.rmtree(root / "plan")
    assert check_study(root) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[:4] == [
        "0 problems",
        "0 cautions",
        "1 note:",
        "  Protocol: planned to be frozen before the first trial; found not frozen.",
    ]
