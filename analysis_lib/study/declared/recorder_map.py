"""The lab's recorders as study.toml describes them: kind of file, columns, angle, corrections, uncertainties."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from analysis_lib.signals.recorder import AngleSource, ColumnSource, Kind, MessageColumns, RecorderSettings
from analysis_lib.study.declared.schema import InnerPath, SettingsPart, Word

CanonicalName = Literal[
    "time_s",
    "crank_deg",
    "crank_rate_rad_s",
    "pulse_level",
    "index_level",
    "marker_pedal_forward_m",
    "marker_pedal_up_m",
    "marker_axis_forward_m",
    "marker_axis_up_m",
    "torque_left_Nm",
    "torque_right_Nm",
    "torque_Nm",
    "force_tangential_left_N",
    "force_tangential_right_N",
    "force_radial_left_N",
    "force_radial_right_N",
    "force_fore_aft_left_N",
    "force_fore_aft_right_N",
    "force_vertical_left_N",
    "force_vertical_right_N",
    "temperature_C",
]


class ColumnMap(SettingsPart):
    """Where one canonical column comes from: stored number x scale = value in `unit`."""

    column: Word = Field(description="name of the column in the recording")
    unit: Word = Field(
        description='unit of the column, such as "s", "ms", "deg", "rad", "turn", "N m", "lbf in", "kgf cm", "N", "mm"'
    )
    scale: float = Field(default=1.0, description="factor from the stored number to the unit")


class MessageMap(SettingsPart):
    """The columns of a log of Cycling Power notifications, and how the samples of its messages are placed."""

    time: Word = Field(description="column of the time received, s")
    characteristic: Word = Field(description="column of the characteristic's number, such as 2A64")
    message: Word = Field(description="column of the bytes, hexadecimal")
    channel: Literal["left", "right", "total"] = Field(description="whose torque the messages hold")
    spacing: Literal["even angle"] | None = Field(
        default=None,
        description='"even angle": samples spaced evenly in angle between messages, an assumption',
    )


class SlowTurn(SettingsPart):
    """A recording of one slow turn by hand with a mass on one pedal, chain off: it shows where the angle is zero."""

    file: InnerPath = Field(description="the recording, path inside the study folder")
    channel: Literal["left", "right", "total"] = Field(description="channel that felt the mass")
    mass_on: Literal["left", "right"] = Field(description="pedal that carried the mass")


class RecorderMap(SettingsPart):
    """How one recorder writes its files."""

    kind: Kind = Field(
        description='kind of file: "csv", "parquet", "mat", "c3d" or "notifications" (a CSV log of messages)'
    )
    crank_side: Literal["right", "left"] = Field(description="whose crank the recorded angle belongs to")
    columns: dict[CanonicalName, ColumnMap] = Field(
        default={}, description="canonical name -> column, unit, scale"
    )
    messages: MessageMap | None = Field(
        default=None, description='columns of the log, where kind is "notifications"'
    )
    angle: AngleSource = Field(
        default="encoder",
        description='what the crank angle is made from: "encoder", "pulses", "index", "rate" or "markers"',
    )
    pulses_per_turn: int | None = Field(
        default=None, ge=2, le=100_000, description='evenly spaced pulses a turn, where angle is "pulses"'
    )
    pulse_threshold: float | None = Field(
        default=None, description="level that a pulse passes when it rises, in V, or bare for unit 1"
    )
    angle_offset_deg: float | None = Field(
        default=None, ge=-180, le=180, description="recorded angle at that crank's true top dead centre"
    )
    slow_turns: list[SlowTurn] = Field(default=[], description="slow turns by hand with a mass on one pedal")
    calibration_override: bool = Field(
        default=False, description="true to apply a calibration that changes torque by more than 10 %"
    )
    gravity_m_s2: float | None = Field(
        default=None, ge=9.7, le=9.9, description="local gravity for hung masses; 9.80665 if left out"
    )
    delimiter: str = Field(
        default=",", min_length=1, max_length=1, description="what separates the cells of a CSV"
    )
    decimal: Literal[".", ","] = Field(default=".", description="decimal mark of a CSV")
    full_scale_Nm: float | None = Field(
        default=None, gt=0, description="largest torque the recorder can tell"
    )
    slope_uncertainty_pct: float | None = Field(
        default=None, ge=0, lt=20, description="standard uncertainty of the calibration slope, %"
    )
    slope_per_degC_pct: float | None = Field(
        default=None, ge=0, lt=5, description="largest change of the slope with temperature, % per degree"
    )
    calibrated_at_degC: float | None = Field(
        default=None, gt=-40, lt=70, description="temperature of the recorder when its slope was calibrated"
    )
    angle_zero_uncertainty_deg: float | None = Field(
        default=None,
        ge=0,
        lt=45,
        description="standard uncertainty of where the crank angle is zero, degrees",
    )
    delay_uncertainty_ms: float | None = Field(
        default=None, ge=0, lt=200, description="standard uncertainty of torque's delay behind angle, ms"
    )

    @model_validator(mode="after")
    def _check_as_recorder(self) -> RecorderMap:
        self.recorder_settings()
        return self

    def recorder_settings(self) -> RecorderSettings:
        """Say the same in the words of the signals room, which refuses what it cannot read."""
        sources: dict[str, ColumnSource] = {
            name: ColumnSource(part.column, part.unit, part.scale) for name, part in self.columns.items()
        }
        return RecorderSettings(
            kind=self.kind,
            columns=sources,
            crank_side=self.crank_side,
            delimiter=self.delimiter,
            decimal=self.decimal,
            full_scale_Nm=self.full_scale_Nm,
            angle=self.angle,
            pulses_per_turn=self.pulses_per_turn,
            pulse_threshold=self.pulse_threshold,
            angle_offset_deg=self.angle_offset_deg or 0.0,
            messages=MessageColumns(**self.messages.model_dump()) if self.messages else None,
        )
