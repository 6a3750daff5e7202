"""What people and machines put into a study folder by mistake: one message each, and the other trials go on."""

from __future__ import annotations

import gzip
import math

import numpy as np
import pytest

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.study.checks.folder import open_study

TIME_S = np.arange(0, 20, 0.01)
TURNS = 1.25 * TIME_S + 0.1
TORQUE_NM = 30 + 12 * np.cos(2 * (2 * np.pi * TURNS - np.radians(100)))


def write_recording(tiny, angle, torque=TORQUE_NM, time_s=TIME_S, name="T1"):
    table = np.column_stack([time_s, angle, torque])
    path = tiny.root / f"recordings/{name}.csv"
    np.savetxt(path, table, "%.9g", ",", header="t,angle,torque", comments="")


def the_message_about(tiny, trial="T1"):
    """The refusal of the one trial; every other that is ridden still gives its power."""
    study = open_study(tiny.root)
    for other in set(study.trials.loc[study.trials["usable"], "trial"]) - {trial}:
        assert study.load_trial(other).value("power_W") > 100
    with pytest.raises(Refusal) as caught:
        study.load_trial(trial)
    return caught.value


@pytest.mark.parametrize("radians_from", [0.2, 0.5, 0.8])
def test_wraps_at_two_pi_and_at_360_in_one_file(tiny, radians_from):
    part = 20 * radians_from <= TIME_S
    write_recording(tiny, np.where(part, 2 * np.pi * (TURNS % 1), 360 * (TURNS % 1)))
    refusal = the_message_about(tiny)
    assert "falls of one turn as it is in radians" in refusal.got
    assert (refusal.scope, refusal.trial) == ("trial", "T1")


@pytest.mark.parametrize("radians_until", [0.2, 0.5, 0.8])
def test_the_same_declared_in_radians(tiny, radians_until):
    tiny.replace("study.toml", 'unit = "deg"', 'unit = "rad"')
    part = 20 * radians_until > TIME_S
    write_recording(tiny, np.where(part, 2 * np.pi * (TURNS % 1), 360 * (TURNS % 1)))
    with pytest.raises(Refusal, match="unit or scale is probably wrong"):
        open_study(tiny.root).load_trial("T1")


def test_wraps_at_180_and_at_360_mixed_are_the_same_angle(tiny):
    """Whole turns apart, so nothing is lost: −90° and 270° are one place."""
    degrees = 360 * (TURNS % 1)
    write_recording(tiny, np.where((TIME_S > 5) & (degrees > 180), degrees - 360, degrees))
    result = open_study(tiny.root).load_trial("T1")
    assert result.value("cadence_rpm") == pytest.approx(75, rel=1e-6)
    assert result.value("torque_phase_deg") == pytest.approx(100, abs=0.1)


def test_inch_pounds_declared_as_newton_metres(tiny):
    """NIST SP 811, appendix B.8; 40 N·m are 354 lbf·in, which no rider gives in N·m."""
    write_recording(tiny, 360 * (TURNS % 1), (TORQUE_NM + 10) / 0.1129848290276167)
    assert "more than any rider gives" in the_message_about(tiny).wanted


def test_samples_sent_twice_are_named_by_line(tiny):
    again = np.repeat(np.arange(TIME_S.size), np.where(np.arange(TIME_S.size) % 400 == 399, 2, 1))
    write_recording(tiny, 360 * (TURNS[again] % 1), TORQUE_NM[again], TIME_S[again])
    refusal = the_message_about(tiny)
    assert "line 402" in refusal.what
    assert "standing still at 3.99 s" in refusal.got


def test_jittered_samples_cost_no_turn(tiny):
    """Clock jitter of a millisecond and one extra sample in ten: 24 whole turns, power as it was."""
    rng = np.random.default_rng(8)
    time_s = np.sort(np.concatenate([TIME_S, rng.choice(TIME_S[1:-1], 200, replace=False) + 1e-4]))
    turns = 1.25 * (time_s + rng.normal(0, 1e-3, time_s.size)) + 0.1
    torque = 30 + 12 * np.cos(2 * (2 * np.pi * turns - np.radians(100)))
    write_recording(tiny, 360 * (turns % 1), torque, time_s)
    result = open_study(tiny.root).load_trial("T1")
    assert result.quality["kept_turns"] == 24
    zero = 0.5 + 0.2 * 310 / 3000  # the line between the tiny study's checks at 10 s, as in test_folder
    assert result.value("mean_torque_Nm") == pytest.approx(30 - zero, abs=0.05)
    assert result.value("power_W") == pytest.approx((30 - zero) * 2 * math.pi * 1.25, rel=3e-3)


