"""The plan of a synthetic study: everything that is put into it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import Any

from analysis_lib.study.declared.protocol import Plan
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.synthetic.synthetic_outcomes import GAS_OUTCOMES, OUTCOMES
from analysis_lib.study.synthetic.virtual_gases import GasPlan
from analysis_lib.study.synthetic.virtual_recorder import SPIDER, TWO_LEG_CRANK, Fault
from analysis_lib.study.synthetic.virtual_ride import TurnVariation

EVERY = "every"


@dataclass(frozen=True)
class VirtualIntensity:
    """An intensity at fixed perceived exertion, at which power is free to vary.

    Attributes
    ----------
    name, label : str
    share_of_hard : float
        Power over the rider's power at the hardest intensity.
    rpe : float
        Rating of perceived exertion that is asked for, on the scale from 6 to 20.
    ring_effect : float
        Group effect of the oval ring on torque, relative (0.01 = +1 %).
    """

    name: str
    label: str
    share_of_hard: float
    rpe: float
    ring_effect: float


@dataclass(frozen=True)
class NotRidden:
    """Trials that a rider did not ride; `intensity` "every" stands for the whole period."""

    rider: int
    period: int
    intensity: str = EVERY


@dataclass(frozen=True)
class LeftOut:
    """A trial that was ridden and is excluded by a rule."""

    rider: int
    period: int
    intensity: str
    reason: str


@dataclass(frozen=True)
class FaultyTrial:
    """A trial in which a channel of the recorder failed."""

    rider: int
    period: int
    intensity: str
    fault: Fault


@dataclass(frozen=True)
class OtherOrder:
    """A period whose intensities were ridden in another order than the protocol's schedule says."""

    rider: int
    period: int
    intensities: tuple[str, ...]


@dataclass(frozen=True)
class VirtualOval:
    """An oval ring or mount beside the first; its effect on torque is a multiple of the first's."""

    name: str
    axis_ratio: float
    mount_deg: float
    effect: float = 1.0


OPTIONAL = ("further_ovals", "lot", "protocol", "gases", "other_orders", "ended")
"""Parts of a plan that are written down where there are any."""

DEMO_INTENSITIES = (
    VirtualIntensity("easy", "Easy (RPE 11)", 0.58, 11.0, 0.005),
    VirtualIntensity("steady", "Steady (RPE 13)", 0.78, 13.0, 0.010),
    VirtualIntensity("hard", "Hard (RPE 16)", 1.0, 16.0, 0.015),
)


