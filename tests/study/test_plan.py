"""Planned studies: against published sample sizes and designs, and the promises of a frozen protocol."""

from __future__ import annotations

import hashlib
import json
import math
import shutil
from dataclasses import replace

import pandas as pd
import pytest

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.declared.settings import read_settings
from analysis_lib.study.outcomes.published_repeatability import published_repeatability
from analysis_lib.study.planning.allocation_list import name_riders
from analysis_lib.study.planning.frozen_protocol import freeze_protocol
from analysis_lib.study.planning.plan import plan_study
from analysis_lib.study.planning.plan_power import ADJUSTED, EQUIVALENCE, PAIRED, power_table, sizes_by_spread
from analysis_lib.study.planning.protocol_deviations import (
    _changed_orders,
    compare_with_protocol,
    what_was_compared,
)

PLAN = """
[plan]
riders = 12
within_rider_sd = 4.0
within_rider_sd_source = "pilot of six riders"
dropout = 0.0
washout_hours = 0.1
allocation_seed = 20261
exclusions = ["chain dropped"]
"""


def with_plan(tiny, change: dict[str, str] | None = None, settings: dict[str, str] | None = None):
    """Add the plan to the tiny study, with some of its lines and some of study.toml changed."""
    text = PLAN
    for old, new in (change or {}).items():
        assert old in text
        text = text.replace(old, new)
    for old, new in (settings or {}).items():
        tiny.replace("study.toml", old, new)
    with (tiny.root / "study.toml").open("a", encoding="utf-8") as file:
        file.write(text)
    return read_settings(tiny.root / "study.toml")


def empty_trials(tiny) -> None:
    """Leave the heading of trials.csv alone, as before the first rider."""
    heading = (tiny.root / "trials.csv").read_text(encoding="utf-8").splitlines()[0]
    (tiny.root / "trials.csv").write_text(heading + "\n", encoding="utf-8")


# ---- size and power --------------------------------------------------------------------------------------------------

# Two-way crossover AB/BA with an additive model, bounds ± 0.20, SD within a subject 0.20, 80 % power: total subjects
# by true difference, Chow & Liu 2009, Design and Analysis of Bioavailability and Bioequivalence Studies, 3rd ed.,
# table 5.4.1; the smallest effect 0.20 serves as both bounds, so the study's own rows ask for 0 and for 0.10.
CHOW_AND_LIU = {0.0: 20, 0.10: 52}


def test_equivalence_of_a_two_period_study_takes_chow_and_lius_numbers(tiny):
    settings = with_plan(
        tiny,
        {"within_rider_sd = 4.0": "within_rider_sd = 0.2", "riders = 12": "riders = 20"},
        {"smallest_effect = 4.0": "smallest_effect = 0.2"},
    )
    table = power_table(plan_study(settings))
    rows = table[table["test"] == EQUIVALENCE].set_index("true_effect")
    assert {effect: int(n) for effect, n in rows["riders_needed"].items()} == CHOW_AND_LIU


# Hauschke, Steinijans & Pigeot 2007, Bioequivalence Studies in Drug Development, table 5.1: ratio 1, CV 20 %: 16
# subjects for bounds 0.80 to 1.25, which are symmetric on the log scale; SD within a subject sqrt(log(1 + CV²)).
def test_equivalence_on_the_log_scale_takes_hauschkes_number(tiny):
    sd = math.sqrt(math.log(1 + 0.2**2))
    settings = with_plan(
        tiny,
        {"within_rider_sd = 4.0": f"within_rider_sd = {sd!r}"},
        {"smallest_effect = 4.0": f"smallest_effect = {math.log(1.25)!r}"},
    )
    table = power_table(plan_study(settings)).set_index(["test", "true_effect"])
    assert table.loc[(EQUIVALENCE, 0.0), "riders_needed"] == 16