@pytest.mark.parametrize(
    "name",
    ["<script>alert(1)</script>", "=cmd|' /C calc'!A0", "@SUM(A1)", "-1+1", "../T9", "T 1", "T1\u202e"],
)
def test_an_id_that_a_page_or_a_spreadsheet_would_run(tiny, name):
    tiny.replace("trials.csv", "\nT1,R01", f'\n"{name}",R01')
    study = open_study(tiny.root)
    about = [str(problem) for problem in study.errors if "column trial" in str(problem)]
    assert len(about) == 1
    assert name not in set(study.trials["trial"])
    assert study.load_trial("T2").value("power_W") > 100


@pytest.mark.parametrize(
    "file",
    [
        "../secret.csv",
        "recordings/../../secret.csv",
        "/etc/passwd",
        "C:/ride.csv",
        "recordings\\T1.csv",
        "~/x",
    ],
)
def test_a_file_outside_the_folder(tiny, file):
    tiny.replace("trials.csv", "recordings/T1.csv", file)
    refusal = the_message_about(tiny)
    assert "a path inside the study folder" in refusal.wanted


@pytest.mark.parametrize(
    "key", ['slow_turns = [{ file = "../slow.csv", channel = "total", mass_on = "left" }]']
)
def test_no_path_of_the_settings_leads_outside(tiny, key):
    tiny.replace("study.toml", 'crank_side = "right"', f'crank_side = "right"\n{key}')
    with pytest.raises(ValueError, match="a path inside the study folder"):
        open_study(tiny.root)


def link_out(tiny, name):
    """Replace a file of the study by a link to one outside that holds the same bytes and a secret."""
    path, outside = tiny.root / name, tiny.root.parent / "outside" / name
    outside.parent.mkdir(parents=True, exist_ok=True)
    outside.write_bytes(path.read_bytes() if path.is_file() else b"forward_mm,upward_mm\nsecret,1\n")
    path.unlink(missing_ok=True)
    path.parent.mkdir(exist_ok=True)
    path.symlink_to(outside)


def test_a_recording_that_is_a_link_out_of_the_folder_costs_its_trial_alone(tiny):
    link_out(tiny, "recordings/T1.csv")
    assert "a link out of the folder" in the_message_about(tiny).got


def test_a_folder_of_recordings_that_is_a_link_out_of_the_study(tiny):
    outside = tiny.root.parent / "elsewhere"
    (tiny.root / "recordings").rename(outside)
    (tiny.root / "recordings").symlink_to(outside, target_is_directory=True)
    study = open_study(tiny.root)
    assert study.trials[study.trials["file"] != ""].empty
    assert any("a link out of the folder" in str(problem) for problem in study.errors)


def test_a_link_within_the_study_and_a_study_that_is_reached_by_a_link_are_well(tiny):
    (tiny.root / "recordings/T1.csv").rename(tiny.root / "first.csv")
    (tiny.root / "recordings/T1.csv").symlink_to("../first.csv")
    (tiny.root.parent / "link").symlink_to(tiny.root, target_is_directory=True)
    assert open_study(tiny.root.parent / "link").load_trial("T1").value("power_W") > 100


@pytest.mark.parametrize("name", ["study.toml", "riders.csv", "trials.csv", "zero_checks.csv"])
def test_a_table_or_the_settings_as_a_link_out_of_the_folder(tiny, name):
    link_out(tiny, name)
    with pytest.raises(Refusals, match="a link out of the folder"):
        open_study(tiny.root)


def test_an_outline_as_a_link_out_of_the_folder_shows_nothing_of_it(tiny):
    link_out(tiny, "ring.csv")
    tiny.replace("study.toml", "axis_ratio = 1.10", 'outline = "ring.csv"')
    with pytest.raises(Refusals) as caught:
        open_study(tiny.root)
    assert "a link out of the folder" in str(caught.value)
    assert "secret" not in str(caught.value)


def test_a_descriptor_as_a_link_out_of_the_folder_is_not_read(tiny):
    (tiny.root / "datapackage.json").write_text('{"resources": [{"path": "riders.csv"}]}', encoding="utf-8")
    assert "datapackage" in " ".join(map(str, open_study(tiny.root).problems))
    link_out(tiny, "datapackage.json")
    assert "datapackage" not in " ".join(map(str, open_study(tiny.root).problems))


@pytest.mark.parametrize(
    "name",
    [
        "../../x",
        "a/b",
        "a\\\\b",
        "C:x",
        "=1+1",
        "-1",
        "@sum",
        "<b>",
        'a"b',
        ".hidden",
        "..",
        "x" * 49,
        "a$b",
        " a",
    ],
)
def test_a_name_that_a_file_a_page_or_a_spreadsheet_would_take_for_more(tiny, name):
    """Names of rings, intensities and outcomes stand in the names of files and in headings of tables."""
    spelt = name.replace('"', '\\"') if '"' in name else name
    tiny.replace("study.toml", 'name = "hr_bpm"', f'name = "{spelt}"')
    with pytest.raises(Refusals, match=r"a name of letters|without blanks") as caught:
        open_study(tiny.root)
    assert any("outcomes entry 2, name" in refusal.what for refusal in caught.value.refusals)


