"""study.toml: what is read from it, and every fault at once with its key."""

from __future__ import annotations

import math
from dataclasses import fields
from itertools import pairwise

import pytest

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.signals.revolutions import TurnRules
from analysis_lib.study.declared.protocol import Rules
from analysis_lib.study.declared.settings import StudySettings, read_settings
from analysis_lib.study.declared.toml_text import write_toml


def faults_of(tiny) -> list[str]:
    with pytest.raises(Refusals) as caught:
        read_settings(tiny.root / "study.toml")
    return [str(refusal) for refusal in caught.value.refusals]


def test_the_settings_say_what_the_file_says(tiny):
    settings = read_settings(tiny.root / "study.toml")
    assert settings.study.seed == 7
    assert settings.intensity_names == ["easy", "hard"]  # by their order, not by their place in the file
    assert settings.primary_outcome.name == "power_W"
    assert settings.periods == 2
    assert settings.ring_in_role("round") == "round"
    assert settings.ring_in_role("oval") == "oval"
    assert settings.rules.zero_check_max_hours == 4.0


def test_a_drivetrain_carries_the_ring_and_the_inertia_behind_it(tiny):
    settings = read_settings(tiny.root / "study.toml")
    drivetrain = settings.drivetrain_for("oval", 75.0)
    assert drivetrain.ring.teeth == 50
    assert drivetrain.ring.axis_ratio == pytest.approx(1.10, rel=1e-9)
    assert drivetrain.mount_deg == 75.0
    # Crank inertial load = I (ring/sprocket)^2, so I = 30 (17/50)^2 = 3.468 kg m2.
    assert drivetrain.wheel_inertia_kgm2 == pytest.approx(3.468, rel=1e-9)
    assert settings.drivetrain_for("round").ring.is_round


def test_crank_inertial_load_agrees_with_a_bicycle_on_the_road(tiny):
    # Hansen 2002: I = GR^2 m r^2; 80 kg on wheels of 0.334 m, 52/16 teeth: 94.3 kg m2 at the crank.
    tiny.replace("study.toml", "crank_inertial_load_kgm2 = 30.0", "crank_inertial_load_kgm2 = 94.3")
    tiny.replace("study.toml", "sprocket_teeth = 17", "sprocket_teeth = 16")
    tiny.replace("study.toml", "[rings.round]\nteeth = 50", "[rings.round]\nteeth = 52")
    settings = read_settings(tiny.root / "study.toml")
    assert settings.drivetrain_for("round").wheel_inertia_kgm2 == pytest.approx(80 * 0.334**2, abs=0.005)


def test_rules_become_turn_rules_and_none_is_forgotten(tiny):
    of_trials = {name for name in Rules.model_fields if name.startswith(("zero_", "exclude_"))}
    assert set(Rules.model_fields) - of_trials == {rule.name for rule in fields(TurnRules)}
    tiny.replace("study.toml", "[recorders.crank]", "[rules]\nmin_turns = 12\n\n[recorders.crank]")
    assert read_settings(tiny.root / "study.toml").rules.turn_rules() == TurnRules(min_turns=12)


def test_a_recorder_is_told_to_the_signals_room(tiny):
    recorder = read_settings(tiny.root / "study.toml").recorders["crank"].recorder_settings()
    assert (recorder.kind, recorder.crank_side, recorder.delimiter) == ("csv", "right", ",")
    assert recorder.columns["torque_Nm"].column == "torque"
    assert recorder.columns["torque_Nm"].unit == "N m"