# Pairs for a two-sided paired t at 0.05 and 80 %: half an SD of the differences takes 34 pairs with a power of
# 0.807778 (exact non-central t, any power programme). The SD of a contrast of two periods is √2 times that within.
def test_paired_t_takes_the_textbook_number_of_pairs(tiny):
    settings = with_plan(
        tiny,
        {"within_rider_sd = 4.0": f"within_rider_sd = {8 / math.sqrt(2)!r}", "riders = 12": "riders = 34"},
    )
    row = power_table(plan_study(settings)).set_index("test").loc[PAIRED]
    assert row["riders_needed"] == 34
    assert row["power_all_ride"] == pytest.approx(0.807778, abs=5e-7)


def test_drop_outs_raise_the_number_to_recruit(tiny):
    plan = plan_study(with_plan(tiny, {"dropout = 0.0": "dropout = 0.2", "riders = 12": "riders = 20"}))
    row = power_table(plan).set_index("test").loc[ADJUSTED]
    assert plan.finishing == 16
    assert row["recruit"] * 0.8 >= row["riders_needed"]
    assert row["power_some_stop"] < row["power_all_ride"]


def test_simulated_power_without_drop_outs_is_that_of_the_formula(tiny):
    plan = plan_study(with_plan(tiny))
    nothing, _, matters = plan.simulated
    exact = power_table(plan).set_index(["test", "true_effect"])
    assert abs(matters.power - exact.loc[(ADJUSTED, 4.0), "power_all_ride"]) < 4 * matters.power_se
    assert abs(nothing.power - 0.05) < 4 * nothing.power_se
    shown = exact.loc[(EQUIVALENCE, 0.0), "power_all_ride"]
    assert abs(nothing.verdicts["equivalent"] - shown) < 4 * math.sqrt(shown * (1 - shown) / 2000)


def test_detectable_effect_is_found_with_the_wanted_power(tiny):
    plan = plan_study(with_plan(tiny))
    found = plan.simulate(plan.detectable_effect)
    assert abs(found.power - 0.8) < 4 * found.power_se


def test_an_odd_sequence_counts_its_periods_on_each_ring(tiny):
    # ABB/BAA: one period on one ring and two on the other, variance σ²(1 + 1/2) = 1.5 σ², as Jones & Kenward's .75 σ²
    # a group says for two groups
    settings = with_plan(
        tiny,
        settings={
            '{ RO = ["round", "oval"], OR = ["oval", "round"] }': (
                '{ ROO = ["round", "oval", "oval"], ORR = ["oval", "round", "round"] }'
            )
        },
    )
    plan = plan_study(settings)
    assert plan.contrast_sd**2 == pytest.approx(1.5 * 16)
    assert plan.design_variance.plain == pytest.approx(1.5)


def test_poor_designs_are_warned_of_and_good_ones_are_not(tiny):
    plan = plan_study(with_plan(tiny))
    assert "carry-over" in plan.design_variance.warning
    designs = plan.designs().set_index("design")
    assert designs.loc["this study", "plain"] == pytest.approx(2)
    assert math.isinf(designs.loc["this study", "with_carry_over"])
    assert designs.loc["ABBA/BAAB", "warning"] == ""
    # Jones & Kenward 2014, ch. 3
    assert designs.loc["ABAB/BABA", "with_carry_over"] == pytest.approx(5.5)


def test_relabelling_floor_of_six_and_six(tiny):
    # 12!/(6! 6!) = 924 ways, two of them as extreme
    assert plan_study(with_plan(tiny)).relabelling_floor == pytest.approx(2 / 924)


# Normal approximation n = (1.96 + 0.8416)² · 2 TE²/d², by hand; t asks for some two riders more, and an even number.
@pytest.mark.parametrize(("typical_error", "by_hand"), [(2.0, 62.8), (1.2, 22.6), (0.9, 12.7)])
def test_riders_needed_grow_with_the_square_of_the_spread(tiny, typical_error, by_hand):
    settings = with_plan(
        tiny,
        {"within_rider_sd = 4.0": f"within_rider_sd = {typical_error}"},
        {"smallest_effect = 4.0": "smallest_effect = 1.0"},
    )
    sizes = sizes_by_spread(plan_study(settings)).set_index("within_rider_sd")
    assert by_hand < sizes.loc[typical_error, "difference"] <= by_hand + 4
    assert sizes.index[0] == typical_error / 2 and sizes.index[-1] == 2 * typical_error


