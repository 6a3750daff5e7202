"""The lab's rings and drivetrain as study.toml describes them."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationInfo, model_validator

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.outlines import ring_from_outline
from analysis_lib.mechanics.ring import Ring
from analysis_lib.refusals import Refusal
from analysis_lib.study.declared.problems import listed
from analysis_lib.study.declared.ring_outline import read_outline
from analysis_lib.study.declared.schema import InnerPath, SettingsPart, read_inner_path

Role = Literal["round", "oval"]
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
    mount_deg: MountAngle | None = Field(
        default=None,
        description="the one mount angle at which this entry is ridden; another mount of the ring is another entry",
    )
    role: Role = Field(description='"round" or "oval": the part the ring plays in the comparison')
    outline: InnerPath | None = Field(
        default=None, description="file of points on the pitch curve, instead of axis_ratio"
    )
    outline_mm: list[list[float]] = Field(default=[], description="the points of that file")

    @model_validator(mode="before")
    @classmethod
    def _complete(cls, given: Any, info: ValidationInfo) -> Any:
        """Fill in what follows from the rest: axis ratio from an outline, role from it, holes from a fixed mount."""
        if not isinstance(given, dict):
            return given
        ring = dict(given)
        if isinstance(ring.get("outline"), str) and isinstance(ring.get("teeth"), int):
            if "axis_ratio" in ring:
                raise Refusal(
                    "", "both axis_ratio and outline", "one of them", "keep the one that was measured"
                )
            ring["outline_mm"] = read_outline(
                (info.context or {}).get("root", Path()), read_inner_path(ring["outline"], info)
            )
            ring["axis_ratio"] = ring_from_outline(ring["outline_mm"], ring["teeth"]).ring.axis_ratio
        if "role" not in ring and "axis_ratio" in ring:
            ring["role"] = "round" if ring["axis_ratio"] == 1 else "oval"
        if ring.get("mount_deg") is not None and not ring.get("available_mounts_deg"):
            ring["available_mounts_deg"] = [ring["mount_deg"]]
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
        self._check_mount()
        return self

    def _check_mount(self) -> None:
        if self.mount_deg is None:
            return
        if self.axis_ratio == 1:
            got, wanted = f"mount_deg {self.mount_deg:g} of a round ring", "a mount of an oval ring"
            raise Refusal("", got, wanted, "take it out: a round ring has no major axis")
        if self.mount_deg not in self.available_mounts_deg:
            wanted = (
                f"one of available_mounts_deg: {listed(f'{angle:g}' for angle in self.available_mounts_deg)}"
            )
            raise Refusal("", f"mount_deg {self.mount_deg:g}", wanted, "correct one of the two")

    @property
    def ridden_mounts_deg(self) -> list[float]:
        """The mounts that trials may state: the fixed one, else all that the holes allow."""
        return self.available_mounts_deg if self.mount_deg is None else [self.mount_deg]

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
    inertia_uncertainty_pct: float | None = Field(
        default=None, ge=0, le=100, description="standard uncertainty of that inertia, % of it"
    )
    mount_uncertainty_deg: float | None = Field(
        default=None, ge=0, le=20, description="standard uncertainty of the mount angle, degrees"
    )
    torque_lost_pct_per_rpm: float | None = Field(
        default=None,
        ge=0,
        le=5,
        description="torque that riders lose per rpm more, % of the torque; absent: as in maximal cycling, 0.6 at 90 rpm",
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
        # Never 0: _check_inertia saw that one of the two is there.
        return float(self.wheel_inertia_kgm2 or 0.0)

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