def test_every_fault_is_reported_at_once_with_its_key_and_the_nearest_spelling(tiny):
    tiny.replace("study.toml", "seed = 7", 'sead = 7\nseed = "7"')
    tiny.replace("study.toml", "axis_ratio = 1.10", "axis_ratio = 0.91")
    tiny.replace("study.toml", "chainstay_m = 0.41", "chainstay_m = 410")
    tiny.replace("study.toml", "smallest_effect = 4.0", "smallest_effect = 0")
    tiny.replace("study.toml", 'better = "lower"', 'beter = "lower"')
    tiny.replace("study.toml", 'unit = "deg"', 'unit = "degrees"')
    faults = faults_of(tiny)
    assert len(faults) == 8
    by_key = {
        "study.sead": "did you mean 'seed'?",
        "study.seed": "whole number",
        "rings.oval.axis_ratio": "at least 1",
        "drivetrain.chainstay_m": "at most 0.7",
        "outcomes entry 1, smallest_effect": "above 0",
        "outcomes entry 2, better": "which direction would be an improvement",
        "outcomes entry 2, beter": "did you mean 'better'?",
        "recorders.crank": "degrees",
    }
    for key, words in by_key.items():
        assert [fault for fault in faults if fault.startswith(f"study.toml, {key}") and words in fault], key


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('["round", "oval"]', '["round", "ovla"]', "design.sequences.RO entry 2", "did you mean 'oval'?"),
        ('["round", "oval"]', '["round", "oval", "oval"]', "design, sequences", "one length"),
        (
            "teeth = 50\naxis_ratio = 1.10",
            "teeth = 150\naxis_ratio = 1.99",
            "drivetrain.chainstay_m under ring oval",
            "where ring and sprocket touch",
        ),
        ("primary = true", "", "outcomes, primary", "exactly one"),
        ("smallest_effect = 3", "smallest_effect = 3\nprimary = true", "outcomes, primary", "exactly one"),
        ('name = "hr_bpm"', 'name = "power_W"', "outcomes, name", "'power_W' twice"),
        ('name = "easy"', 'name = "hard"', "intensities, name", "'hard' twice"),
        ("order = 1", "order = 2", "intensities, order", "2 twice"),
        ('label = "Easy"', 'label = "Hard"', "intensities, label", "'Hard' twice"),
        ('label = "Easy"', 'label = "Overall"', "intensities, intensity", "all intensities together"),
        ("axis_ratio = 1.10", "axis_ratio = 1.0", "rings", "one ring in the role round and one"),
        ("available_mounts_deg = [60.0, 75.0]", "", "rings.oval", "at least one mount angle"),
        ("[60.0, 75.0]", "[60.0, 185.0]", "rings.oval.available_mounts_deg entry 2", "below 180"),
        ("crank_inertial_load_kgm2 = 30.0", "", "drivetrain", "neither inertia"),
        ("sprocket_teeth = 17", "sprocket_teeth = 17\nwheel_inertia_kgm2 = 3", "drivetrain", "both inertias"),
        (
            "sprocket_teeth = 17",
            "sprocket_teeth = 17\ntorque_lost_pct_per_rpm = -1",
            "drivetrain.torque_lost",
            "at least 0",
        ),
        ('name = "Tiny"', 'name = " "', "study.name", "without blanks"),
        ('columns.crank_deg = { column = "angle", unit = "deg" }', "", "recorders.crank", "no crank_deg"),
        ("columns.torque_Nm", "columns.torque", "recorders.crank.columns.torque", "torque_left_Nm"),
        ("teeth = 50", "teeth = 50.5", "rings.round.teeth", "whole number"),
    ],
)  # fmt: skip
def test_faults_are_named_by_their_key(tiny, old, new, key, words):
    tiny.replace("study.toml", old, new)
    faults = faults_of(tiny)
    assert any(fault.startswith(f"study.toml, {key}") and words in fault for fault in faults), faults


def test_a_second_round_ring_may_play_the_oval_one(tiny):
    tiny.replace(
        "study.toml",
        "axis_ratio = 1.10\navailable_mounts_deg = [60.0, 75.0]",
        'axis_ratio = 1.0\nrole = "oval"',
    )
    settings = read_settings(tiny.root / "study.toml")
    assert settings.ring_in_role("oval") == "oval"
    assert settings.drivetrain_for("oval").ring.is_round


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (
            lambda text: text.replace("axis_ratio = 1.10", "axis_ratio = 1,10").encode(),
            "numbers have a decimal point",
        ),
        (
            lambda text: text.replace("Tiny", "Tïny").encode("latin-1"),
            "save the file with the encoding UTF-8",
        ),
    ],
)
def test_a_file_that_is_no_toml_says_what_to_do(tiny, spoil, words):
    path = tiny.root / "study.toml"
    path.write_bytes(spoil(path.read_text(encoding="utf-8")))
    assert words in faults_of(tiny)[0]


def test_a_missing_file_and_a_byte_order_mark(tiny):
    path = tiny.root / "study.toml"
    path.write_text(path.read_text(encoding="utf-8"), encoding="utf-8-sig")
    assert read_settings(path).study.name == "Tiny"
    path.unlink()
    assert "no such file" in faults_of(tiny)[0]


def test_an_oval_ring_needs_a_mount_and_a_ring_must_be_known(tiny):
    settings = read_settings(tiny.root / "study.toml")
    with pytest.raises(Refusal, match="mount_deg"):
        settings.drivetrain_for("oval")
    with pytest.raises(Refusal, match="did you mean 'oval'"):
        settings.drivetrain_for("ovale", 75.0)


def test_settings_written_as_toml_read_back_the_same(tiny):
    settings = read_settings(tiny.root / "study.toml")
    path = tiny.root / "again.toml"
    path.write_text(write_toml(settings.model_dump()), encoding="utf-8")
    assert read_settings(path) == settings
    assert StudySettings.model_validate(settings.model_dump()) == settings


def outline_of_an_ellipse(axis_ratio: float, points: int = 72) -> str:
    """Points of an ellipse; its perimeter is that of 50 teeth by Ramanujan's formula (1914), good to 1e-9 here."""
    h = ((axis_ratio - 1) / (axis_ratio + 1)) ** 2
    minor = 50 * 12.7 / (math.pi * (axis_ratio + 1) * (1 + 3 * h / (10 + math.sqrt(4 - 3 * h))))
    angles = [2 * math.pi * point / points for point in range(points)]
    rows = [f"{axis_ratio * minor * math.cos(angle):.4f},{minor * math.sin(angle):.4f}" for angle in angles]
    return "\n".join(["forward_mm,upward_mm", *rows, ""])


