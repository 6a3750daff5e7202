"""Metabolic power from gas exchange, and the gross efficiency made of it.

Oxygen taken up releases an amount of energy that depends on the fuel, and the respiratory exchange ratio (carbon
dioxide given off over oxygen taken up) tells the fuel as long as the rider is in a steady state below the threshold
at which carbon dioxide from buffering is added. Above a ratio of 1 the gases tell nothing about energy any more.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import show_number

GAS_EXCHANGE, EXCHANGE_RATIO, TWO_MINUTES = (
    "gas exchange",
    "respiratory exchange ratio",
    "oxygen uptake of two minutes",
)
"""What is refused of a trial's gases, as its refusal begins."""

ABOVE, BELOW = (
    "above it carbon dioxide comes from buffering too and the gases do not tell the energy",
    "no fuel gives less; look for a leak or a drift of the analysers",
)
KEPT = (
    "nothing else is lost: the trial lacks what is made of its gases and keeps its other outcomes. Correct the cells if"
    " they are copied wrongly; where gases are not meant to tell the energy, leave that intensity out of the outcome's"
    " intensities in study.toml"
)
"""What a refusal of gases means for a trial, and what can be done."""

EquationName = Literal["brockway", "peronnet_massicotte"]
LOWEST_RATIO, HIGHEST_RATIO = 0.70, 1.00
"""Where the tables of the non-protein respiratory quotient end: fat alone, carbohydrate alone."""


@dataclass(frozen=True)
class EnergyEquation:
    """Energy released = oxygen_kJ_L · VO2 + carbon_dioxide_kJ_L · VCO2, volumes STPD, protein left out.

    Both sets of coefficients are from memory: Brockway's as in his abstract (4.51 and 16.58, urinary nitrogen left
    out); those after Péronnet & Massicotte as later papers quote them (a plane through their table). They differ by
    about 3 %, which is 0.6 percentage points of an efficiency of 20 %: compare efficiencies made with one equation
    only. A difference between rings within a rider is hardly touched. Brockway's agrees with Weir's equation (1949)
    and with the heat of combustion of glucose to about 1 %; the other lies above both.
    """

    name: EquationName
    oxygen_kJ_L: float
    carbon_dioxide_kJ_L: float
    source: str

    def energy_per_oxygen(self, exchange_ratio: float) -> float:
        """Energy a litre of oxygen, kJ/L: oxygen_kJ_L + carbon_dioxide_kJ_L · ratio.

        >>> round(BROCKWAY.energy_per_oxygen(1.0), 2)
        21.09
        """
        return self.oxygen_kJ_L + self.carbon_dioxide_kJ_L * exchange_ratio


BROCKWAY = EnergyEquation("brockway", 16.58, 4.51, "Brockway 1987, Hum Nutr Clin Nutr 41C:463")
PERONNET_MASSICOTTE = EnergyEquation(
    "peronnet_massicotte", 16.89, 4.84, "after Péronnet & Massicotte 1991, Can J Sport Sci 16:23"
)
EQUATIONS: dict[EquationName, EnergyEquation] = {part.name: part for part in (BROCKWAY, PERONNET_MASSICOTTE)}


@dataclass(frozen=True)
class MetabolicPower:
    """Energy that a rider releases a second.

    Attributes
    ----------
    value : float
        W.
    exchange_ratio : float
        VCO2/VO2.
    equation : EnergyEquation
    """

    value: float
    exchange_ratio: float
    equation: EnergyEquation
    unit: str = "W"

    def sentence(self) -> str:
        """The power with the ratio and the equation it rests on."""
        return (
            f"Metabolic power {show_number(self.value)} W at a respiratory exchange ratio of"
            f" {show_number(self.exchange_ratio, 2)} ({self.equation.source})"
        )


def metabolic_power(
    vo2_L_min: float,
    vco2_L_min: float,
    equation: EnergyEquation = BROCKWAY,
    lowest_ratio: float = LOWEST_RATIO,
    highest_ratio: float = HIGHEST_RATIO,
) -> MetabolicPower:
    """Turn gas exchange into metabolic power: (a · VO2 + b · VCO2) · 1000/60 W.

    Parameters
    ----------
    vo2_L_min, vco2_L_min : float
        Oxygen taken up and carbon dioxide given off, litres a minute at STPD, mean of a steady state.
    equation : EnergyEquation
    lowest_ratio, highest_ratio : float
        Exchange ratios between which the equation holds.

    Raises
    ------
    Refusal
        Volumes that are not positive, or a ratio outside the range.

    Examples
    --------
    3 L/min of oxygen and as much carbon dioxide: 21.09 kJ/L · 3 L / 60 s = 1054.5 W.

    >>> round(metabolic_power(3.0, 3.0).value, 1)
    1054.5
    """
    if not (0 < vo2_L_min < math.inf and 0 < vco2_L_min < math.inf):
        got = f"vo2_L_min {vo2_L_min}, vco2_L_min {vco2_L_min}"
        raise Refusal(GAS_EXCHANGE, got, "two positive volumes a minute", "check the columns and their unit")
    ratio = vco2_L_min / vo2_L_min
    if not lowest_ratio <= ratio <= highest_ratio:
        why = ABOVE if ratio > highest_ratio else BELOW
        wanted = f"{lowest_ratio:.2f} to {highest_ratio:.2f}"
        raise Refusal(EXCHANGE_RATIO, f"{ratio:.3f}", wanted, f"{why}; {KEPT}")
    per_minute_kJ = vo2_L_min * equation.energy_per_oxygen(ratio)
    return MetabolicPower(per_minute_kJ * 1000 / 60, ratio, equation)


def check_steady(first_minute: float, second_minute: float, largest_change_pct: float) -> None:
    """Refuse a state in which the oxygen uptakes of two minutes differ by more than was declared.

    Change = 100 · |second − first| / mean of both.

    Raises
    ------
    Refusal
        A larger change, or uptakes that are not positive.
    """
    if not (0 < first_minute < math.inf and 0 < second_minute < math.inf):
        got = f"{first_minute} and {second_minute}"
        raise Refusal(TWO_MINUTES, got, "two positive numbers", "check the columns")
    change_pct = 200 * abs(second_minute - first_minute) / (first_minute + second_minute)
    if change_pct > largest_change_pct:
        raise Refusal(
            TWO_MINUTES,
            f"{first_minute:g} and {second_minute:g} L/min, {change_pct:.2g} % apart",
            f"at most {largest_change_pct:g} % apart",
            f"not a steady state: give the means of later minutes, if there are any that are steady; {KEPT}",
        )


def gross_efficiency_pct(power_W: float, metabolic: MetabolicPower) -> float:
    """Gross efficiency: 100 · mechanical power / metabolic power, %.

    Raises
    ------
    Refusal
        A power that is not positive, or one above the metabolic power.

    Examples
    --------
    >>> round(gross_efficiency_pct(210.9, metabolic_power(3.0, 3.0)), 6)
    20.0
    """
    if not 0 < power_W < metabolic.value:
        wanted = f"between 0 and the metabolic power, {metabolic.value:.4g} W"
        remedy = "look at unit and scale of the torque columns in study.toml, and at the gases"
        raise Refusal("mechanical power", f"{power_W:.4g} W", wanted, remedy)
    return 100 * power_W / metabolic.value
