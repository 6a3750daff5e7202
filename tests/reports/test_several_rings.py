"""Studies of several oval rings: pages, joined tables, and an effect that was put in and is found again."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from captions import captions_of, long_captions
from said_numbers import links_of, names_with_numbers, page_of, sentences_without_rows
from statsmodels.formula.api import ols

from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider import rider_words
from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.reports.running.runner import make_report
from analysis_lib.reports.several_rings import (
    rings_cautions,
    rings_checks,
    rings_exhibits,
    rings_intensity,
    rings_words,
)
from analysis_lib.reports.several_rings.rings_analysis import analyse_rings, contrasts_of
from analysis_lib.reports.several_rings.rings_results import write_results
from analysis_lib.reports.study import curve_exhibits, study_exhibits
from analysis_lib.reports.study.page_list import planned_pages
from analysis_lib.statistics.rings import rings_effect
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.synthetic.study_truth import read_truth
from analysis_lib.study.synthetic.synthetic import small_rings_study, small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES

RING = "C(ring, Treatment('round'))"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    root = tmp_path_factory.mktemp("rings") / "study"
    small_rings_study(root)
    return root


@pytest.fixture(scope="module")
def analysis(folder):
    return analyse_rings(str(folder))


def test_every_rider_has_a_page_a_ring_and_the_study_its_own(folder, tmp_path):
    pages = planned_pages(open_study(folder))
    assert [page.subject for page in pages[:3]] == ["R01.oval", "R01.strong", "R02.oval"]
    assert pages[1].page == "riders/R01.strong.html"
    assert pages[1].parameters["ring"] == "strong"
    assert [page.template for page in pages[-2:]] == ["05_data_quality.ipynb", "09_several_rings.ipynb"]
    small_study(tmp_path / "two", riders=2, duration_s=3.0)
    two = planned_pages(open_study(tmp_path / "two"))
    assert [page.subject for page in two] == ["R01", "R02", "the data", "the study"]
    assert "ring" not in two[0].parameters
    assert two[-1].template == "04_study_report.ipynb"


def test_a_view_of_two_rings_holds_their_trials_alone(folder):
    study = open_study(folder)
    view = study.comparing("strong")
    assert set(view.trials["ring"]) == {"round", "strong"}
    assert view.settings.ring_in_role("oval") == "strong"
    rider = analyse_rider(view, "R01")
    assert "Oval on this page is the ring strong" in " ".join(rider_words.answer(rider))
    assert set(rider.trials["ring"]) == {"round", "oval"}
    assert rider.drivetrains(70.0)["oval"].ring.axis_ratio == pytest.approx(1.25, rel=1e-6)
    for name, words in (("stronk", "did you mean 'strong'"), ("", "oval, strong"), ("round", "oval, strong")):
        with pytest.raises(Refusal, match=words):
            study.comparing(name)


def test_joined_tables_hold_every_trial_once_under_its_ring(analysis, folder):
    listed = pd.read_csv(folder / "trials.csv").set_index("trial")["ring"]
    assert analysis.trials["trial"].is_unique
    assert dict(zip(analysis.trials["trial"], analysis.trials["ring"], strict=True)) == listed.to_dict()
    power = analysis.quantities[analysis.quantities["quantity"] == "power_W"]
    assert len(power) == len(listed)
    assert (power["ring"].to_numpy() == listed.loc[power["trial"]].to_numpy()).all()
    assert not analysis.budgets_of(analysis.outcomes[0]).duplicated(["trial", "input"]).any()
    profiles = pd.concat(analysis.tables[rider].profiles for rider in analysis.tables)
    assert set(profiles.groupby("trial").size()) == {360}


def test_the_effect_that_was_put_in_is_found_again(analysis, folder):
    truth = read_truth(folder)
    frame = analysis.rings_effect(analysis.outcomes[0]).to_frame().set_index(["intensity", "ring"])
    for ring, share in (("oval", 1.0), ("strong", 2.0)):
        row = frame.loc[("overall", ring)]
        assert row["low"] < share * truth.ring_effect_W() < row["high"]
    # The same least squares of the trials' true power: what is left is the error of measurement, a watt or so
    trials = analysis.trials.merge(truth.trials[["trial", "power_W"]], on="trial")
    for intensity, here in trials.groupby("intensity"):
        here = here.astype({"period": int})
        fit = ols(f"power_W ~ C(rider) + C(period) + {RING}", here).fit()
        for ring in ("oval", "strong"):
            true = fit.params[f"{RING}[T.{ring}]"]
            assert frame.loc[(intensity, ring), "estimate"] == pytest.approx(true, abs=1.5)


def test_numbers_of_the_page_and_its_file_are_those_of_a_formula(analysis, tmp_path):
    write_results(analysis, str(tmp_path))
    results = json.loads((tmp_path / "results.json").read_text(encoding="utf-8"))
    primary = results["outcomes"][0]
    outcome = analysis.outcomes[0]
    shown = rings_exhibits.rings_table(outcome, analysis.rings_effect(outcome)).frame
    for intensity in analysis.intensities:
        rows = analysis.outcome_table(outcome).rename(columns={outcome.label: "y"}).astype({"period": int})
        fit = ols(f"y ~ C(rider) + C(period) + {RING}", rows[rows["intensity"] == intensity]).fit()
        for ring in ("oval", "strong"):
            term = f"{RING}[T.{ring}]"
            on_page = shown[(shown["intensity"] == intensity) & (shown["ring"] == ring)].iloc[0]
            assert on_page["estimate"] == pytest.approx(fit.params[term], rel=1e-8)
            assert on_page["se"] == pytest.approx(fit.bse[term], rel=1e-8)
            in_file = next(
                row for row in primary["estimates"] if (row["intensity"], row["ring"]) == (intensity, ring)
            )
            assert in_file["estimate"] == pytest.approx(fit.params[term], rel=1e-8)
            assert in_file["verdict"] == on_page["verdict"]
            # Dunnett's printed 2.67 for two comparisons on 8 df (Biometrics 1964;20:482, Table 2, from memory)
            assert (on_page["high"] - on_page["low"]) / 2 / on_page["se"] == pytest.approx(2.67, abs=0.0051)
    assert primary["reference"] == "round"
    assert {row["df_rings"] for row in primary["omnibus"]} == {2}
    # Six riders, one in each order: 720 deals, 3! of which say the same
    assert [row["smallest_p"] for row in primary["relabelling"]] == pytest.approx([6 / 720] * 3)
    for dealt, test in zip(primary["relabelling"], primary["omnibus"], strict=True):
        assert dealt["p"] == pytest.approx(test["p"], abs=0.1)
    shown = rings_exhibits.relabelling_table(analysis, outcome).frame
    assert shown["p"].to_list() == pytest.approx([row["p"] for row in primary["relabelling"]], rel=1e-9)


def test_answer_comes_first_and_is_no_stronger_than_the_intervals(analysis):
    outcome = analysis.outcomes[0]
    effect = analysis.rings_effect(outcome)
    words = rings_words.answer(analysis)
    assert words[0].startswith("Primary outcome")
    overall = effect.verdicts(outcome.smallest_effect)
    overall = overall[overall["intensity"] == "overall"].set_index("ring")["verdict"]
    for ring, word in overall.items():
        assert any(
            re.match(rf"{ring} − round: [+−][\d.]+ W \(95 % interval [^)]*\)\. Verdict: {word}\.", line)
            for line in words
        )
    own = contrasts_of(effect)
    assert len(own) == 6 * 2 * 3
    for exhibit in (
        rings_exhibits.rings_exhibit(outcome, effect),
        rings_exhibits.trajectories_exhibit(analysis, outcome, effect),
        rings_exhibits.periods_exhibit(analysis, outcome),
        rings_checks.forest_exhibit(outcome, effect),
        rings_checks.residual_exhibit(outcome, effect),
    ):
        assert exhibit.alt
        assert exhibit.svg().startswith(b"<?xml")


def test_percentages_are_those_of_a_fit_of_logarithms(analysis):
    outcome = analysis.outcomes[0]
    shown = rings_checks.log_table(analysis, outcome, analysis.rings_effect(outcome)).frame
    rows = analysis.outcome_table(outcome).rename(columns={outcome.label: "y"}).astype({"period": int})
    rows = rows[rows["intensity"] == "hard"]
    fit = ols(f"np.log(y) ~ C(rider) + C(period) + {RING}", rows).fit()
    row = shown[(shown["intensity"] == "hard") & (shown["ring"] == "strong")].iloc[0]
    assert row["ratio"] == pytest.approx(100 * np.expm1(fit.params[f"{RING}[T.strong]"]), rel=1e-8)
    assert row["linear"] == pytest.approx(row["ratio"], abs=0.5)


def test_numbers_of_the_page_link_to_their_rows_or_are_known_to_have_none(analysis, folder, monkeypatch):
    text = page_of("09_several_rings.ipynb", monkeypatch, analysis=analysis)
    assert sentences_without_rows(text, names_with_numbers(folder)) == []
    links = links_of(text)
    assert len(links) > 60
    assert all(f'id="{row}"' in text for row in links)
    assert any("table-tests_power_W--" in row for row in links)


def test_a_stronger_ring_moves_a_meter_further_and_the_floor_lies_below_the_error(analysis):
    gaps = analysis.ring_gaps().set_index(["ring", "intensity", "sectors"])["mean_W"]
    for intensity in analysis.intensities:
        assert gaps["strong", intensity, 1] > 1.5 * gaps["oval", intensity, 1] > 0
    outcome = analysis.outcomes[0]
    floors = analysis.floors(outcome, analysis.rings_effect(outcome))
    assert list(floors["intensity"]) == ["easy", "hard", "overall"] * 2
    assert floors["share_of_se"].between(0, 1).all()
    assert rings_cautions.floor_cautions(analysis, outcome, analysis.rings_effect(outcome)) == []
    low = floors.assign(floor=floors["floor"].mask(floors["ring"] == "strong", 2 * floors["se"]))
    (said,) = rings_cautions.floor_cautions(
        SimpleNamespace(floors=lambda *_: low, study=analysis.study), outcome, analysis.rings_effect(outcome)
    )
    assert said.count("floor ") == 4 and "strong overall (" in said and "oval" not in said
    comfort = analysis.outcomes[-1]
    with pytest.raises(Refusal, match="without a budget"):
        analysis.floors(comfort, analysis.rings_effect(comfort))


def test_each_ring_and_intensity_has_a_torque_curve_with_its_riders(analysis):
    curves = analysis.ring_curves()
    assert list(curves) == ["oval, easy", "oval, hard", "strong, easy", "strong, hard"]
    assert {curve.n for curve in curves.values()} == {6}
    means = {ring: own.to_numpy().mean() for ring, own in analysis.mean_curves("total", "hard").items()}
    # Two intensities one step apart: the slope of a rider's difference curves is their difference
    trend = analysis.ring_trends()["strong − round"]
    assert trend.mean == pytest.approx(curves["strong, hard"].mean - curves["strong, easy"].mean, abs=1e-9)
    legs = analysis.ring_leg_curves()
    both = legs["left leg, oval, easy"].mean + legs["right leg, oval, easy"].mean
    assert both == pytest.approx(curves["oval, easy"].mean, abs=1e-9)
    field = curve_exhibits.random_field_table(analysis, curves, analysis.ring_differences()).frame
    assert list(field["intensity"]) == list(curves)
    # The mean of a difference curve is the difference of mean torque: every rider has one trial on each ring
    mean = curves["strong, hard"].mean.mean()
    assert mean == pytest.approx(means["strong"] - means["round"], rel=1e-9)


def test_a_rider_whose_page_of_one_ring_failed_stays_in_with_the_others_and_is_named(analysis):
    whole = analysis.tables["R02"]
    kept = whole.trials["ring"] != "strong"
    left = set(whole.trials.loc[kept, "trial"])
    rows = whole.quantities[whole.quantities["trial"].isin(left)]
    tables = {**analysis.tables, "R02": replace(whole, trials=whole.trials[kept], quantities=rows)}
    spoilt = replace(analysis, tables=tables, left_out={"R02 on strong": "no trial that could be used"})
    outcome = spoilt.outcomes[0]
    effect = spoilt.rings_effect(outcome)
    assert "R02 (strong)" in " ".join(rings_intensity.missing_sentences(outcome, effect))
    (lacking,) = rings_intensity.riders_lacking(outcome, effect)
    assert set(lacking.frame["rider"]) == {"R02"}
    assert set(lacking.frame["part"]) == {"in part"}
    assert lacking.frame["reason"].iloc[0] == "no value on strong"
    counted = rings_intensity.riders_counted(outcome, effect).frame.set_index("intensity")
    assert counted.loc["overall", ["whole", "in part", "out"]].to_list() == [5, 1, 0]
    assert rings_intensity.riders_lacking(outcome, analysis.rings_effect(outcome)) == []
    gone = study_exhibits.set_aside_table(spoilt).frame
    listed = gone[gone["rider"] == "R02"]
    assert list(listed["ring"]) == ["strong", "strong"]
    assert set(listed["reason"]) == {"no trial that could be used"}
    # one value fewer: 6 riders · 3 periods − 1 − 6 − 2 − 2
    assert effect.overall["oval"].df == 7


def test_one_oval_ring_and_too_few_riders_are_refused_in_words(tmp_path):
    small_study(tmp_path / "two", riders=2, duration_s=3.0)
    with pytest.raises(Refusal, match="04_study_report"):
        analyse_rings(str(tmp_path / "two"))
    small_rings_study(tmp_path / "few", riders=2, intensities=DEMO_INTENSITIES[:1])
    few = analyse_rings(str(tmp_path / "few"))
    assert "cannot answer its question" in rings_words.answer(few)[0]
    said = [str(problem) for problem in few.study.problems]
    assert any("3 riders or more" in line for line in said)


def test_few_riders_are_said_beside_the_answer_and_every_number_has_its_row(tmp_path, monkeypatch):
    small_rings_study(tmp_path / "three", riders=3, intensities=DEMO_INTENSITIES[:1])
    few = analyse_rings(str(tmp_path / "three"))
    outcome = few.outcomes[0]
    effect = few.rings_effect(outcome)
    (said,) = [line for line in rings_words.answer(few) if line.startswith("Few riders")]
    # 9 trials less 3 riders, 2 more periods and 2 more rings
    assert said.startswith("Few riders (n = 3, df = 2): the standard error,")
    row = rings_cautions.few_riders_tables(outcome, effect)[0].frame.iloc[0]
    se = max(found.se for found in effect.overall.values())
    # χ² on 2 df: 0.0506 and 7.378 (any table)
    assert [row["low"], row["high"]] == pytest.approx(
        [se * (2 / 7.378) ** 0.5, se * (2 / 0.0506) ** 0.5], rel=1e-3
    )
    assert "With so few riders" in " ".join(rings_words.doubts(few))
    text = page_of("09_several_rings.ipynb", monkeypatch, analysis=few)
    assert sentences_without_rows(text, names_with_numbers(tmp_path / "three")) == []
    assert any(row.startswith("table-few_riders_power_W--") for row in links_of(text))


def test_enough_riders_are_told_nothing_of_this(analysis):
    outcome = analysis.outcomes[0]
    assert rings_cautions.few_riders_tables(outcome, analysis.rings_effect(outcome)) == []
    assert "ew riders" not in " ".join([*rings_words.answer(analysis), *rings_words.doubts(analysis)])


def test_repeated_rides_give_the_spread_of_response(analysis):
    outcome = analysis.outcomes[0]
    orders = {"ABCCBA": ("round", "oval", "strong"), "BCAACB": ("oval", "strong", "round")}
    rows = [
        (
            f"R{i}",
            name,
            period,
            ring,
            "easy",
            200.0 + 7 * i + period + (i % 3) * (ring == "strong") + (i * period) % 5,
        )
        for i in range(8)
        for name, order in [list(orders.items())[i % 2]]
        for period, ring in enumerate(order + order[::-1], start=1)
    ]
    table = pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])
    effect = rings_effect(table, "y", ("round", "oval", "strong"), unit="W")
    frame = rings_exhibits.responses_table(outcome, effect).frame.set_index("ring")
    assert (frame["low"] <= frame["estimate"]).all() and (frame["estimate"] < frame["high"]).all()
    assert "Rides on one ring differ too" in rings_exhibits.riders_table(outcome, effect).caption
    with pytest.raises(Refusal, match="rode each ring once"):
        rings_exhibits.responses_table(outcome, analysis.rings_effect(outcome))


@pytest.mark.long
def test_a_whole_report_of_three_rings_is_made_and_kept(tmp_path):
    small_rings_study(tmp_path / "study", riders=3)
    report = make_report(tmp_path / "study", tmp_path / "report", jobs=2, say=lambda _: None)
    assert {page.subject: page.cause for page in report.pages} == dict.fromkeys(
        [
            *(f"R0{rider}.{ring}" for rider in (1, 2, 3) for ring in ("oval", "strong")),
            "the data",
            "the study",
        ],
        "",
    )
    page = (tmp_path / "report" / "study.html").read_text(encoding="utf-8")
    assert "strong − round" in page
    assert len(captions_of(page)) > 15 and long_captions(page) == []
    results = json.loads((tmp_path / "report" / "results.json").read_text(encoding="utf-8"))
    assert results["riders_analysed"] == ["R01", "R02", "R03"]
    assert results["riders_left_out"] == {}
    (tmp_path / "report" / "tables" / "riders" / "R01.strong" / "trials.csv").unlink()
    again = analyse_rings(str(tmp_path / "study"), str(tmp_path / "report"))
    assert list(again.left_out) == ["R01 on strong"]
