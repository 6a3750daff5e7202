"""A row of each table of a study folder, cell by cell.

One model a table: it checks the cells, gives the data frame its types, and describes the columns in
datapackage.json.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, model_validator
from pydantic.fields import FieldInfo

from analysis_lib.refusals import Refusal
from analysis_lib.study.declared.schema import (
    AsNumber,
    Count,
    DateTime,
    Id,
    InnerPath,
    Number,
    TableRow,
    Word,
    YesOrNo,
    check_count,
)

ColumnType = Literal["string", "integer", "number", "boolean", "datetime"]

UNREAD = "unread_cells"
"""Column of trials as read: those of a row's outcomes whose cells are at fault, parted by blanks; taken as not known."""

BESIDE_COLUMNS = (UNREAD, "row")
"""Columns of tables as read that do not stand in the files."""


def _unit(unit: str) -> dict[str, Any]:
    return {"unit": unit}


class RiderRow(TableRow):
    """One rider, under a pseudonym."""

    rider: Id = Field(description="pseudonym: a letter, then letters, digits, _ or -, 32 at most")
    # Optional here, so that a rider without a sequence stays in the table; consistency.py asks for it.
    sequence: Word | None = Field(
        description="sequence the rider was randomised to, as named in study.toml",
        json_schema_extra={"asked_for_later": True},
    )
    mass_kg: Annotated[float, Field(gt=20, lt=250, allow_inf_nan=False), AsNumber] | None = Field(
        description="body mass", json_schema_extra=_unit("kg")
    )
    crank_length_mm: Annotated[float, Field(gt=80, lt=250, allow_inf_nan=False), AsNumber] | None = Field(
        description="crank axis to pedal axis", json_schema_extra=_unit("mm")
    )


class TrialRow(TableRow):
    """One trial: one rider on one ring at one intensity."""

    trial: Id = Field(description="name of the trial, each once")
    rider: Id = Field(description="pseudonym from riders.csv")
    visit: Annotated[int, Field(ge=1), AfterValidator(check_count)] | None = Field(
        description="visit to the laboratory, from 1"
    )
    period: Count = Field(ge=1, description="period of the rider's sequence, from 1")
    ring: Word = Field(description="ring ridden, as named in study.toml")
    mount_deg: Annotated[float, Field(ge=0, lt=360, allow_inf_nan=False), AsNumber] | None = Field(
        description="right crank arm to the ring's major axis, in the pedalling direction; empty if round",
        json_schema_extra=_unit("deg"),
    )
    intensity: Word = Field(description="intensity, as named in study.toml")
    environment: str | None = Field(description="where it was ridden, such as ergometer or road")
    recorder: Word | None = Field(description="recorder that wrote the file, as named in study.toml")
    file: InnerPath | None = Field(description="recording of the trial, path inside the study folder")
    started_at: DateTime | None = Field(
        description="date and time at which the trial starts, the lab's clock"
    )
    start_s: Annotated[float, Field(ge=0, allow_inf_nan=False), AsNumber] | None = Field(
        description="start of the part to analyse, in the recording's own time; empty for its first sample",
        json_schema_extra=_unit("s"),
    )
    end_s: Annotated[float, Field(gt=0, allow_inf_nan=False), AsNumber] | None = Field(
        description="end of the part to analyse, in the recording's own time; empty for its last sample",
        json_schema_extra=_unit("s"),
    )
    exclude: YesOrNo = Field(description="yes to leave the trial out, by a rule stated beforehand")
    exclude_reason: str | None = Field(description="the rule; needed where exclude is yes")

    @model_validator(mode="after")
    def _check_window(self) -> TrialRow:
        if self.end_s is not None and self.end_s <= (self.start_s or 0.0):
            got = f"{self.start_s or 0.0} to {self.end_s}"
            raise Refusal("start_s to end_s", got, "an end after the start", "correct one of the two")
        return self


_ForceZero = Number | None


def _force_zero(direction: str, leg: str) -> Any:
    return Field(
        default=None,
        description=f"{direction} force shown by the unloaded {leg} pedal",
        json_schema_extra={**_unit("N"), "may_be_left_out": True},
    )


