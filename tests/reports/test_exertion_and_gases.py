"""What the study's page says of efforts that were set or free, and of gases that do not tell the energy."""

from __future__ import annotations

import math
from dataclasses import replace

import pandas as pd
import pytest
from fabricated import EFFECT_W, LEVEL_W, fabricate

from analysis_lib.refusals import Refusal
from analysis_lib.reports.study import gas_exhibits, study_words
from analysis_lib.reports.study.exertion_exhibits import exertion_cautions, exertion_table
from analysis_lib.reports.study.gas_exhibits import (
    HAVE,
    gas_sentences,
    gas_table,
    gas_tables,
    repeatability_table,
)
from analysis_lib.study.declared.protocol import Metabolism, Outcome
from analysis_lib.study.tables.derived_outcomes import derive, why_refused


@pytest.fixture(scope="module")
def analysis(tmp_path_factory):
    """Four riders, 157, 209 and 272 W on the round ring in the mean, 1, 3 and 5 W more on the oval; no noise, no drift
    beyond the periods' own, which mirrored sequences share out alike."""
    return fabricate(tmp_path_factory.mktemp("effort") / "study", riders=4, noise_W=0.0)


def asking(analysis, **targets_W: float):
    """The same study, had power been set at some intensities."""
    settings = analysis.study.settings
    asked = [
        part.model_copy(update={"target_power_W": targets_W.get(part.name)}) for part in settings.intensities
    ]
    return replace(
        analysis, study=replace(analysis.study, settings=settings.model_copy(update={"intensities": asked}))
    )


def test_power_on_each_ring_stands_beside_what_was_asked_for(analysis):
    # Riders have 1, 1.03, 1.06 and 1.09 times the level; periods add 0, 2, 1, 4 W, 1.75 W a rider and two rings.
    mean = LEVEL_W["steady"] * 1.045
    frame = exertion_table(asking(analysis, steady=200.0)).frame.set_index(["intensity", "ring"])
    both = frame.loc["steady", "power_W"]
    assert both["oval"] - both["round"] == pytest.approx(EFFECT_W["steady"])
    assert both.mean() == pytest.approx(mean + 1.75 + EFFECT_W["steady"] / 2)
    off = frame.loc[("steady", "round"), "power_W_off_pct"]
    assert off == pytest.approx(100 * (both["round"] / 200 - 1))
    assert math.isnan(frame.loc[("easy", "round"), "power_W_off_pct"])
    assert list(frame.index[:2]) == [("easy", "round"), ("easy", "oval")]


def test_the_caption_names_what_stands_beside_and_nothing_else(analysis):
    asked = exertion_table(asking(analysis, steady=200.0))
    assert "the power that study.toml says was asked for" in asked.caption and "cadence" not in asked.caption
    assert "target_power_W" in asked.frame and "target_cadence_rpm" not in asked.frame
    free = exertion_table(analysis)
    assert "sets no target of power or cadence" in free.caption and "Beside it" not in free.caption
    assert not [name for name in free.frame if "target" in name or "off" in name]


def test_a_free_power_and_a_missed_target_are_cautions(analysis):
    free, unrated = exertion_cautions(analysis)
    assert "No power was set at Easy (RPE 11), Steady (RPE 13), Hard (RPE 16)" in free
    assert "no effect of the ring at equal power" in free
    assert "is no outcome" in unrated or "not known" in unrated
    met, missed, rest, _ = exertion_cautions(asking(analysis, easy=158.75, steady=190.0))
    assert (
        met.startswith("At Easy (RPE 11) 158.75 W were asked for and ridden:") or "158.8 W were asked" in met
    )
    assert "how well it was held and not what the ring does" in met
    assert "190 W were asked for and not met" in missed and "carries that with it" in missed
    assert "No power was set at Hard (RPE 16):" in rest


def test_a_study_without_any_power_is_refused(analysis):
    empty = replace(analysis)
    empty.__dict__["quantities"] = analysis.quantities.iloc[:0]
    with pytest.raises(Refusal, match="power, cadence and exertion"):
        exertion_table(empty)


EFFICIENCY = Outcome(
    name="gross_efficiency_pct",
    label="Gross efficiency",
    unit="%",
    source="derived",
    better="higher",
    smallest_effect=0.6,
    intensities=("easy", "steady"),
)
NOTES = {
    "easy": "",
    "steady": "",
    "hard": "oxygen uptake of two minutes – got 1 and 2 L/min – wanted less – wait",
}


@pytest.fixture(scope="module")
def breathing(analysis):
    """Gross efficiency of 20 % on the round ring and 20.3 % on the oval, refused at hard.

    Two riders have 0.1 more in periods 1 and 2, the other two in periods 3 and 4.
    """
    settings = analysis.study.settings
    declared = settings.model_copy(
        update={
            "outcomes": [*settings.outcomes, EFFICIENCY],
            "metabolism": Metabolism(equation="brockway", steady_change_pct=5.0),
        }
    )
    found = replace(analysis, study=replace(analysis.study, settings=declared))
    power = analysis.quantities[analysis.quantities["quantity"] == "power_W"]
    early = (power["period"] < 3) == power["rider"].isin(["R01", "R02"])
    rows = power.assign(
        quantity="gross_efficiency_pct",
        unit="%",
        value=(20.0 + 0.3 * (power["ring"] == "oval") + 0.1 * early).where(power["intensity"] != "hard"),
        note=power["intensity"].map(NOTES),
    )
    found.__dict__["quantities"] = pd.concat([analysis.quantities, rows], ignore_index=True)
    return found


