"""Differences of angles that are declared as outcomes, wherever on their circle they lie."""

from __future__ import annotations

from dataclasses import replace

import pytest
from fabricated import fabricate

from analysis_lib.reports.rider.rider_analysis import analyse_rider
from analysis_lib.reports.rider.rider_exhibits import rider_contrasts
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.declared.protocol import Outcome
from analysis_lib.study.synthetic.synthetic import small_study

STEP_DEG = 3.0
"""What the oval ring adds to every angle here."""

PERIODS = [("harmonic_3_deg", 120.0), ("torque_phase_deg", 180.0), ("top_min_torque_deg", 360.0)]


def angle(name: str, source: str = "signals") -> Outcome:
    return Outcome(name=name, label=name, unit="deg", source=source, better="neither", smallest_effect=1.0)


def turned(rows, outcome, starts_deg, period_deg):
    """Give the rows of a quantity angles from each rider's start on, a step further on the oval ring."""
    oval = rows["ring"].to_numpy() == "oval"
    values = (rows["rider"].astype(str).map(starts_deg).astype(float) + STEP_DEG * oval) % period_deg
    return rows.assign(quantity=outcome.name, unit="deg", value=values)


@pytest.mark.parametrize(("name", "period_deg"), PERIODS)
def test_riders_anywhere_on_the_circle_show_the_step(tmp_path, name, period_deg):
    """Eight riders spread over half the period, the first of whom passes its end between the rings."""
    analysis, outcome = fabricate(tmp_path / "study", noise_W=0.0), angle(name)
    starts = {rider: period_deg - 1 + period_deg / 16 * place for place, rider in enumerate(analysis.tables)}
    tables = {
        rider: replace(own, quantities=turned(own.quantities, outcome, starts, period_deg))
        for rider, own in analysis.tables.items()
    }
    study = replace(
        analysis.study, settings=analysis.study.settings.model_copy(update={"outcomes": [outcome]})
    )
    effect = replace(analysis, study=study, tables=tables).effect(outcome)
    assert effect.overall.value == pytest.approx(STEP_DEG, rel=1e-9)
    assert effect.overall.se == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("name", "period_deg"), PERIODS)
def test_a_rider_s_page_shows_the_step_past_the_end_of_the_circle(tmp_path, name, period_deg):
    small_study(tmp_path / "study", riders=1, duration_s=4.0)
    analysis, outcome = analyse_rider(open_study(tmp_path / "study"), "R01"), angle(name)
    settings = analysis.study.settings.model_copy(update={"outcomes": [outcome]})
    here = replace(analysis, study=replace(analysis.study, settings=settings))
    rows = analysis.quantities[analysis.quantities["quantity"] == "power_W"]
    here.__dict__["quantities"] = turned(rows, outcome, {"R01": period_deg - 1}, period_deg)
    frame = rider_contrasts(here)
    assert len(frame) == 3
    assert frame["difference"].to_numpy() == pytest.approx(STEP_DEG, rel=1e-9)
    assert frame[["range_round", "range_oval"]].to_numpy() == pytest.approx(0.0, abs=1e-9)


def test_an_angle_measured_elsewhere_is_one_of_a_whole_circle():
    assert angle("knee_deg", "trials").period_deg == 360.0
    assert angle("knee_deg", "trials").model_copy(update={"unit": "W"}).period_deg is None
