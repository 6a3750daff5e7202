"""Three riders alike by chance: what stands beside a verdict that measuring alone could not have given."""

import json
import re
from dataclasses import replace
from html import escape, unescape

import numpy as np
import pytest
from fabricated import EFFECT_W, TURNS_W, ZERO_W, fabricate
from said_numbers import links_of, names_with_numbers, page_of, sentences_without_rows

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.number_links import link_numbers
from analysis_lib.reports.study import floor_exhibits, individual_exhibits, stated_tests, study_words
from analysis_lib.reports.study.study_results import write_results
from analysis_lib.statistics.estimates import Estimate
from analysis_lib.statistics.response_spread import ResponseSpread
from analysis_lib.statistics.standard_errors import se_interval

BUDGET = 10.0


@pytest.fixture(scope="module")
def alike(tmp_path_factory):
    """Three riders in two sequences, whose trials repeat far better than their budgets allow."""
    return fabricate(tmp_path_factory.mktemp("alike") / "study", riders=3, noise_W=0.02, budget=BUDGET)


@pytest.fixture(scope="module")
def many(tmp_path_factory):
    return fabricate(tmp_path_factory.mktemp("many") / "study")


def by_hand(analysis):
    """Estimate, standard error on 1 df and floor, from the values themselves: sequences of two riders and of one."""
    rows = analysis.quantities[analysis.quantities["quantity"] == "power_W"]
    wide = rows.astype({"sequence": str}).pivot_table(
        index=["sequence", "rider"], columns="ring", values="value"
    )
    contrasts = (wide["oval"] - wide["round"]).groupby("sequence")
    weights = (1 / (contrasts.transform("size") * contrasts.ngroups)) ** 2
    pooled = float((contrasts.var(ddof=0) * contrasts.size()).sum()) / 1
    # A ring's mean of 2 periods and 3 intensities; a period's zero is in all three.
    rider = 2 * ((BUDGET * TURNS_W) ** 2 / 6 + (BUDGET * ZERO_W) ** 2 / 2)
    return (float(contrasts.mean().mean()), *np.sqrt([pooled * weights.sum(), rider * weights.sum()]))


def test_the_floor_of_the_overall_effect_stands_in_the_table(alike):
    estimate, se, floor = by_hand(alike)
    row = floor_exhibits.effect_floor(alike, alike.outcomes[0]).set_index("intensity").loc["overall"]
    assert [row["estimate"], row["se"], row["floor"]] == pytest.approx([estimate, se, floor], rel=1e-9)
    assert floor > 3 * se
    # t on 1 df: 12.706 (any table)
    assert row["high"] == pytest.approx(estimate + 12.706 * floor, abs=5e-4 * floor)
    assert row["verdict"] == "undecided"
    assert list(floor_exhibits.effect_floor(alike, alike.outcomes[0])["intensity"]) == [*EFFECT_W, "overall"]


def test_the_caution_comes_before_the_verdict_with_both_numbers(alike):
    _, se, floor = by_hand(alike)
    first, second, verdict, few, each, *_ = study_words.answer(alike)
    shown = re.search(
        r"overall, ([\d.]+) W, is smaller than the measuring floor of the same estimate, ([\d.]+) W", first
    )
    # two digits are shown
    assert [float(part) for part in shown.groups()] == pytest.approx([se, floor], rel=0.05)
    assert first.startswith("Not to be relied on as it stands") and first.endswith(
        "and the verdict undecided."
    )
    assert "Trust the floor" in first and second.startswith("The same holds at Easy (RPE 11) (standard error")
    assert "Verdict: equivalent" in verdict
    assert few.startswith("Few riders (n = 3, df = 1): the standard error")
    assert each.count("(but see the floor)") == 3
    outcome = alike.outcomes[0]
    assert study_words.effect_sentences(alike, outcome, alike.effect(outcome))[0] == first


def test_nothing_says_that_there_is_no_reason_to_doubt(alike, many):
    words = " ".join(study_words.doubts(alike))
    assert "no reason to doubt" not in words
    assert "alike by chance" in words and "3 riders analysed, with every listed trial." in words
    assert "that is no reason to doubt" in " ".join(study_words.doubts(many))


def test_enough_riders_above_the_floor_are_told_nothing_of_this(many):
    words = " ".join([*study_words.answer(many), *study_words.doubts(many)])
    for said in ("Not to be relied on", "Few riders", "floor", "alike by chance"):
        assert said not in words
    assert "at most" in floor_exhibits.floor_sentences(many, many.outcomes[0])[0]
    assert "at most" not in " ".join(floor_exhibits.floor_sentences(many, many.outcomes[0])[1:])