def declaring(analysis, **efficiency):
    """The same study with gross efficiency declared otherwise."""
    settings = analysis.study.settings
    others = [part for part in settings.outcomes if part.name != EFFICIENCY.name]
    outcomes = [*others, EFFICIENCY.model_copy(update=efficiency)]
    changed = replace(
        analysis,
        study=replace(analysis.study, settings=settings.model_copy(update={"outcomes": outcomes})),
    )
    changed.__dict__["quantities"] = analysis.quantities
    return changed


def test_refused_gases_are_counted_by_intensity_ring_and_reason(breathing):
    everywhere = declaring(breathing, intensities=None)
    frame = gas_table(everywhere).frame.set_index(["intensity", "ring"])
    assert list(frame.index) == [(name, ring) for name in LEVEL_W for ring in ("round", "oval")]
    assert frame["trials"].tolist() == [8] * 6
    assert frame[HAVE].tolist() == [8, 8, 8, 8, 0, 0]
    assert frame["no steady state"].tolist() == [0, 0, 0, 0, 8, 8]
    said = " ".join(gas_sentences(everywhere))
    assert "16 of 48 trials at these intensities have no value" in said
    assert "at Easy (RPE 11), Steady (RPE 13), Hard (RPE 16)." in said


def test_gases_are_counted_where_the_outcome_wants_them_alone(breathing):
    frame = gas_table(breathing).frame
    assert set(frame["intensity"]) == {"easy", "steady"} and frame["trials"].sum() == frame[HAVE].sum() == 32
    said = " ".join(gas_sentences(breathing)[1:])
    assert said.startswith("Every trial at these intensities has a value")
    assert said.endswith("Gross efficiency at Easy (RPE 11), Steady (RPE 13).")


def test_an_outcome_is_analysed_at_the_intensities_that_it_declares(breathing):
    effect = breathing.effect(EFFICIENCY)
    assert effect.intensities == ["easy", "steady"]
    assert effect.overall.value == pytest.approx(0.3)
    assert effect.overall.n == 4


def test_an_intensity_at_which_nobody_has_a_value_is_left_out_and_said(breathing):
    everywhere = EFFICIENCY.model_copy(update={"intensities": None})
    assert breathing.without_value(everywhere) == ["hard"] and breathing.without_value(EFFICIENCY) == []
    effect = breathing.effect(everywhere)
    assert effect.intensities == ["easy", "steady"]
    said = " ".join(study_words.effect_sentences(breathing, everywhere, effect))
    assert (
        "No rider has a value of Gross efficiency at Hard (RPE 16): overall is over Easy (RPE 11), Steady"
        in said
    )
    assert "No rider has" not in " ".join(study_words.effect_sentences(breathing, EFFICIENCY, effect))


def test_the_published_spread_stands_beside_ones_own(breathing):
    row = repeatability_table(breathing).frame.iloc[0]
    # Moseley & Jeukendrup 2001, as published_repeatability quotes it: 4.2 % within riders, here of a mean of 20.2 %.
    assert row["published_pct"] == 4.2
    assert row["published_sd"] == pytest.approx(0.042 * 20.2)
    # 16 values 0.05 from their rider's mean on the ring; 8 such means and 2 differences of periods leave 6 df.
    assert row["typical_error"] == pytest.approx(math.sqrt(16 * 0.05**2 / 6))


def test_a_study_without_gas_exchange_says_nothing_of_it(analysis):
    assert gas_sentences(analysis) == [] and gas_tables(analysis) == []
    only_delta = EFFICIENCY.model_copy(update={"name": "delta_efficiency_pct"})
    settings = analysis.study.settings.model_copy(update={"outcomes": [only_delta]})
    with pytest.raises(Refusal, match="trial by trial"):
        gas_exhibits.gas_table(replace(analysis, study=replace(analysis.study, settings=settings)))


@pytest.mark.parametrize(
    ("gases", "power", "reason"),
    [
        ((3.0, 3.1, 3.0, 3.0), 200.0, "exchange ratio above"),
        ((3.0, 2.0, 3.0, 3.0), 200.0, "exchange ratio below"),
        ((3.0, 2.7, 2.8, 3.2), 200.0, "no steady state"),
        ((math.nan, 2.7, 3.0, 3.0), 200.0, "gases missing"),
        ((3.0, 2.7, 3.0, 3.0), math.nan, "no power from the recording"),
        ((3.0, 2.7, 3.0, 3.0), 5000.0, "other"),
    ],
)
def test_reasons_are_read_off_what_was_refused(gases, power, reason):
    names = ("vo2_L_min", "vco2_L_min", "vo2_minute_1_L_min", "vo2_minute_2_L_min")
    trial = pd.Series(dict(zip(names, gases, strict=True)))
    rules = Metabolism(equation="brockway", steady_change_pct=5.0)
    assert why_refused(derive("gross_efficiency_pct", trial, power, "", rules).note) == reason
