"""The lab's equipment as study.toml describes it: rings, drivetrain and recorders."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationInfo, model_validator

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.outlines import ring_from_outline
from analysis_lib.mechanics.ring import Ring
from analysis_lib.refusals import Refusal
from analysis_lib.signals.recording import ColumnSource, RecorderSettings
from analysis_lib.study.ring_outline import read_outline
from analysis_lib.study.schema import InnerPath, SettingsPart, Word, read_path

Role = Literal["round", "oval"]
CanonicalName = Literal[
    "time_s", "crank_deg", "torque_left_Nm", "torque_right_Nm", "torque_Nm", "temperature_C"
]
MountAngle = Annotated[float, Field(ge=0, lt=180)]


class RingSettings(SettingsPart):
    """One chainring, and the part it plays in the comparison.

    A ring of axis ratio 1 is the round one and any other is the oval one, unless `role` says otherwise: a
    second round ring with ``role = "oval"`` makes a round-against-round study, which shows what the method
    alone can do.
    """

    teeth: int = Field(ge=9, description="number of teeth")
    axis_ratio: float = Field(ge=1, lt=2, description="major over minor axis of the pitch curve, 1 = round")
    available_mounts_deg: list[MountAngle] = Field(
        default=[],
        description="mount angles that the holes allow, degrees from the right crank arm to the major axis",
    )
    role: Role = Field(description='"round" or "oval": the part the ring plays in the comparison')
    outline: InnerPath | None = Field(
        default=None, description="file of points on the pitch curve, instead of axis_ratio"
    )
    outline_mm: list[list[float]] = Field(default=[], description="the points of that file")

    @model_validator(mode="before")
    @classmethod
    def _complete(cls, given: Any, info: ValidationInfo) -> Any:
        """Fill in what follows from the rest: axis ratio from an outline, role from the axis ratio."""
        if not isinstance(given, dict):
            return given
        ring = dict(given)
        if isinstance(ring.get("outline"), str) and isinstance(ring.get("teeth"), int):
            if "axis_ratio" in ring:
                raise Refusal(
                    "", "both axis_ratio and outline", "one of them", "keep the one that was measured"
                )
            ring["outline_mm"] = read_outline(
                (info.context or {}).get("root", Path()), read_path(ring["outline"])
            )
            ring["axis_ratio"] = ring_from_outline(ring["outline_mm"], ring["teeth"]).ring.axis_ratio
        if "role" not in ring and "axis_ratio" in ring:
            ring["role"] = "round" if ring["axis_ratio"] == 1 else "oval"
        return ring

    @model_validator(mode="after")
    def _check_role(self) -> RingSettings:
        if self.role == "round" and self.axis_ratio != 1:
            raise Refusal(
                "", f"role round, axis ratio {self.axis_ratio}", "axis ratio 1", "correct one of the two"
            )
        if self.axis_ratio != 1 and not self.available_mounts_deg:
            remedy = "list the angles that the ring's holes allow, such as [60, 75, 90]"
            raise Refusal("", "an oval ring without available_mounts_deg", "at least one mount angle", remedy)
        return self

    def ring(self) -> Ring:
        """Make the ring's pitch curve."""
        if self.outline_mm:
            return ring_from_outline(self.outline_mm, self.teeth).ring
        return Ring.round(self.teeth) if self.axis_ratio == 1 else Ring.ellipse(self.teeth, self.axis_ratio)


class DrivetrainSettings(SettingsPart):
    """What lies behind the ring. The inertia is given once, at the wheel or as the crank feels it."""

    sprocket_teeth: int = Field(ge=9, description="teeth of the rear sprocket")
    chainstay_m: float = Field(ge=0.3, le=0.7, description="crank axis to rear axle, metres")
    chainstay_slope_deg: float = Field(
        default=0.0, gt=-45, lt=45, description="positive where the rear axle is higher than the crank axis"
    )
    wheel_inertia_kgm2: float | None = Field(
        default=None,
        gt=0,
        description="inertia at the wheel: flywheel, or bike and rider mass x wheel radius squared",
    )
    crank_inertial_load_kgm2: float | None = Field(
        default=None,
        gt=0,
        description="the same inertia felt at the crank of the round ring, I (ring/sprocket)^2",
    )

    @model_validator(mode="after")
    def _check_inertia(self) -> DrivetrainSettings:
        given = [self.wheel_inertia_kgm2, self.crank_inertial_load_kgm2]
        if given.count(None) != 1:
            got = "neither inertia" if given.count(None) == 2 else "both inertias"
            wanted = "either wheel_inertia_kgm2 or crank_inertial_load_kgm2"
            remedy = "give the one you know; at the crank 80 to 110 kg m2 on the road, 2 to 100 on ergometers"
            raise Refusal("", got, wanted, remedy)
        return self

    def inertia_at_wheel(self, round_teeth: int) -> float:
        """Give the wheel's inertia in kg m2: as stated, or crank inertial load / (ring/sprocket)^2.

        >>> DrivetrainSettings(
        ...     sprocket_teeth=17, chainstay_m=0.41, crank_inertial_load_kgm2=9.0
        ... ).inertia_at_wheel(51)
        1.0
        """
        if self.crank_inertial_load_kgm2 is not None:
            return self.crank_inertial_load_kgm2 / (round_teeth / self.sprocket_teeth) ** 2
        return float(
            self.wheel_inertia_kgm2 or 0.0
        )  # never 0: _check_inertia saw that one of the two is there

    def drivetrain(self, ring: Ring, mount_deg: float, round_teeth: int) -> Drivetrain:
        """Put a ring into this drivetrain."""
        return Drivetrain(
            ring,
            mount_deg=mount_deg,
            sprocket_teeth=self.sprocket_teeth,
            chainstay_m=self.chainstay_m,
            wheel_inertia_kgm2=self.inertia_at_wheel(round_teeth),
            chainstay_slope_rad=math.radians(self.chainstay_slope_deg),
        )


class ColumnMap(SettingsPart):
    """Where one canonical column comes from: stored number x scale = value in `unit`."""

    column: Word = Field(description="name of the column in the recording")
    unit: Word = Field(
        description='unit of the column, such as "s", "ms", "deg", "rad", "turn", "N m", "mN m"'
    )
    scale: float = Field(default=1.0, description="factor from the stored number to the unit")


class RecorderMap(SettingsPart):
    """How one recorder writes its files."""

    kind: Literal["csv", "parquet"] = Field(description='kind of file, "csv" or "parquet"')
    crank_side: Literal["right", "left"] = Field(description="whose crank the recorded angle belongs to")
    columns: dict[CanonicalName, ColumnMap] = Field(description="canonical name -> column, unit, scale")
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
        )
