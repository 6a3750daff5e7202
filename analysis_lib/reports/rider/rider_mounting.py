"""The mounting of one rider: every criterion for the study's oval ring, from the rider's own stroke."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.mount_criteria import ANY, ONE, UNDECIDED, MountCriteria, compare_mounts
from analysis_lib.mechanics.mounting import MountAdvice, advise_mount
from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider.stroke_draws import StrokeDraws
from analysis_lib.study.declared.settings import StudySettings

DISAGREE = "the criteria disagree"


@dataclass(frozen=True)
class MountVerdict:
    """What the criteria say together.

    Attributes
    ----------
    verdict : str
        "any of these", "this one", "not enough turns" or "the criteria disagree".
    mounts_deg : list of float
        The available mounts that will do by every criterion that decides.
    undecided : list of str
        The criteria that the turns do not decide.
    """

    verdict: str
    mounts_deg: list[float]
    undecided: list[str]


@dataclass(frozen=True)
class RiderMounting:
    """Where the oval ring could sit for one rider.

    Attributes
    ----------
    settings : StudySettings
    stroke : StrokeDraws
    """

    settings: StudySettings
    stroke: StrokeDraws

    @property
    def available_mounts_deg(self) -> list[float]:
        """The mount angles that the oval ring's holes allow."""
        oval = self.settings.ring_in_role("oval")
        mounts = self.settings.rings[oval].available_mounts_deg
        if not mounts:
            raise Refusal(
                f"ring {oval} in study.toml",
                "no available_mounts_deg",
                "the mount angles that its holes allow",
                "list them in degrees, crank to major axis",
            )
        return mounts

    @property
    def drivetrain(self) -> Drivetrain:
        """The study's drivetrain with the oval ring, at the first of its mounts."""
        oval = self.settings.ring_in_role("oval")
        return self.settings.drivetrain_for(oval, self.available_mounts_deg[0])

    @cached_property
    def advice(self) -> MountAdvice:
        """Where the largest arm would meet the torque phase, as an angle."""
        return advise_mount(self.drivetrain, self.stroke.phases_deg(), self.available_mounts_deg)

    @cached_property
    def criteria(self) -> MountCriteria:
        """Every criterion over mount angle, all intensities alike."""
        return compare_mounts(
            self.drivetrain, self.stroke.torque_Nm, self.stroke.cadence_rpm, self.available_mounts_deg
        )

    @cached_property
    def verdict(self) -> MountVerdict:
        """The criteria taken together; one that does not decide does not count."""
        rows = self.criteria.verdicts
        undecided = rows.loc[rows["verdict"] == UNDECIDED, "criterion"].tolist()
        decided = rows[rows["verdict"] != UNDECIDED]
        if decided.empty:
            return MountVerdict(UNDECIDED, [], undecided)
        common = set.intersection(*(set(mounts) for mounts in decided["mounts_deg"]))
        if not common:
            return MountVerdict(DISAGREE, [], undecided)
        return MountVerdict(ONE if len(common) == 1 else ANY, sorted(common), undecided)
