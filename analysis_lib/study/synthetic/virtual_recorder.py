"""A virtual recorder: what it makes of a ride, with its zero torque, its noise and its faults."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
import pyarrow as pa
from pyarrow import parquet

from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.study.declared.recorder_map import ColumnMap, RecorderMap
from analysis_lib.study.synthetic.virtual_ride import Ride

Fault = Literal["", "left channel stuck", "left channel saturated"]
STUCK_FROM_S = 20.0
SATURATED_AT_NM = 25.0
NOISE_SD_NM = 0.15

#: Two channels, stored as 32-bit whole milli-units.
TWO_LEG_CRANK = RecorderMap(
    kind="parquet",
    crank_side="right",
    full_scale_Nm=200.0,
    slope_uncertainty_pct=1.0,
    slope_per_degC_pct=0.05,
    calibrated_at_degC=20.0,
    angle_zero_uncertainty_deg=1.0,
    delay_uncertainty_ms=2.0,
    columns={
        "time_s": ColumnMap(column="time_ms", unit="ms"),
        "crank_deg": ColumnMap(column="crank_mdeg", unit="deg", scale=0.001),
        "torque_left_Nm": ColumnMap(column="left_mNm", unit="mN m"),
        "torque_right_Nm": ColumnMap(column="right_mNm", unit="mN m"),
        "temperature_C": ColumnMap(column="temperature_mC", unit="degC", scale=0.001),
    },
)

#: One channel for both legs, as text with semicolons and decimal commas, the angle in radians of the left
#: crank.
SPIDER = RecorderMap(
    kind="csv",
    crank_side="left",
    delimiter=";",
    decimal=",",
    full_scale_Nm=300.0,
    slope_uncertainty_pct=1.0,
    columns={
        "time_s": ColumnMap(column="clock", unit="s"),
        "crank_deg": ColumnMap(column="left_crank", unit="rad"),
        "torque_Nm": ColumnMap(column="torque", unit="N m"),
    },
)


@dataclass(frozen=True)
class ZeroDrift:
    """How a channel's zero torque wanders: with temperature, and with time.

    Attributes
    ----------
    at_20_C_Nm : float
        Zero torque at 20 degrees Celsius when the session starts.
    per_degree_Nm, per_hour_Nm : float
        No dependable published figure for either is known; these are modelling choices.
    """

    at_20_C_Nm: float
    per_degree_Nm: float
    per_hour_Nm: float

    def at(self, hours: FloatArray | float, temperature_C: FloatArray | float) -> FloatArray:
        """Zero torque in N m, `hours` after the session started."""
        warmed = self.per_degree_Nm * (np.asarray(temperature_C) - 20.0)
        return self.at_20_C_Nm + warmed + self.per_hour_Nm * np.asarray(hours)


@dataclass(frozen=True)
class Session:
    """A visit's recorder: its zero torque by channel, and how it warms up.

    Attributes
    ----------
    drift : dict of str to ZeroDrift
        By channel: "left" and "right", or "total".
    start_C, warming_C, time_constant_h : float
        Temperature = start + warming (1 - exp(-hours / time constant)).
    """

    drift: dict[str, ZeroDrift]
    start_C: float
    warming_C: float
    time_constant_h: float = field(default=0.8)

    def temperature_C(self, hours: FloatArray | float) -> FloatArray:
        """Temperature of the recorder, `hours` after the session started."""
        return self.start_C + self.warming_C * (1 - np.exp(-np.asarray(hours) / self.time_constant_h))

    def zero_Nm(self, channel: str, hours: FloatArray | float) -> FloatArray:
        """Zero torque of a channel, `hours` after the session started."""
        return self.drift[channel].at(hours, self.temperature_C(hours))


def draw_session(channels: tuple[str, ...], rng: np.random.Generator) -> Session:
    """Draw a visit's zero torques and warming."""
    drift = {
        channel: ZeroDrift(
            float(rng.normal(0.0, 0.5)), float(rng.normal(0.05, 0.02)), float(rng.normal(0.0, 0.05))
        )
        for channel in channels
    }
    return Session(drift, float(rng.uniform(17.0, 19.0)), float(rng.uniform(3.0, 6.0)))


@dataclass(frozen=True)
class Samples:
    """What a recorder writes: time, right-crank angle, torque by channel, temperature."""

    time_s: FloatArray
    crank_rad: FloatArray
    torque: dict[str, FloatArray]
    temperature_C: FloatArray


def record(
    ride: Ride,
    session: Session,
    hours: float,
    rate_hz: float,
    duration_s: float,
    fault: Fault,
    rng: np.random.Generator,
) -> Samples:
    """Record a ride that starts `hours` after its session did."""
    time, crank, legs = ride.sample(rate_hz, duration_s)
    since = hours + time / 3600
    true = legs if "left" in session.drift else {"total": legs["left"] + legs["right"]}
    torque = {
        channel: values + session.zero_Nm(channel, since) + rng.normal(0.0, NOISE_SD_NM, time.size)
        for channel, values in true.items()
    }
    if fault == "left channel stuck":
        torque["left"][time >= STUCK_FROM_S] = torque["left"][np.searchsorted(time, STUCK_FROM_S)]
    elif fault == "left channel saturated":
        torque["left"] = np.minimum(torque["left"], SATURATED_AT_NM)
    return Samples(time, crank, torque, session.temperature_C(since))


def write_two_leg_crank(path: Path, samples: Samples) -> None:
    """Write a recording of TWO_LEG_CRANK, packed by differences from one sample to the next."""
    columns = {
        "time_ms": samples.time_s * 1e3,
        "crank_mdeg": np.rint(np.degrees(samples.crank_rad) * 1e3) % 360_000,
        "left_mNm": samples.torque["left"] * 1e3,
        "right_mNm": samples.torque["right"] * 1e3,
        "temperature_mC": np.round(samples.temperature_C, 1) * 1e3,
    }
    table = pa.table({name: np.rint(values).astype("int32") for name, values in columns.items()})
    packing = dict.fromkeys(columns, "DELTA_BINARY_PACKED")
    parquet.write_table(
        table, path, compression="zstd", compression_level=15, use_dictionary=False, column_encoding=packing
    )


def write_spider(path: Path, samples: Samples) -> None:
    """Write a recording of SPIDER."""
    left_crank = (samples.crank_rad + np.pi) % (2 * np.pi)
    rows = zip(samples.time_s, left_crank, samples.torque["total"], strict=True)
    lines = [f"{time:.2f};{angle:.4f};{torque:.2f}".replace(".", ",") for time, angle, torque in rows]
    path.write_text("\n".join(["clock;left_crank;torque", *lines, ""]), encoding="utf-8", newline="\n")