def test_one_sequence_is_planned_with_its_warning(tiny):
    settings = with_plan(tiny, settings={', OR = ["oval", "round"] }': " }"})
    plan = plan_study(settings)
    assert "cannot be told from periods" in plan.design_variance.warning
    table = power_table(plan).set_index("test")
    assert table.loc[PAIRED, "riders_needed"] == table.loc[ADJUSTED, "riders_needed"]
    with pytest.raises(Refusal, match="two sequences"):
        _ = plan.relabelling_floor


# ---- allocation and schedule -----------------------------------------------------------------------------------------


def test_allocation_is_balanced_drawn_again_alike_and_behind_labels_of_single_riders(tiny):
    settings = with_plan(tiny)
    plan, again = plan_study(settings), plan_study(settings)
    pd.testing.assert_frame_equal(plan.allocation, again.allocation)
    assert plan.riders_by_sequence == {"RO": 6, "OR": 6}
    assert plan.allocation["label"].nunique() == 12
    assert plan.allocation.groupby("block")["sequence"].value_counts().tolist() == [2] * 6


def test_another_seed_draws_another_list(tiny):
    settings = with_plan(tiny)
    other = settings.model_copy(update={"plan": settings.plan.model_copy(update={"allocation_seed": 20262})})
    assert not plan_study(settings).allocation.equals(plan_study(other).allocation)


def test_schedule_gives_every_rider_every_ride_of_the_sequence(tiny):
    plan = plan_study(with_plan(tiny))
    for rider, rides in plan.schedule.groupby("rider"):
        sequence = plan.allocation.set_index("rider").loc[rider, "sequence"]
        trials = rides[rides["ride"] == "trial"]
        order = [trials[trials["period"] == period]["ring"].unique().tolist() for period in (1, 2)]
        assert order == [[ring] for ring in plan.settings.design.sequences[sequence]]
        assert set(rides.loc[rides["ride"] == "familiarisation", "ring"]) == {"round", "oval"}
        orders = {tuple(rows["intensity"]) for _, rows in trials.groupby("period")}
        assert len(orders) == 1
    first = plan.schedule[(plan.schedule["place"] == 1) & (plan.schedule["period"] == 1)]
    assert first["intensity"].value_counts().tolist() == [6, 6]


def test_listed_riders_keep_their_names():
    assert name_riders(4, ["R03", "Q1"]) == ["R03", "Q1", "R01", "R02"]
    with pytest.raises(Refusal, match=r"plan\.riders"):
        name_riders(1, ["R01", "R02"])


# ---- refusals --------------------------------------------------------------------------------------------------------


def test_without_a_plan_every_needed_key_is_named_with_published_suggestions(tiny):
    with pytest.raises(Refusal) as refused:
        freeze_protocol(tiny.root)
    message = str(refused.value)
    for key in ("[plan]", "riders", "within_rider_sd", "within_rider_sd_source", "dropout", "washout_hours"):
        assert key in message
    assert "allocation_seed" in message and "Clark, Paton & O'Brien 2014" in message
    assert "as suggestions only" in message
    assert not (tiny.root / "plan").exists()


def test_published_efficiency_is_moseley_and_jeukendrups():
    # Moseley & Jeukendrup 2001: gross efficiency 19.8 %, CV 4.2 %: 0.83 percentage points
    (found,) = published_repeatability("gross_efficiency_pct")
    assert found.sd(found.typical_value) == pytest.approx(0.83, abs=0.005)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"dropout = 0.0": "dropout = 1.0"}, "dropout"),
        ({"riders = 12": "riders = 3", "dropout = 0.0": "dropout = 0.5"}, "expected to finish"),
        ({"within_rider_sd = 4.0": "within_rider_sd = inf"}, "a finite number"),
        ({"washout_hours = 0.1": ""}, "washout_hours"),
        ({"allocation_seed = 20261": "allocation_seed = 20261\nriders_a_block = 3"}, "multiple"),
        ({"pilot of six riders": "<pilot, or paper and page>"}, "angle brackets"),
        ({"allocation_seed = 20261": "alocation_seed = 20261"}, "allocation_seed"),
    ],
)
def test_bad_plans_are_refused_and_nothing_is_written(tiny, change, word):
    before = sorted(path.name for path in tiny.root.iterdir())
    with pytest.raises((Refusal, Refusals), match=word):
        with_plan(tiny, change)
        freeze_protocol(tiny.root)
    assert sorted(path.name for path in tiny.root.iterdir()) == before