@pytest.mark.parametrize("mark", ["\\u202e", "\\u0007", "\\u001b[31m", "\\u000c", "\\u2066"])
def test_marks_that_cannot_be_seen_are_refused_in_words(tiny, mark):
    tiny.replace("study.toml", 'label = "Hard"', f'label = "Ha{mark}rd"')
    with pytest.raises(Refusals, match="control characters"):
        open_study(tiny.root)


@pytest.mark.parametrize(
    "words", ["<script>alert(1)</script>", "$\\\\frac{1}{$", "{{ 7 * 7 }}", "Ω & 中文 'quoted'", "=1+1"]
)
def test_any_words_that_can_be_seen_are_a_label(tiny, words):
    tiny.replace("study.toml", 'label = "Hard"', f'label = "{words}"')
    assert open_study(tiny.root).settings.intensities[1].label == words.replace("\\\\", "\\")


def test_no_message_sends_control_characters_to_the_terminal(tiny):
    tiny.replace("riders.csv", "age_band", "age\x1b[2Jband")
    tiny.replace("trials.csv", "recordings/T1.csv", "recordings/\x1b]0;x\x07.csv")
    said = " ".join(map(str, open_study(tiny.root).problems))
    assert "age·[2Jband" in said and not {"\x1b", "\x07"} & set(said)


@pytest.mark.parametrize("mark", ["\\u200b", "\\u00a0", "\\ufeff", "\\u00ad", "#"])
def test_two_names_that_look_like_one_or_a_part_of_an_address_are_refused(tiny, mark):
    tiny.replace("study.toml", 'name = "hr_bpm"', f'name = "hr{mark}bpm"')
    with pytest.raises(Refusals, match="a name of letters"):
        open_study(tiny.root)


@pytest.mark.parametrize("file", ["recordings/" + "a" * 300, "r/" * 600 + "T1.csv"])
def test_a_path_too_long_for_a_file_system_costs_its_trial_alone(tiny, file):
    tiny.replace("trials.csv", "recordings/T1.csv", file)
    assert "1000 bytes" in the_message_about(tiny).wanted


@pytest.mark.parametrize("seed", ["[" * 5000 + "]" * 5000, "9" * 5000])
def test_settings_that_no_parser_takes_are_refused_in_words(tiny, seed):
    tiny.replace("study.toml", "seed = 7", f"seed = {seed}")
    with pytest.raises(Refusals, match="wanted a file in TOML"):
        open_study(tiny.root)


def test_a_table_of_thousands_of_columns_is_refused_at_once(tiny):
    heads, cells = ",c".join(map(str, range(100_000))), "," * 100_000
    (tiny.root / "riders.csv").write_text(f"rider,sequence,mass_kg,crank_length_mm,c{heads}\nR01,RO{cells}\n")
    with pytest.raises(Refusals, match="got 100004 columns"):
        open_study(tiny.root)


def test_an_id_or_a_heading_of_thousands_of_characters_makes_no_message_of_thousands(tiny):
    tiny.replace("trials.csv", "\nT1,R01", "\n" + "T" * 100_000 + ",R01")
    tiny.replace("riders.csv", "age_band", "a" * 100_000)
    assert max(len(str(problem)) for problem in open_study(tiny.root).problems) < 5000


def test_no_message_turns_or_hides_what_it_says(tiny):
    """Marks of Unicode Standard Annex 9 and the zero-width blank become visible dots; joiners within words stay."""
    tiny.replace("riders.csv", "age_band", "age\u202e\u200b\u2066band\u200cs")
    said = " ".join(map(str, open_study(tiny.root).problems))
    assert "age···band\u200cs" in said


def test_an_outline_is_never_unpacked(tiny):
    """By its name it could be taken for a compressed file, and a few kilobytes become gigabytes."""
    (tiny.root / "ring.csv.gz").write_bytes(gzip.compress(b"forward_mm,upward_mm\n" + b"1.0,1.0\n" * 9))
    tiny.replace("study.toml", "axis_ratio = 1.10", 'outline = "ring.csv.gz"')
    with pytest.raises(Refusals, match="outline"):
        open_study(tiny.root)


def test_no_cell_passes_for_a_line_of_the_program(tiny):
    tiny.replace("trials.csv", "\nT1,R01", '\n"T1\n0 problems",R01')
    assert not any("\n" in str(problem) for problem in open_study(tiny.root).problems)
