"""Torque phases by ring and intensity, from tables in which every axis is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from fabricated import fabricate

from analysis_lib.refusals import Refusal
from analysis_lib.reports.study import axis_exhibits

START_DEG = {"easy": 175.0, "steady": 178.0, "hard": 181.0}


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """Riders push around 175°, 178° and 181° on the round ring; the oval ring turns that by 4° over the axis' end."""
    whole = fabricate(tmp_path_factory.mktemp("axes") / "study")
    rng = np.random.default_rng(6)
    tables = {}
    for rider, own in whole.tables.items():
        level = rng.normal(0, 3)
        rows = own.quantities
        axis = rows["intensity"].map(START_DEG) + 4.0 * (rows["ring"] == "oval") + level
        axis = (axis + rng.normal(0, 0.3, len(rows))) % 180
        phases = rows.assign(quantity="torque_phase_deg", unit="deg", value=axis)
        tables[rider] = replace(own, quantities=pd.concat([rows, phases], ignore_index=True))
    return replace(whole, tables=tables)


def test_the_oval_ring_turns_the_axis_by_four_degrees(study):
    frame = axis_exhibits.axis_table(study).frame
    assert frame["intensity"].tolist() == list(START_DEG)
    assert frame["turned_deg"].to_numpy() == pytest.approx([4.0] * 3, abs=0.4)
    assert ((frame["low_deg"] < 4.3) & (frame["high_deg"] > 3.7)).all()
    assert (frame["high_deg"] - frame["low_deg"] < 1.5).all()
    assert (frame["p"] < 0.001).all() and (frame["gather_p"] < 0.01).all()
    # 175° and 181° = 1° are neighbours
    distance = (frame["round_deg"] - [175, 178, 181] + 90) % 180 - 90
    assert distance.abs().max() < 5


def test_the_axis_turns_with_intensity(study):
    sentence = axis_exhibits.intensity_sentence(study)
    turned = float(sentence.split("turns by ")[1].split("°")[0])
    assert turned == pytest.approx(6.0, abs=0.5)
    assert "r = 0.9" in sentence or "r = 1.0" in sentence


def test_studies_without_phases_say_so(study, tmp_path):
    without = fabricate(tmp_path / "without")
    for show in (axis_exhibits.axis_table, axis_exhibits.intensity_sentence):
        with pytest.raises(Refusal, match="torque phases"):
            show(without)
    riders = dict(list(study.tables.items())[:2])
    few = replace(study, tables=riders)
    with pytest.raises(Refusal, match="three riders"):
        axis_exhibits.axis_table(few)
