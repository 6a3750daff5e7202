"""The study's protocol as study.toml declares it: intensities, outcomes, design and rules."""

from __future__ import annotations

from dataclasses import fields
from typing import Annotated, Literal

from pydantic import Field, model_validator

from analysis_lib.refusals import Refusal
from analysis_lib.signals.revolutions import TurnRules
from analysis_lib.signals.trial_summary import period_deg
from analysis_lib.study.declared.schema import Name, SettingsPart, Word
from analysis_lib.study.outcomes.metabolic_power import HIGHEST_RATIO, LOWEST_RATIO, EquationName

PLAN_FOLDER = "plan"
"""Where the frozen protocol stands below a study folder."""

ONE = "1"
"""The SI's unit one, of what has no dimension (BIPM, The International System of Units, 9th ed. 2019, 2.3.3)."""


def show_unit(unit: str) -> str:
    """Return a unit as people write it: newton metres with the half-high dot, none for the SI's unit one.

    >>> show_unit("N m"), show_unit("1")
    ('N·m', '')
    """
    return "" if unit == ONE else unit.replace("N m", "N·m")


def in_brackets(unit: str) -> str:
    """Return a unit as it stands after the name of what is measured in it; nothing without one."""
    return f" ({unit})" if unit else ""


class Intensity(SettingsPart):
    """One intensity at which every ring is ridden."""

    name: Name = Field(description="the word used in trials.csv")
    label: Word = Field(description="the words used in reports")
    order: int = Field(description="place in tables and figures, lowest first")
    target_power_W: float | None = Field(default=None, gt=0, description="power asked for, if it was set")
    target_cadence_rpm: float | None = Field(
        default=None, gt=0, description="cadence asked for, if it was set"
    )


class Outcome(SettingsPart):
    """One outcome, declared before the data are seen."""

    name: Name = Field(description="column of trials.csv, or a quantity of the recordings")
    label: Word = Field(description="the words used in reports")
    unit: str = Field(
        description='unit of the outcome; "" or "1" for a score, a count or a share, which have none'
    )
    source: Literal["signals", "trials", "derived"] = Field(
        description=(
            '"signals" if measured from the recordings, "trials" if it is a column of trials.csv, "derived" if it'
            " is made from both"
        )
    )
    better: Literal["higher", "lower", "neither"] = Field(
        description="which direction would be an improvement"
    )
    smallest_effect: float = Field(
        gt=0, description="smallest difference that matters, in the outcome's unit"
    )
    primary: bool = Field(default=False, description="true for exactly one outcome")
    intensities: Annotated[tuple[Name, ...], Field(strict=False)] | None = Field(
        default=None, min_length=1, description="intensities at which it is analysed; all if left out"
    )

    @property
    def period_deg(self) -> float | None:
        """After how many degrees an angle is the same again; None of an outcome that is none."""
        if self.unit != "deg":
            return None
        return period_deg(self.name) if self.source == "signals" else 360.0

    @property
    def unit_shown(self) -> str:
        """The unit as people write it; empty for what has none."""
        return show_unit(self.unit)

    @property
    def difference_unit(self) -> str:
        """The unit of a difference: of two percentages it is points, lest it be taken for a share of one of them."""
        return "percentage points" if self.unit == "%" else self.unit_shown


class Design(SettingsPart):
    """The sequences of rings that riders were randomised to, one ring a period."""

    sequences: dict[Name, Annotated[list[Word], Field(min_length=2)]] = Field(
        min_length=1,
        description=(
            'each sequence with its rings in order: ROOR = ["round", "oval", "oval", "round"]; or "williams" for the'
            " orders of a Williams design of all rings"
        ),
    )
    lot: Literal["pairs", "free"] | None = Field(
        default=None,
        description=(
            'in a study of one rider, how the order of rings was drawn: "pairs", which ring first by lot in every'
            ' successive pair of periods, or "free", the oval periods by lot among all'
        ),
    )

    @model_validator(mode="after")
    def _check_lengths(self) -> Design:
        lengths = {name: len(rings) for name, rings in self.sequences.items()}
        if len(set(lengths.values())) > 1:
            got = ", ".join(f"{name} of {length}" for name, length in lengths.items())
            raise Refusal(
                "sequences", got, "sequences of one length", "give every sequence the same number of periods"
            )
        return self