def test_a_sequence_with_one_ring_cannot_be_planned(tiny):
    settings = with_plan(tiny, settings={'RO = ["round", "oval"]': 'RR = ["round", "round"]'})
    with pytest.raises(Refusal, match="both rings"):
        power_table(plan_study(settings))


# ---- frozen protocol -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def frozen_once(tiny_once):
    """The tiny study with its protocol frozen before the first trial."""
    tiny = tiny_once
    trials = (tiny.root / "trials.csv").read_text(encoding="utf-8")
    with_plan(tiny)
    riders = (tiny.root / "riders.csv").read_text(encoding="utf-8")
    empty_trials(tiny)
    protocol = freeze_protocol(tiny.root)
    drawn = protocol.plan.allocation.set_index("rider")["sequence"]
    for rider, was in (("R01", "RO"), ("R02", "OR")):
        riders = riders.replace(f"{rider},{was}", f"{rider},{drawn[rider]}")
    (tiny.root / "riders.csv").write_text(riders, encoding="utf-8")
    (tiny.root / "trials.csv").write_text(trials, encoding="utf-8")
    return tiny, protocol


@pytest.fixture
def frozen(frozen_once, tiny):
    """A copy of it that a test may change."""
    there, protocol = frozen_once
    shutil.copytree(there.root, tiny.root, dirs_exist_ok=True)
    return tiny, replace(protocol, folder=tiny.root / protocol.folder.relative_to(there.root))


def deviations_of(tiny) -> dict[str, str]:
    """What deviates, with the whole sentence."""
    return {found.what: found.sentence() for found in compare_with_protocol(open_study(tiny.root))}


def test_checksums_are_those_of_the_files(frozen):
    _, protocol = frozen
    lines = (protocol.folder / "SHA256SUMS").read_text(encoding="utf-8").splitlines()
    for line in lines:
        was, name = line.split("  ")
        assert was == hashlib.sha256((protocol.folder / name).read_bytes()).hexdigest()
    names = {line.split("  ")[1] for line in lines}
    assert names == {path.name for path in protocol.folder.iterdir()} - {"SHA256SUMS"}
    assert f"{protocol.sha256}  protocol.json" in lines
    assert protocol.trials_listed == 0


def test_concealed_files_tell_no_ring_and_no_sequence(frozen):
    _, protocol = frozen
    for name in ("allocation_concealed.csv", "schedule_concealed.csv"):
        text = (protocol.folder / name).read_text(encoding="utf-8")
        assert not any(word in text for word in ("RO", "OR,", "round", "oval", "sequence", "block"))
    assert "sequence" in (protocol.folder / "allocation_open.csv").read_text(encoding="utf-8")


def test_the_protocol_itself_does_not_give_the_seed_of_the_allocation_away(frozen):
    _, protocol = frozen
    for name in ("protocol.json", "protocol.md", "allocation_concealed.csv", "schedule_concealed.csv"):
        assert "20261" not in (protocol.folder / name).read_text(encoding="utf-8")


def test_a_frozen_protocol_is_never_overwritten(frozen):
    tiny, protocol = frozen
    before = {path.name: path.read_bytes() for path in protocol.folder.iterdir()}
    with pytest.raises(Refusal, match=protocol.sha256):
        freeze_protocol(tiny.root)
    assert {path.name: path.read_bytes() for path in protocol.folder.iterdir()} == before


