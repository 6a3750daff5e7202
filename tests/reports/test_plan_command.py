"""The command `plan`, its exhibits and its words."""

from __future__ import annotations

import pytest

from analysis_lib.__main__ import main
from analysis_lib.reports.plan import plan_exhibits, plan_words
from analysis_lib.reports.plan.plan_command import nothing_written
from analysis_lib.reports.plan.planned_study import open_planned_study
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.planning.frozen_protocol import draft_protocol
from analysis_lib.study.template.template import write_template

NEEDED = """
[plan]
riders = 16
within_rider_sd = 5.0
within_rider_sd_source = "pilot of six riders"
dropout = 0.1
washout_hours = 48.0
allocation_seed = 20261
"""


@pytest.fixture
def folder(tmp_path):
    root = write_template(tmp_path / "study")
    text = (root / "study.toml").read_text(encoding="utf-8")
    for place in ("<short name of the study>", "<the question that the study answers, as one sentence>"):
        text = text.replace(place, "Does the ring matter?")
    for example, own in (
        ("\nseed = 20260 ", "\nseed = 1 "),
        ("smallest_effect = 3.7 ", "smallest_effect = 4.0 "),
    ):
        assert example in text
        text = text.replace(example, own)
    (root / "study.toml").write_text(text, encoding="utf-8")
    return root


def add_plan(folder, text: str = NEEDED) -> None:
    with (folder / "study.toml").open("a", encoding="utf-8") as file:
        file.write(text)


def test_plan_without_its_table_exits_with_2_and_says_what_to_add(folder, capsys):
    assert main(["plan", str(folder)]) == 2
    message = capsys.readouterr().err
    for line in NEEDED.strip().splitlines():
        assert line.split(" = ")[0] in message
    assert "take the # away before [plan]" in message and "#" not in message.partition("[plan] and")[2]
    assert not (folder / "plan").exists()


def test_what_the_message_asks_for_is_enough_and_a_second_plan_is_refused(folder, capsys):
    add_plan(folder)
    assert main(["plan", str(folder)]) == 0
    shown = capsys.readouterr().out
    assert "SHA-256" in shown and "16 riders are recruited, 14 are expected" in shown
    assert (folder / "plan" / "allocation_concealed.csv").is_file()
    assert main(["plan", str(folder)]) == 2
    assert "protocol frozen with SHA-256" in capsys.readouterr().err


