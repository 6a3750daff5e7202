"""The mounting of one rider: every criterion for the study's oval ring, from the rider's own stroke."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.mount_criteria import ANY, ONE, UNDECIDED, MountCriteria, compare_mounts
from analysis_lib.mechanics.mounting import MountAdvice, advise_mount
from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider.mount_angle import AngleErrors
from analysis_lib.reports.rider.stroke_draws import StrokeDraws
from analysis_lib.statistics.estimates import show_number
from analysis_lib.study.declared.settings import StudySettings

DISAGREE = "the criteria disagree"


@dataclass(frozen=True)
class MountVerdict:
    """What the criteria say together.

    Attributes
    ----------
    verdict : str
        "any of these", "this one", "not decided" or "the criteria disagree".
    mounts_deg : list of float
        The available mounts that will do by every criterion that decides.
    undecided : list of str
        The criteria that the recordings do not decide.
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
        As recorded.
    angle : AngleErrors
        Of the crank angle that it was recorded against: every angle and loss here has them taken from its draws.
    """

    settings: StudySettings
    stroke: StrokeDraws
    angle: AngleErrors = field(default_factory=AngleErrors)

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
        phases = self.angle.taken_from(self.stroke.phases_deg())
        return advise_mount(
            self.drivetrain, phases, self.available_mounts_deg, holds=self._holds(), lacks=self._lacks()
        )

    @cached_property
    def criteria(self) -> MountCriteria:
        """Every criterion over mount angle, all intensities alike."""
        turns = self.angle.turned_back(self.stroke.torque_Nm)
        return compare_mounts(self.drivetrain, turns, self.stroke.cadence_rpm, self.available_mounts_deg)

    def sentences(self) -> list[str]:
        """Say what the spread of the draws holds, repeat first and then the crank angle."""
        return [self.stroke.sentence(self.settings.intensity_label), *self.angle.sentences()]

    def _holds(self) -> str:
        """What the spread of the draws holds, in a few words for the answer."""
        several = max(self.stroke.periods.values()) > 1
        scatter = f"the scatter of turns{' and periods' if several else ''}"
        if not self.angle.total_deg > 0:
            return scatter if several else f"{scatter} alone"
        return (
            f"{scatter} and the crank angle's standard uncertainty of {show_number(self.angle.total_deg, 1)}°"
        )

    def _lacks(self) -> list[str]:
        """What is missing from it, in a few words for the answer.

        Two periods: their spread has one degree of freedom, and a normal multiple of it is short where no other part of
        the uncertainty outweighs it.
        """
        alone = self.stroke.on_one_period(self.settings.intensity_label)
        if alone:
            days = [
                f"at {', '.join(alone)} the stroke rests on one period only, which tells nothing of other days"
            ]
        elif min(self.stroke.periods.values()) == 2 and not self.angle.total_deg > 0:
            days = ["a spread between two periods is itself hardly known"]
        else:
            days = []
        return [*days, *self.angle.lacks()]

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