def test_the_same_study_freezes_to_the_same_bytes(tiny, tmp_path):
    with_plan(tiny)
    first = freeze_protocol(tiny.root)
    was = {path.name: path.read_bytes() for path in first.folder.iterdir()}
    first.folder.rename(tmp_path / "elsewhere")
    again = freeze_protocol(tiny.root)
    assert {path.name: path.read_bytes() for path in again.folder.iterdir()} == was
    # Trials were listed already, and that is said.
    assert again.trials_listed == 8
    assert "trials.csv listed 8 trials already" in was["protocol.md"].decode("utf-8")


def test_a_spread_that_no_number_of_riders_can_beat_is_said(tiny):
    with_plan(tiny, {"within_rider_sd = 4.0": "within_rider_sd = 1e9"})
    text = (freeze_protocol(tiny.root).folder / "protocol.md").read_text(encoding="utf-8")
    assert "no number of riders is enough" in text and "The planned riders are too few" in text


# As protocols said it before they named what a missing value does to the overall estimate.
OLDER_WORDS = (
    "Per rider and intensity one contrast: the mean of the oval periods minus the mean of the round periods; "
    "overall the same with each period's mean over all intensities. The estimate is the unweighted mean of the "
    "sequence means of these contrasts, t with riders minus sequences degrees of freedom, 95 % interval. The "
    "primary result is the overall effect on the primary outcome. Verdict: equivalent when the 90 % interval lies"
    " inside the smallest effect that matters, difference when the 95 % interval excludes zero, else undecided. "
    "Intensities are adjusted by Holm's method; other outcomes describe. Secondary: a mixed model with rider, "
    "rider by ring and rider by period as random terms, Kenward-Roger degrees of freedom, on every trial. Carry-"
    "over and period effects are shown with intervals and never choose the analysis. Riders without a value on "
    "both rings are left out of the primary analysis and counted."
)


def test_a_protocol_in_older_words_for_the_same_analysis_is_no_change_and_other_words_are(frozen):
    tiny, protocol = frozen
    said = json.loads((protocol.folder / "protocol.json").read_text(encoding="utf-8"))["promised"]["analysis"]
    assert "a period that lacks a value at one intensity still counts at the others" in said["method"]
    tiny.replace("plan/protocol.json", said["method"], OLDER_WORDS)
    assert "analysis.method" not in deviations_of(tiny)
    tiny.replace("plan/protocol.json", "never choose the analysis", "may choose the analysis")
    assert "may choose" in deviations_of(tiny)["analysis.method"]


def test_a_rest_stands_at_the_first_ride_of_each_period_alone(frozen):
    _, protocol = frozen
    schedule = pd.read_csv(protocol.folder / "schedule_open.csv")
    first = (schedule["ride"] == "trial") & (schedule["place"] == 1)
    assert first.sum() == 12 * 2 and (schedule.loc[first, "rest_before_h"] == 0.1).all()  # as PLAN says
    assert schedule.loc[~first, "rest_before_h"].isna().all()


def test_a_comparison_says_whether_rests_and_orders_were_compared(frozen):
    tiny, _ = frozen
    file = tiny.root / "trials.csv"
    trials = pd.read_csv(file, dtype=str, keep_default_na=False)
    told = {
        8: "by started_at:",
        7: "by started_at of the 7 of 8 trials that have one",
        0: "not, for trials.csv has no",
    }
    for known, words in told.items():
        trials.assign(started_at=trials["started_at"].where(trials.index < known, "")).to_csv(
            file, index=False
        )
        assert (
            f"rests between periods and orders of intensities {words}"
            in what_was_compared(open_study(tiny.root)) + ":"
        )


def test_no_protocol_is_itself_a_deviation(tiny):
    (only,) = compare_with_protocol(open_study(tiny.root))
    assert "not frozen" in only.sentence()


def test_a_study_that_keeps_to_its_protocol_deviates_in_what_is_missing_alone(frozen):
    tiny, protocol = frozen
    found = deviations_of(tiny)
    schedule = protocol.plan.schedule
    first = schedule[(schedule["period"] == 1) & (schedule["place"] == 1)].set_index("rider")["intensity"]
    other_order = {
        f"rider {r}, periods 1 and 2, order of intensities" for r in ("R01",) if first[r] != "easy"
    }
    other_order |= {"rider R02, periods 1 and 2, order of intensities"} if first["R02"] != "easy" else set()
    assert set(found) == {"riders", *other_order}
    assert "R03" in found["riders"]


