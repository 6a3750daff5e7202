"""A column in another unit or scale than declared: the refusal names the one that fits, and nothing is read with it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.signals.recording import ColumnSource, RecorderSettings, read_recording

TIME_S = np.arange(0, 30, 0.005)
TURNS = 1.5 * TIME_S  # 90 rpm
FULL_TURN = {"deg": 360.0, "rad": 2 * np.pi, "turn": 1.0}


def read(tmp_path, angle, unit="deg", scale=1.0, temperature=None, warm=None, time=1.0, time_unit="s"):
    table = pd.DataFrame({"t": TIME_S * time, "angle": angle, "total": 20 + 10 * np.cos(4 * np.pi * TURNS)})
    columns = {
        "time_s": ColumnSource("t", time_unit),
        "crank_deg": ColumnSource("angle", unit, scale),
        "torque_Nm": ColumnSource("total", "N m"),
    }
    if temperature is not None:
        table["warm"] = temperature
        columns["temperature_C"] = warm or ColumnSource("warm", "degC")
    table.to_parquet(tmp_path / "ride.parquet")
    return read_recording(tmp_path / "ride.parquet", RecorderSettings("parquet", columns))


def remedy(tmp_path, *given, **more):
    with pytest.raises(Refusal) as caught:
        read(tmp_path, *given, **more)
    assert caught.value.scope == "trial"
    return caught.value.remedy


@pytest.mark.parametrize(
    ("unit", "scale"), [("deg", 0.1), ("deg", 0.001), ("rad", 0.001), ("turn", 0.001), ("turn", 1e-4)]
)
@pytest.mark.parametrize("declared", ["deg", "rad", "turn"])
def test_an_angle_stored_in_parts_of_a_unit(tmp_path, unit, scale, declared):
    stored = TURNS % 1 * FULL_TURN[unit] / scale
    assert remedy(tmp_path, stored, declared).endswith(f'; they fit unit = "{unit}" with scale = {scale:g}')


@pytest.mark.parametrize(
    ("stored", "declared"), [("rad", "deg"), ("turn", "deg"), ("deg", "turn"), ("deg", "rad")]
)
def test_an_angle_in_another_unit(tmp_path, stored, declared):
    assert remedy(tmp_path, TURNS % 1 * FULL_TURN[stored], declared).endswith(f'; they fit unit = "{stored}"')


def test_a_scale_that_was_declared_in_vain(tmp_path):
    with pytest.raises(Refusal, match=r"declared in 'deg' with scale = 0\.001") as caught:
        read(tmp_path, TURNS % 1 * 360, scale=0.001)
    assert caught.value.remedy.endswith('; they fit unit = "deg" with scale = 1')


def test_an_angle_that_fits_nothing_is_given_no_hint(tmp_path):
    assert "they fit" not in remedy(tmp_path, TURNS % 1 * 4096)  # counts of an encoder


@pytest.mark.parametrize(("time", "time_unit", "rpm"), [(1.0, "ms", "90000"), (1000.0, "s", "0.09")])
def test_time_in_another_unit_is_told_where_the_angle_shows_its_own(tmp_path, time, time_unit, rpm):
    """90 rpm, 1000 times too fast or too slowly; an angle that falls by 360 degrees is in degrees."""
    with pytest.raises(Refusal, match=r"ride\.parquet, time beside the crank angle") as caught:
        read(tmp_path, TURNS % 1 * 360, time=time, time_unit=time_unit)
    assert caught.value.got == f"a mean cadence of {rpm} rpm"
    assert "look at the unit of time_s (seconds declared as ms" in caught.value.remedy
    assert "'deg', 'rad' or 'turn'" not in caught.value.remedy


def test_time_in_another_unit_is_one_cause_of_two_where_the_angle_never_falls(tmp_path):
    said = remedy(tmp_path, TURNS * 360, time_unit="ms")
    assert "declare 'deg', 'rad' or 'turn'" in said and "; or look at the unit of time_s" in said
    assert "time_s" not in remedy(tmp_path, TURNS * 360, "turn")  # 32 400 rpm in 360 times too large a unit


@pytest.mark.parametrize(("stored", "scale"), [(20_123.0, "0.001"), (203.0, "0.1"), (2034.0, "0.01")])
def test_a_temperature_in_parts_of_a_degree(tmp_path, stored, scale):
    said = remedy(tmp_path, TURNS % 1 * 360, temperature=stored)
    assert f"°C with scale = {scale};" in said


def test_a_scale_declared_already_counts(tmp_path):
    said = remedy(tmp_path, TURNS % 1 * 360, temperature=20_123.0, warm=ColumnSource("warm", "degC", 0.1))
    assert "2012.3 would be 20.1 °C with scale = 0.001;" in said


def test_a_temperature_that_nothing_makes_one(tmp_path):
    assert "would be" not in remedy(tmp_path, TURNS % 1 * 360, temperature=-273.15)


def test_a_temperature_read_now_and_then_runs_along_straight_lines(tmp_path):
    """Once a second, rising by half a degree in each."""
    now_and_then = np.where(np.arange(TIME_S.size) % 200 == 0, 20 + TIME_S / 2, np.nan)
    found = read(tmp_path, TURNS % 1 * 360, temperature=now_and_then)
    until = TIME_S <= 29
    np.testing.assert_allclose(found.temperature_C[until], 20 + TIME_S[until] / 2)
    assert "Temperature was read at 30 of 6000 samples" in " ".join(found.assumptions)
    assert np.isfinite(found.temperature_C).all()


def test_an_empty_temperature_is_none_and_said(tmp_path):
    found = read(tmp_path, TURNS % 1 * 360, temperature=np.nan)
    assert found.temperature_C is None
    assert "The column of temperature is empty; the recording counts as one without." in found.assumptions