def with_outline(tiny, text: str) -> None:
    (tiny.root / "ring.csv").write_text(text, encoding="utf-8")
    tiny.replace("study.toml", "axis_ratio = 1.10", 'outline = "ring.csv"')


def test_a_ring_may_be_given_as_an_outline(tiny):
    with_outline(tiny, outline_of_an_ellipse(1.10))
    settings = read_settings(tiny.root / "study.toml")
    assert settings.rings["oval"].axis_ratio == pytest.approx(1.10, abs=0.002)  # chords between 72 points
    assert settings.ring_in_role("oval") == "oval"
    assert settings.drivetrain_for("oval", 75.0).ring.axis_ratio == pytest.approx(1.10, abs=0.002)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda text: text.replace("upward_mm", "up"), "no column upward_mm"),
        (lambda text: text.replace("\n0.0000,", "\n0;0,"), "row 20"),
        (lambda text: "\n".join(text.splitlines()[:10]), "at least 36"),
    ],
)
def test_an_outline_that_cannot_be_read_says_where(tiny, spoil, words):
    with_outline(tiny, spoil(outline_of_an_ellipse(1.10)))
    (fault,) = faults_of(tiny)
    assert fault.startswith("study.toml, rings.oval") and words in fault


def test_an_outline_file_that_is_not_there_or_beside_an_axis_ratio(tiny):
    tiny.replace("study.toml", "axis_ratio = 1.10", 'outline = "ring.csv"')
    assert "no such file" in faults_of(tiny)[0]
    tiny.replace("study.toml", 'outline = "ring.csv"', 'outline = "../ring.csv"')
    assert "inside the study folder" in faults_of(tiny)[0]
    tiny.replace("study.toml", 'outline = "../ring.csv"', 'outline = "ring.csv"\naxis_ratio = 1.1')
    assert "both axis_ratio and outline" in faults_of(tiny)[0]


TWO_MOUNTS = """
[rings.early]
teeth = 50
axis_ratio = 1.10
available_mounts_deg = [60.0, 75.0]
mount_deg = 60.0

[rings.late]
teeth = 50
axis_ratio = 1.10
mount_deg = 75.0

[drivetrain]"""
OVAL = "[rings.oval]\nteeth = 50\naxis_ratio = 1.10\navailable_mounts_deg = [60.0, 75.0]\n"


def ride_two_mounts(tiny, sequences: str) -> None:
    """Turn the tiny study into one of a ring at two mounts beside the round one."""
    tiny.replace("study.toml", OVAL, "")
    tiny.replace("study.toml", "\n[drivetrain]", TWO_MOUNTS)
    tiny.replace("study.toml", '{ RO = ["round", "oval"], OR = ["oval", "round"] }', sequences)


def test_two_mounts_of_a_ring_are_two_rings_with_orders_of_williams(tiny):
    ride_two_mounts(tiny, '"williams"')
    settings = read_settings(tiny.root / "study.toml")
    assert settings.oval_rings == ["early", "late"]
    assert [settings.ring_label(name) for name in settings.rings] == ["round", "early", "late"]
    assert settings.rings["late"].available_mounts_deg == [75.0]
    assert settings.drivetrain_for("early").mount_deg == 60.0
    with pytest.raises(Refusal, match="early, late"):
        settings.ring_in_role("oval")
    # Williams 1949: for three treatments six orders, in which each follows each other twice
    orders = list(settings.design.sequences.values())
    follows = [pair for order in orders for pair in pairwise(order)]
    assert len(orders) == 6
    assert {pair: follows.count(pair) for pair in follows} == dict.fromkeys(set(follows), 2)
    assert len(set(follows)) == 6


def test_one_oval_ring_is_called_by_its_role(tiny):
    settings = read_settings(tiny.root / "study.toml")
    assert [settings.ring_label(name) for name in settings.rings] == ["round", "oval"]
    assert settings.oval_rings == ["oval"]


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ("mount_deg = 75.0", "mount_deg = 185.0", "rings.late.mount_deg", "below 180"),
        ("mount_deg = 60.0", "mount_deg = 65.0", "rings.early", "available_mounts_deg: 60, 75"),
        ("[rings.round]", "[rings.round]\nmount_deg = 10.0", "rings.round", "no major axis"),
        ("[rings.late]", '[rings."late ring"]', "rings, late ring", "letters, digits"),
        ("[rings.late]", "[rings.Early]", "rings, name", "'early' twice"),
    ],
)
def test_faults_of_several_rings_are_named_by_their_key(tiny, old, new, key, words):
    ride_two_mounts(tiny, '"williams"')
    tiny.replace("study.toml", old, new)
    faults = faults_of(tiny)
    assert any(fault.startswith(f"study.toml, {key}") and words in fault for fault in faults), faults