@dataclass(frozen=True)
class SyntheticStudy:
    """Everything that is put into a synthetic study.

    Attributes
    ----------
    name, question : str
    seed : int
        One seed a study; rider number k draws from the stream (seed, k), the allocation from (seed, 0).
    riders : int
    sequences : dict of str to tuple of str
        Rings, "round", "oval" and the further ones, by period.
    intensities : tuple of VirtualIntensity
    teeth, sprocket_teeth : int
    axis_ratio, chainstay_m, crank_inertial_load_kgm2 : float
    available_mounts_deg : tuple of float
    mount_deg : float
        How the oval ring sits, for every rider.
    duration_s, rate_hz, start_s : float
        Length and sampling rate of a recording, and where the part to analyse starts.
    rider_effect_sd : float
        SD between riders of the ring's relative effect, around the group effect.
    period_effects : tuple of float
        Relative change of torque in each period.
    period_sd, trial_sd : float
        SD of a rider's form between periods and between trials, relative.
    cadence_trial_sd_rpm, phase_trial_sd_deg : float
        SD of a rider's mean cadence and of the angle at which his legs act, between trials.
    variation : TurnVariation
    comfort_effect : float
        Effect of the oval ring on the comfort score, points.
    spider_riders : tuple of int
        Riders recorded with the one-channel recorder.
    rules : dict of str to float
        Rules of study.toml that are not at their defaults.
    not_ridden, left_out, faults : tuple
        What went wrong.
    further_ovals : tuple of VirtualOval
        Rings or mounts that are ridden beside "round" and "oval".
    lot : str or None
        How one rider's order of rings was drawn.
    protocol : Plan or None
        Where there is one, a protocol is frozen before the first trial, and its allocation and schedule are ridden.
    gases : GasPlan or None
    other_orders : tuple of OtherOrder
        Where the schedule was not kept.
    ended : bool
        Whether study.toml says that no more will be ridden.
    """

    name: str
    question: str
    seed: int
    riders: int
    sequences: dict[str, tuple[str, ...]]
    intensities: tuple[VirtualIntensity, ...] = DEMO_INTENSITIES
    teeth: int = 50
    axis_ratio: float = 1.13
    available_mounts_deg: tuple[float, ...] = (40.0, 55.0, 70.0, 85.0, 100.0, 115.0)
    mount_deg: float = 70.0
    sprocket_teeth: int = 17
    chainstay_m: float = 0.41
    crank_inertial_load_kgm2: float = 30.0
    duration_s: float = 60.0
    rate_hz: float = 100.0
    start_s: float = 2.0
    rider_effect_sd: float = 0.005
    period_effects: tuple[float, ...] = (0.0, 0.004, 0.006, 0.007)
    period_sd: float = 0.012
    trial_sd: float = 0.006
    cadence_trial_sd_rpm: float = 0.5
    phase_trial_sd_deg: float = 0.8
    variation: TurnVariation = field(default_factory=TurnVariation)
    comfort_effect: float = -2.0
    spider_riders: tuple[int, ...] = ()
    rules: dict[str, float] = field(default_factory=dict)
    not_ridden: tuple[NotRidden, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    faults: tuple[FaultyTrial, ...] = ()
    further_ovals: tuple[VirtualOval, ...] = ()
    lot: str | None = None
    protocol: Plan | None = None
    gases: GasPlan | None = None
    other_orders: tuple[OtherOrder, ...] = ()
    ended: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Write the plan as plain values, for a file beside the study."""
        plain = asdict(replace(self, protocol=None, gases=None))
        plain["protocol"] = self.protocol.model_dump(exclude_defaults=True) if self.protocol else None
        plain["gases"] = self.gases.as_dict() if self.gases else None
        return {name: value for name, value in plain.items() if value or name not in OPTIONAL}

    def mount_of(self, ring: str) -> float | None:
        """How a ring sits; None for the round one."""
        mounts = {"oval": self.mount_deg} | {part.name: part.mount_deg for part in self.further_ovals}
        return mounts.get(ring)

    def effect_of(self, ring: str) -> float:
        """A ring's effect on torque over that of the ring "oval": 0 for the round one."""
        return ({"round": 0.0, "oval": 1.0} | {part.name: part.effect for part in self.further_ovals})[ring]

    def settings(self) -> StudySettings:
        """Declare the study as its study.toml does."""
        recorders = {"two_leg_crank": TWO_LEG_CRANK} | ({"spider": SPIDER} if self.spider_riders else {})
        return StudySettings.model_validate(
            {
                "study": {"name": self.name, "question": self.question, "seed": self.seed, "simulated": True}
                | ({"ended": True} if self.ended else {}),
                "rings": {
                    "round": {"teeth": self.teeth, "axis_ratio": 1.0},
                    "oval": {
                        "teeth": self.teeth,
                        "axis_ratio": self.axis_ratio,
                        "available_mounts_deg": list(self.available_mounts_deg),
                    },
                }
                | {
                    part.name: {
                        "teeth": self.teeth,
                        "axis_ratio": part.axis_ratio,
                        "mount_deg": part.mount_deg,
                    }
                    for part in self.further_ovals
                },
                "drivetrain": {
                    "sprocket_teeth": self.sprocket_teeth,
                    "chainstay_m": self.chainstay_m,
                    "crank_inertial_load_kgm2": self.crank_inertial_load_kgm2,
                },
                "intensities": [
                    {"name": part.name, "label": part.label, "order": place}
                    for place, part in enumerate(self.intensities, start=1)
                ],
                "outcomes": [*OUTCOMES, *self._gas_outcomes()],
                "design": {
                    "sequences": {name: list(rings) for name, rings in self.sequences.items()},
                    "lot": self.lot,
                },
                "rules": dict(self.rules),
                "recorders": {name: recorder.model_dump() for name, recorder in recorders.items()},
                "metabolism": self.gases.rules.model_dump(exclude_defaults=True) if self.gases else None,
                "plan": self.protocol.model_dump(exclude_defaults=True) if self.protocol else None,
            }
        )

    def _gas_outcomes(self) -> list[dict[str, Any]]:
        """Outcomes of gas exchange, at the intensities whose oxygen uptake is planned to stay where it is."""
        if not self.gases:
            return []
        bound = self.gases.rules.steady_change_pct / 2
        steady = [part.name for part in self.intensities if self.gases.drift_pct[part.name] < bound]
        return [{**outcome, "intensities": steady} for outcome in GAS_OUTCOMES]