class ZeroCheckRow(TableRow):
    """One look at the recorder without load: what it shows then is its zero torque."""

    recorder: Word = Field(description="recorder, as named in study.toml")
    checked_at: DateTime = Field(description="date and time of the check, the lab's clock")
    temperature_C: Annotated[float, Field(gt=-40, lt=70, allow_inf_nan=False), AsNumber] | None = Field(
        description="temperature of the recorder", json_schema_extra=_unit("degC")
    )
    zero_left_Nm: Number | None = Field(
        description="torque shown by the unloaded left channel", json_schema_extra=_unit("N m")
    )
    zero_right_Nm: Number | None = Field(
        description="torque shown by the unloaded right channel", json_schema_extra=_unit("N m")
    )
    zero_total_Nm: Number | None = Field(
        description="torque shown by an unloaded recorder of the total", json_schema_extra=_unit("N m")
    )
    note: str | None = Field(description="anything worth remembering")
    zero_force_tangential_left_N: _ForceZero = _force_zero("tangential", "left")
    zero_force_tangential_right_N: _ForceZero = _force_zero("tangential", "right")
    zero_force_radial_left_N: _ForceZero = _force_zero("radial", "left")
    zero_force_radial_right_N: _ForceZero = _force_zero("radial", "right")
    zero_force_fore_aft_left_N: _ForceZero = _force_zero("fore-aft", "left")
    zero_force_fore_aft_right_N: _ForceZero = _force_zero("fore-aft", "right")
    zero_force_vertical_left_N: _ForceZero = _force_zero("vertical", "left")
    zero_force_vertical_right_N: _ForceZero = _force_zero("vertical", "right")


class CalibrationRow(TableRow):
    """One load of a static calibration, in the order in which the loads were applied."""

    recorder: Word = Field(description="recorder, as named in study.toml")
    calibrated_at: DateTime = Field(
        description="date and time of the calibration, the same for all its loads"
    )
    channel: Literal["left", "right", "total"] = Field(description="channel that felt the load")
    crank_deg: Annotated[float, Field(ge=-360, le=360, allow_inf_nan=False), AsNumber] = Field(
        description="angle of the loaded crank from its top dead centre, 90 = level and forward",
        json_schema_extra=_unit("deg"),
    )
    mass_kg: Annotated[float, Field(ge=0, le=250, allow_inf_nan=False), AsNumber] = Field(
        description="mass hung from the pedal spindle, 0 for none", json_schema_extra=_unit("kg")
    )
    arm_mm: Annotated[float, Field(gt=50, lt=1000, allow_inf_nan=False), AsNumber] = Field(
        description="crank axis to the line of the mass's hanger on a level crank",
        json_schema_extra=_unit("mm"),
    )
    reading_Nm: Number = Field(description="torque shown under the load", json_schema_extra=_unit("N m"))
    note: str | None = Field(description="anything worth remembering")
    temperature_C: Annotated[float, Field(gt=-40, lt=70, allow_inf_nan=False), AsNumber] | None = Field(
        default=None,
        description="temperature of the recorder",
        json_schema_extra={**_unit("degC"), "may_be_left_out": True},
    )


def _may_be_left_out(field: FieldInfo) -> bool:
    extra = field.json_schema_extra
    return isinstance(extra, dict) and bool(extra.get("may_be_left_out"))


@dataclass(frozen=True)
class TableKind:
    """A table of the study folder: its file, its row model, and how to say whose row it is."""

    file: str
    row: type[TableRow]
    trial_column: str = ""
    rider_column: str = ""
    recorder_column: str = ""
    moment_column: str = ""
    keeps_faulty_rows: bool = False

    @property
    def columns(self) -> list[str]:
        """The columns that the file must have."""
        return [name for name, field in self.row.model_fields.items() if not _may_be_left_out(field)]

    @property
    def known_columns(self) -> list[str]:
        """The columns that the file must or may have."""
        return list(self.row.model_fields)

    def column_schema(self, column: str) -> dict[str, Any]:
        """Describe a column as JSON Schema does, without the choice of an empty cell."""
        described = dict(_described(self.row)[column])
        described.pop("may_be_left_out", None)
        described.pop("default", None)
        choices = [choice for choice in described.pop("anyOf", []) if choice.get("type") != "null"]
        return {**described, **(choices[0] if choices else {})}

    def may_be_empty(self, column: str) -> bool:
        """Whether an empty cell is a value that the column allows."""
        described = _described(self.row)[column]
        is_optional = any(choice.get("type") == "null" for choice in described.get("anyOf", []))
        is_optional &= not described.get("asked_for_later", False)
        return is_optional or self.column_type(column) == "boolean"

    def column_type(self, column: str) -> ColumnType:
        """Name the type of a column's values."""
        described = self.column_schema(column)
        return "datetime" if described.get("format") == "date-time" else described["type"]


@cache
def _described(row: type[TableRow]) -> dict[str, dict[str, Any]]:
    """Return what JSON Schema says of every column of a row model; made once, because it takes a while."""
    return row.model_json_schema()["properties"]


#: A rider with a bad cell stays in the table, the cell being absent: he has a page, which says so.
RIDERS = TableKind("riders.csv", RiderRow, rider_column="rider", keeps_faulty_rows=True)
TRIALS = TableKind("trials.csv", TrialRow, trial_column="trial", rider_column="rider")
ZERO_CHECKS = TableKind(
    "zero_checks.csv", ZeroCheckRow, recorder_column="recorder", moment_column="checked_at"
)
#: The one table that a folder need not have.
CALIBRATIONS = TableKind(
    "calibrations.csv", CalibrationRow, recorder_column="recorder", moment_column="calibrated_at"
)