@pytest.mark.parametrize(
    ("file", "old", "new", "what", "words"),
    [
        ("study.toml", "smallest_effect = 4.0", "smallest_effect = 2.0", "outcomes.power_W.smallest_effect", "4.0"),
        ("study.toml", "better = \"higher\"", "better = \"lower\"", "outcomes.power_W.better", "lower"),
        ("study.toml", "axis_ratio = 1.10", "axis_ratio = 1.20", "rings.oval.axis_ratio", "1.2"),
        ("study.toml", "Does the ring matter?", "Does it?", "question", "Does it?"),
        ("study.toml", "allocation_seed = 20261", "allocation_seed = 7", "plan.allocation_seed", "another list"),
        ("study.toml", "[plan]", "[plan]\nriders_a_block = 3", "plan.allocation_seed", "another list"),
        ("study.toml", "dropout = 0.0", "dropout = 0.3", "plan.dropout", "0.3"),
        ("study.toml", "[plan]", "[rules]\nmin_turns = 5\n[plan]", "rules.min_turns", "planned 30; found 5"),
        ("study.toml", "washout_hours = 0.1", "washout_hours = 0.0", "plan.washout_hours", "0.1"),
        ("trials.csv", "2026-03-02T09:20:00", "2026-03-02T09:04:00", "rider R01, rest before period 2", "0.0667 h"),
        ("trials.csv", "chain dropped", "felt slow", "trial T8", "felt slow"),
        ("plan/protocol.md", "Tiny", "Tinier", "plan/protocol.md", "changed since"),
        ("plan/allocation_open.csv", "R12", "R99", "plan/allocation_open.csv", "changed since"),
    ],
)  # fmt: skip
def test_every_change_is_named(frozen, file, old, new, what, words):
    tiny, _ = frozen
    assert what not in deviations_of(tiny)
    tiny.replace(file, old, new)
    assert words in deviations_of(tiny)[what]


def test_a_rest_runs_from_first_ride_to_first_ride_as_the_schedule_says(frozen):
    """R01 begins period 1 at 09:00 and 2 at 09:20; a second ride at 09:18 leaves 20 min, and the plan asks for 6."""
    tiny, protocol = frozen
    tiny.replace("trials.csv", "2026-03-02T09:10:00", "2026-03-02T09:18:00")
    assert not [what for what in deviations_of(tiny) if "rest before" in what]
    said = (protocol.folder / "protocol.md").read_text(encoding="utf-8")
    assert "at least 0.1 h from the first ride of a period to the first of the next" in said


def test_a_rest_that_no_visit_holds_is_refused_with_several_periods_a_visit(tiny):
    two = with_plan(tiny, {"washout_hours = 0.1": "washout_hours = 48.0\nperiods_a_visit = 2"})
    with pytest.raises(Refusal, match="48 h with 2 periods a visit – wanted less than 24 h"):
        plan_study(two)
    for hours, periods in ((23.5, 2), (48.0, 1)):
        update = {"washout_hours": hours, "periods_a_visit": periods}
        plan_study(two.model_copy(update={"plan": two.planned.model_copy(update=update)}))


def test_outcomes_that_come_or_go_are_named(frozen):
    tiny, _ = frozen
    tiny.replace("study.toml", 'name = "hr_bpm"', 'name = "rpe"')
    found = deviations_of(tiny)
    assert "found nothing" in found["outcomes.hr_bpm"]
    assert "planned nothing" in found["outcomes.rpe"]