def test_an_outcome_without_budgets_has_no_floor(many):
    with pytest.raises(Refusal, match="without a budget"):
        floor_exhibits.effect_floor(many, many.outcomes[-1])


def test_the_result_file_holds_the_floor_beside_the_verdict(alike, tmp_path):
    write_results(alike, str(tmp_path))
    results = json.loads((tmp_path / "results.json").read_text(encoding="utf-8"))
    assert results["interim"] is False
    first, *_ = results["outcomes"]
    found = {row["intensity"]: row for row in first["estimates"]}
    assert set(found) == {*EFFECT_W, "overall"}
    assert found["overall"]["verdict"] == "equivalent"
    assert found["overall"]["verdict_by_larger"] == "undecided"
    assert found["overall"]["measuring_floor"] == pytest.approx(by_hand(alike)[2], rel=1e-9)


def test_a_spread_of_responses_that_collapses_is_not_given_and_its_numbers_have_rows(many):
    # Contrasts of SD 0.1 W on 6 df beside replicates of SD 1 W on 20
    outcome = many.outcomes[0]
    spread = ResponseSpread(0.0, -0.99, 0.9999, 0.01, 1.0, 6, 20, 8, "W")
    individual = replace(individual_exhibits.riders_of(many, outcome), spread=spread)
    words = individual_exhibits.response_sentences(outcome, individual)
    assert "not estimable" in words[0] and "compatible with the data" not in " ".join(words)
    # χ² on 6 df: 1.237 (any table), and 0.1 √(6/1.237) = 0.220
    assert (
        "Neither a difference between riders nor its absence is shown" in words[1]
        and "up to 0.22 W" in words[1]
    )
    assert "not estimable" in individual_exhibits.rider_exhibit(outcome, individual).alt
    table = stated_tests.spread_table(outcome, individual)
    assert table.frame["estimate"].isna().iloc[0] and table.frame["high"].isna().iloc[0]
    said = "".join(f'<p class="said">{escape(line)}</p>' for line in words)
    assert sentences_without_rows(link_numbers(said + table.html())) == []


def test_a_standard_error_on_one_degree_of_freedom():
    # χ² on 1 df: 0.000982 and 5.024 (any table)
    bounds = se_interval(Estimate("x", 1.0, 2.0, 1, "W", 3, "t"))
    assert bounds.low == pytest.approx(2 / 5.024**0.5, rel=1e-4)
    assert bounds.high == pytest.approx(2 / 0.000982**0.5, rel=1e-3)


def test_a_study_of_one_outcome_speaks_of_no_other_and_every_number_has_its_row(alike, monkeypatch):
    settings = alike.study.settings
    alone = settings.model_copy(update={"outcomes": [settings.primary_outcome]})
    trials = alike.trials.assign(
        state=["caution" if trial == "R01-P1-easy" else "used" for trial in alike.trials["trial"]],
        reason=["Few turns." if trial == "R01-P1-easy" else "" for trial in alike.trials["trial"]],
    )
    listed = alike.study.trials
    begun = listed[listed["rider"] != "R03"]  # as if the third were still to ride
    study = replace(alike, study=replace(alike.study, settings=alone, trials=begun))
    study.__dict__["trials"] = trials
    text = page_of("04_study_report.ipynb", monkeypatch, analysis=study)
    assert sentences_without_rows(text, names_with_numbers(alike.study.root)) == []
    assert "No other outcome is declared in study.toml." in text
    words = unescape(re.sub(r"<[^>]+>", "", text))
    for other in (
        "Secondary",
        "These were declared too",
        "gas exchange",
        "Efficiency",
        "cannot be made: got",
    ):
        assert other not in words
    assert "1 of 36 trials behind these numbers is used under caution" in words
    links = links_of(text)
    assert "table-cautions--used-under-caution" in links
    assert "An interim look, before the study's end: 2 of 3 planned riders so far, 2 of them" in words
    assert {"table-progress--planned-riders", "table-progress--riders-so-far"} <= set(links)
    assert {"table-floor_power_W--overall", "table-tests_power_W--standard-error-overall"} <= set(links)
    for line in re.findall(r"<p class=\"said[^>]*>(.)", text):
        assert not line.islower()
