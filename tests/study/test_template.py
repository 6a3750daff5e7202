"""The empty study folder, and what becomes of it once it is filled in."""

from __future__ import annotations

import math

import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.declared.settings import read_settings
from analysis_lib.study.tables.rows import RIDERS, TRIALS, ZERO_CHECKS
from analysis_lib.study.template.template import write_template
from analysis_lib.study.template.template_numbers import marked_numbers, numbers_still_the_template_s


def fill_in(root) -> None:
    """Write two riders, two rings and one intensity into the template's tables, column by column."""
    settings = root / "study.toml"
    own_words = settings.read_text(encoding="utf-8").replace('"<short name of the study>"', '"Two riders"')
    own_words = own_words.replace(
        '"<the question that the study answers, as one sentence>"', '"Does it differ?"'
    )
    settings.write_text(own_words, encoding="utf-8")
    lines = {RIDERS: [], TRIALS: [], ZERO_CHECKS: []}
    for number, (sequence, rings) in enumerate({"ROOR": "roor", "ORRO": "orro"}.items(), start=1):
        lines[RIDERS].append({"rider": f"A{number}", "sequence": sequence})
        for period, ring in enumerate(rings, start=1):
            name = f"A{number}x{period}"
            trial = {
                "trial": name,
                "rider": f"A{number}",
                "period": period,
                "ring": "round" if ring == "r" else "oval",
                "mount_deg": "" if ring == "r" else 70,
                "intensity": "easy",
                "recorder": "crank",
                "file": f"recordings/{name}.csv",
                "started_at": f"2026-03-0{number}T09:0{period}:00",
            }
            lines[TRIALS].append(trial)
            (root / trial["file"]).write_text(two_leg_recording(10 * number + period), encoding="utf-8")
        check = {"recorder": "crank", "checked_at": f"2026-03-0{number}T08:50:00"}
        lines[ZERO_CHECKS].append({**check, "zero_left_Nm": 0, "zero_right_Nm": 0})
    for kind, rows in lines.items():
        text = [",".join(str(row.get(column, "")) for column in kind.columns) for row in rows]
        with (root / kind.file).open("a", encoding="utf-8") as file:
            file.write("\n".join(text) + "\n")


def two_leg_recording(number: int) -> str:
    """Ten seconds at 60.917 rpm with means of 10 and 11 N m, each recording with micronewton metres of its own."""
    angles = [step * 7.31 % 360 for step in range(501)]
    swings = [5 * math.cos(math.radians(angle)) for angle in angles]
    rows = [
        f"{step / 50:.2f},{angles[step]:.2f},{10 - swings[step]:.4f},{11 + swings[step]:.4f}{number:02d}"
        for step in range(501)
    ]
    return "\n".join(["time,angle,left,right", *rows, ""])


def test_the_template_is_refused_where_something_stands(tmp_path):
    (tmp_path / "mine.txt").write_text("keep me", encoding="utf-8")
    with pytest.raises(Refusal, match="new or empty folder"):
        write_template(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_an_unfilled_template_asks_to_be_filled_in_and_for_nothing_it_does_not_explain(tmp_path):
    root = write_template(tmp_path / "study")
    study = open_study(root)
    places = ["study.toml, study.name", "study.toml, study.question", "riders.csv", "trials.csv"]
    assert [error.what for error in study.errors] == places
    assert study.riders.empty and study.trials.empty
    readme = (root / "README.md").read_text(encoding="utf-8")
    for kind in (RIDERS, TRIALS, ZERO_CHECKS):
        for column in kind.columns:
            assert f"| {column} |" in readme


def test_the_template_shows_the_rules_at_their_defaults(tmp_path):
    settings = read_settings(write_template(tmp_path / "study") / "study.toml")
    assert settings.rules == type(settings.rules)()


def test_a_filled_template_passes_the_check_and_loads(tmp_path):
    root = write_template(tmp_path / "study")
    fill_in(root)
    study = open_study(root)
    assert study.errors == [], study.errors
    assert study.trials["usable"].all() and len(study.trials) == 8
    # Left and right add up to 21 N m; 7.31 degrees in a fiftieth of a second are 6.3792 rad/s: 133.96 W.
    assert study.load_trial("A1x1").value("power_W") == pytest.approx(133.96, abs=0.01)


def test_the_guide_s_two_periods_are_a_study_but_for_the_recordings(tmp_path):
    """Its tables, copied line by line, have no fault but what one rider without files must have."""
    root = write_template(tmp_path / "study")
    settings = root / "study.toml"
    text = settings.read_text(encoding="utf-8")
    text = text.replace("sequences = { ROOR", "# sequences = { ROOR").replace(
        "# sequences = { RO =", "sequences = { RO ="
    )
    text = text[: text.index('[[intensities]]\nname = "hard"')] + text[text.index("# ---- Outcomes") :]
    settings.write_text(text, encoding="utf-8")
    guide = (root / "README.md").read_text(encoding="utf-8").split("## Two periods, filled in")[1]
    for kind in (RIDERS, TRIALS, ZERO_CHECKS):
        block = guide.split(f"`{kind.file}`:\n\n")[1].split("\n\n")[0]
        (root / kind.file).write_text(
            "\n".join(line[4:] for line in block.splitlines()) + "\n", encoding="utf-8"
        )
    study = open_study(root)
    assert list(study.trials["ring"]) == ["round", "oval"]
    faults = [
        str(problem) for problem in study.errors if problem.scope == "trial" or problem.scope == "rider"
    ]
    assert all("no such file" in fault for fault in faults) and len(faults) == 2


def test_the_guide_names_every_measured_quantity_and_says_what_was_asked(tmp_path):
    guide = (write_template(tmp_path / "study") / "README.md").read_text(encoding="utf-8")
    for words in (
        "| power_W |",
        "mean_torque_left_Nm",
        "effectiveness_left",
        "harmonic_k_Nm",
        "left_share_pct",
    ):
        assert words in guide
    assert "2026-03-02T09:14:00" in guide
    assert "datapackage.json\n\nOptional" in guide
    toml = (tmp_path / "study" / "study.toml").read_text(encoding="utf-8")
    assert "scale = 0.001" in toml and "the words in reports" not in toml


def test_the_guide_leads_in_the_order_of_the_commands(tmp_path):
    guide = (write_template(tmp_path / "study") / "README.md").read_text(encoding="utf-8")
    places = [
        guide.index(f"`roundoval {command}") for command in ("plan --dry-run", "plan`", "check`", "report`")
    ]
    assert places == sorted(places)


def test_the_numbers_that_are_the_lab_s_own_are_marked_in_the_template(tmp_path):
    declared = {("study", "seed"): 20260, ("outcomes", "smallest_effect"): 3.7}
    planned = {("plan", "within_rider_sd"): 5.0, ("plan", "allocation_seed"): 20261}
    assert marked_numbers() == declared | planned
    path = write_template(tmp_path / "study") / "study.toml"
    notes = numbers_still_the_template_s(read_settings(path))  # its [plan] is commented out
    assert [note.what for note in notes] == ["study.toml, study.seed", "study.toml, outcomes.smallest_effect"]
    text = path.read_text(encoding="utf-8").replace("seed = 20260 ", "seed = 7 ")
    path.write_text(text.replace("smallest_effect = 3.7 ", "smallest_effect = 4.0 "), encoding="utf-8")
    assert numbers_still_the_template_s(read_settings(path)) == []