def test_trials_that_begin_at_one_time_are_in_the_order_of_the_table(tiny):
    study = open_study(tiny.root)
    cells = [(f"R{r:02}", p, name) for r in range(12) for p in (1, 2) for name in ("hard", "easy")]
    schedule = pd.DataFrame(cells, columns=["rider", "period", "intensity"])
    begun = pd.Timestamp(2026, 3, 2, 9) + pd.to_timedelta(schedule["period"], unit="D")
    listed = replace(study, trials=schedule.assign(started_at=begun))
    assert list(_changed_orders(listed, schedule)) == []
    easy_first = schedule.sort_values("intensity", kind="stable")
    assert len(list(_changed_orders(listed, easy_first))) == 12  # one line a rider


def test_an_intensity_under_another_name_is_no_other_order(frozen):
    """It is gone and another has come; the order of what is left is what it was."""
    tiny, _ = frozen
    before = deviations_of(tiny)
    for file in ("study.toml", "trials.csv"):
        text = (tiny.root / file).read_text(encoding="utf-8")
        (tiny.root / file).write_text(
            text.replace('"easy"', '"light"').replace(",easy,", ",light,"), encoding="utf-8"
        )
    after = deviations_of(tiny)
    assert set(after) - set(before) == {"intensities.easy", "intensities.light"}
    assert not [what for what in after if "order of intensities" in what]


def test_riders_allocated_otherwise_or_not_at_all_are_named(frozen):
    tiny, protocol = frozen
    drawn = protocol.plan.allocation.set_index("rider")["sequence"]
    other = {"RO": "OR", "OR": "RO"}[drawn["R01"]]
    tiny.replace("riders.csv", f"R01,{drawn['R01']}", f"R01,{other}")
    with (tiny.root / "riders.csv").open("a", encoding="utf-8") as file:
        file.write("X1,RO,70,170,\n")
    found = deviations_of(tiny)
    assert f"planned sequence {drawn['R01']}; found sequence {other}" in found["rider R01"]
    assert "not on the allocation list" in found["rider X1"]


def test_a_spoilt_protocol_is_said_to_be_unreadable(frozen):
    tiny, protocol = frozen
    (protocol.folder / "protocol.json").write_text("{}", encoding="utf-8")
    assert "none that can be read" in deviations_of(tiny)["protocol"]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"washout_hours": 0.1', '"washout_hours": "long"'),
        ('"chain dropped"', "7"),
        ('"trials_listed_when_frozen": 0', '"trials_listed_when_frozen": null'),
        ('"sha256": {', '"sha256": {"protocol.md": 7,'),
    ],
)
def test_a_protocol_of_another_kind_ends_in_no_trace(frozen, old, new):
    tiny, _ = frozen
    tiny.replace("plan/protocol.json", old, new)
    assert "none that can be read" in deviations_of(tiny)["protocol"]


@pytest.mark.parametrize(
    "content", [b"rider;sequence\n", b"", b"\xff\xfe", b"rider,period,ride,intensity\nR01,x,trial,easy\n"]
)
def test_an_allocation_or_schedule_of_another_kind_ends_in_no_trace(frozen, content):
    """Both as a stranger could have frozen them: with a checksum that fits."""
    tiny, protocol = frozen
    for name in ("allocation_open.csv", "schedule_open.csv"):
        was = hashlib.sha256((protocol.folder / name).read_bytes()).hexdigest()
        (protocol.folder / name).write_bytes(content)
        tiny.replace("plan/protocol.json", was, hashlib.sha256(content).hexdigest())
    assert not [what for what in deviations_of(tiny) if what.startswith("rider R")]


@pytest.mark.parametrize("name", ["SHA256SUMS", "protocol.json"])
def test_a_file_of_the_protocol_that_is_a_link_out_of_the_folder_shows_nothing_of_it(frozen, tmp_path, name):
    tiny, _ = frozen
    (tmp_path / "outside").mkdir()
    outside = tmp_path / "outside" / "notes"
    outside.write_text((tiny.root / "plan" / name).read_text() + "\nkey  secret words\n")
    (tiny.root / "plan" / name).unlink()
    (tiny.root / "plan" / name).symlink_to(outside)
    said = " ".join(part.sentence() for part in compare_with_protocol(open_study(tiny.root)))
    assert "secret" not in said
    assert ("no such file" in said) or ("none that can be read" in said)