def test_too_little_power_is_said_first_and_a_dry_run_writes_nothing(folder, capsys):
    add_plan(folder, NEEDED.replace("riders = 16", "riders = 8"))
    assert nothing_written(draft_protocol(folder), "my study").endswith("with: roundoval plan 'my study'")
    before = sorted(path.name for path in folder.iterdir())
    assert main(["plan", str(folder), "--dry-run"]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith("TOO LITTLE POWER: 8 riders") and "where 0.8 is wanted" in shown
    assert "# Protocol: Does the ring matter?" in shown and "nothing was written (--dry-run)" in shown
    assert sorted(path.name for path in folder.iterdir()) == before
    assert main(["plan", str(folder)]) == 0
    shown = capsys.readouterr().out
    # Formula for an SD of 5 W and an effect of 4 W: 16 riders needed, so 18 to recruit when one in ten stops.
    assert shown.index("TOO LITTLE POWER") < shown.index("frozen: ") and "18 must be recruited" in shown
    assert "The planned riders are too few" in (folder / "plan" / "protocol.md").read_text(encoding="utf-8")
    draft = draft_protocol(folder)
    assert "holds a frozen protocol already" in nothing_written(draft, "DIR")


def test_enough_riders_with_numbers_of_their_own_raise_no_warning(folder, capsys):
    own = (
        NEEDED.replace("riders = 16", "riders = 24").replace("sd = 5.0", "sd = 4.9").replace("20261", "8734")
    )
    add_plan(folder, own)
    assert main(["plan", str(folder)]) == 0
    assert capsys.readouterr().out.startswith("24 riders are recruited")


def test_numbers_of_the_template_are_named_by_plan_and_by_check(folder, capsys):
    add_plan(folder)
    for command in ("plan", "check"):
        assert main([command, str(folder)]) == 0
        shown = capsys.readouterr().out
        for place in ("plan.within_rider_sd – got 5.0,", "plan.allocation_seed – got 20261,"):
            assert shown.count(f"study.toml, {place} the template's example") == 1


def test_a_check_between_plan_and_the_first_trial_says_that_nothing_is_recorded_yet(folder, capsys):
    add_plan(folder)
    assert main(["check", str(folder)]) == 2
    assert "no rows that can be used" in capsys.readouterr().out
    assert main(["plan", str(folder)]) == 0
    assert main(["check", str(folder)]) == 0
    shown = capsys.readouterr().out
    assert "0 problems" in shown and "Nothing recorded yet" in shown and "no rows" not in shown
    assert main(["report", str(folder), "--out", str(folder.parent / "report")]) == 2
    assert "trials.csv – got no trial" in capsys.readouterr().err
    assert not (folder.parent / "report").exists()
    with (folder / "trials.csv").open("a", encoding="utf-8") as file:
        file.write("T1,R01,one\n")
    assert main(["check", str(folder)]) == 2


def test_the_commented_plan_of_the_template_can_be_used_once_its_words_are_filled_in(folder, capsys):
    path = folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    start = text.index("# [plan]")
    block = "\n".join(line.removeprefix("# ") for line in text[start:].splitlines())
    path.write_text(text[:start] + block + "\n", encoding="utf-8")
    assert main(["plan", str(folder)]) == 2
    assert capsys.readouterr().err.count("replace what stands in angle brackets") == 4
    path.write_text(path.read_text(encoding="utf-8").replace("<", "").replace(">", ""), encoding="utf-8")
    assert main(["plan", str(folder)]) == 0


def test_a_folder_without_a_study_exits_with_2(tmp_path, capsys):
    assert main(["plan", str(tmp_path)]) == 2
    assert "study.toml" in capsys.readouterr().err


def test_help_names_what_is_read_and_written(capsys):
    with pytest.raises(SystemExit) as stop:
        main(["plan", "--help"])
    assert stop.value.code == 0
    shown = capsys.readouterr().out
    assert "Reads" in shown and "Writes" in shown


def test_a_plan_inside_the_folder_is_no_problem_of_the_folder(folder):
    add_plan(folder)
    before = [str(problem) for problem in open_study(folder).problems]
    assert main(["plan", str(folder)]) == 0
    assert [str(problem) for problem in open_study(folder).problems] == before


def test_the_study_s_own_plan_wins_over_numbers_tried_out(folder):
    tried = open_planned_study(str(folder), 20, 7.0, 0.0)
    assert tried.is_tried and len(tried.plan.riders) == 20
    assert "bind nobody" in plan_words.origin(tried)[0]
    add_plan(folder)
    own = open_planned_study(str(folder), 20, 7.0, 0.0)
    assert not own.is_tried and len(own.plan.riders) == 16


def test_exhibits_carry_their_numbers_and_words_follow_them(folder):
    add_plan(folder)
    planned = open_planned_study(str(folder), 0, 0.0, 0.0)
    figure = plan_exhibits.power_exhibit(planned.plan)
    assert figure.alt and "riders planned" in figure.caption
    assert {"power", "size"} == set(figure.data["panel"])
    tables = [
        plan_exhibits.power_table(planned.plan),
        plan_exhibits.simulated_table(planned.plan),
        plan_exhibits.designs_table(planned.plan),
        plan_exhibits.visits_table(planned.plan),
        plan_exhibits.deviations_table(planned.deviations),
    ]
    assert [len(table.frame) for table in tables[:3]] == [4, 3, 10]
    # Two sequences times one familiarisation and four periods; 16 riders, two intensities.
    visits = tables[3].frame
    assert len(visits) == 10 and visits.loc[visits["ride"] == "trial", "rides"].sum() == 16 * 4 * 2
    assert "not frozen" in tables[-1].html()


# Formula for an SD of 5 W and an effect of 4 W: 16 riders needed if none stops, so 8 are too few and 24 enough.
@pytest.mark.parametrize(("riders", "words"), [(8, "too few"), (24, "enough")])
def test_the_answer_follows_the_numbers(folder, riders, words):
    add_plan(folder, NEEDED.replace("riders = 16", f"riders = {riders}"))
    plan = open_planned_study(str(folder), 0, 0.0, 0.0).plan
    assert plan_words.answer(plan)[0].startswith(f"{riders} riders are {words} for Power")
    assert any("too few" in line for line in plan_words.doubts(plan)) == (words == "too few")