class Rules(SettingsPart):
    """Which turns count, and how old a zero check may be. Exclusions are rules, and they are counted."""

    cadence_min_rpm: float = Field(
        default=TurnRules.cadence_min_rpm, ge=0, description="slowest turn that counts"
    )
    cadence_max_rpm: float = Field(
        default=TurnRules.cadence_max_rpm, ge=0, description="fastest turn that counts"
    )
    max_gap_s: float = Field(
        default=TurnRules.max_gap_s, ge=0, description="longest time between two samples of a turn"
    )
    max_backward_deg: float = Field(
        default=TurnRules.max_backward_deg, ge=0, description="farthest step back of the crank"
    )
    max_standstill_s: float = Field(
        default=TurnRules.max_standstill_s, ge=0, description="longest time within one degree"
    )
    min_mean_torque_Nm: float = Field(
        default=TurnRules.min_mean_torque_Nm, ge=0, description="least mean torque of a turn"
    )
    min_torque_range_Nm: float = Field(
        default=TurnRules.min_torque_range_Nm, ge=0, description="least range of a channel within a turn"
    )
    min_turns: int = Field(
        default=TurnRules.min_turns, ge=0, description="turns below which a result carries a caution"
    )
    zero_check_max_hours: float = Field(
        default=4.0, gt=0, description="longest time from a zero check to a trial"
    )
    zero_check_required: bool = Field(
        default=True,
        description="false to analyse trials without a zero check, their zero torque being taken as 0",
    )
    zero_model: Literal["line", "temperature"] = Field(
        default="line",
        description='"line" between the checks around a trial, or "temperature": a fit of all checks of the recorder',
    )
    exclude_below_turns: int | None = Field(
        default=None, ge=1, description="fewer kept turns than this exclude the trial"
    )
    exclude_above_dropped_pct: float | None = Field(
        default=None, gt=0, le=100, description="a larger share of dropped whole turns excludes the trial"
    )
    exclude_above_zero_drift_Nm: float | None = Field(
        default=None, gt=0, description="a larger change of zero torque between checks excludes the trial"
    )

    @model_validator(mode="after")
    def _check_as_turn_rules(self) -> Rules:
        self.turn_rules()
        return self

    def turn_rules(self) -> TurnRules:
        """Say the same in the words of the signals room."""
        return TurnRules(**self.model_dump(include={rule.name for rule in fields(TurnRules)}))


class Metabolism(SettingsPart):
    """How gas exchange becomes metabolic power, and which trials are no steady state."""

    equation: EquationName = Field(description="equation of energy from gases")
    steady_change_pct: float = Field(
        gt=0, description="largest change of oxygen uptake between two minutes, % of their mean"
    )
    lowest_exchange_ratio: float = Field(
        default=LOWEST_RATIO, gt=0, description="smallest ratio of VCO2 to VO2"
    )
    highest_exchange_ratio: float = Field(
        default=HIGHEST_RATIO,
        gt=0,
        le=1,
        description="largest ratio of VCO2 to VO2 at which the gases tell the energy",
    )


class Plan(SettingsPart):
    """What the study is planned on, written down before the first rider is enrolled."""

    riders: int = Field(ge=3, le=1000, description="riders to recruit")
    within_rider_sd: float = Field(
        gt=0,
        description=(
            "SD of the primary outcome within a rider, from one period to another on the same ring, in the"
            " outcome's unit"
        ),
    )
    within_rider_sd_source: Word = Field(description="where that SD is from: a pilot, or a paper with page")
    dropout: float = Field(
        ge=0, lt=1, description="share of riders expected to stop early: 0.1 is one in ten"
    )
    washout_hours: float = Field(
        ge=0, description="shortest rest, from the first ride of a period to the first of the next"
    )
    allocation_seed: int = Field(
        ge=0,
        description="whole number from which the allocation is drawn; keep it from whoever enrols riders",
    )
    response_sd: float = Field(
        default=0.0, ge=0, description="SD between riders of the true ring effect, in the outcome's unit"
    )
    alpha: float = Field(default=0.05, gt=0, lt=0.5, description="two-sided level of the test")
    power: float = Field(default=0.8, gt=0.5, lt=1, description="power wanted")
    periods_a_visit: int = Field(default=1, ge=1, description="periods ridden in one visit")
    riders_a_block: int | None = Field(
        default=None, ge=1, description="a multiple of the sequences; twice the sequences if left out"
    )
    smallest_effect_source: Word | None = Field(
        default=None, description="why the smallest effect of the primary outcome matters"
    )
    washout_reason: Word | None = Field(default=None, description="why that rest is long enough")
    exclusions: list[Word] = Field(
        default=[],
        description="each rule by which a trial or rider is left out, as exclude_reason will say it",
    )
