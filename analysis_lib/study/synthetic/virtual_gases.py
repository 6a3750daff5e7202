"""A virtual rider's gas exchange: what riding costs, how the gases tell it, and where they do not."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Literal

import numpy as np

from analysis_lib.study.declared.protocol import Metabolism
from analysis_lib.study.outcomes.metabolic_power import BROCKWAY

STREAM = 1
"""Rider number k breathes from the stream (seed, k, 1), so that gases change nothing else of a study."""

GasMishap = Literal["analyser drifted", "not measured"]
DRIFTED = 0.72
"""What a drifted analyser shows of carbon dioxide, as a share."""


@dataclass(frozen=True)
class SpoiledGases:
    """A trial whose carbon dioxide a drifted analyser showed too low, or whose gases nobody measured."""

    rider: int
    period: int
    intensity: str
    mishap: GasMishap


@dataclass(frozen=True)
class GasPlan:
    """What is put into the gas exchange of a synthetic study.

    Metabolic power = unloaded power + mechanical power / delta efficiency, on either ring.

    Attributes
    ----------
    rules : Metabolism
        As study.toml will declare them.
    exchange_ratio, drift_pct : dict of str to float
        By intensity: VCO2/VO2, and how much oxygen uptake still rises from one minute to the next.
    unloaded_W, delta_efficiency_pct : float
        Means of the riders; modelling choices that give gross efficiencies of 18 to 21 %.
    unloaded_sd_W, delta_efficiency_sd, ratio_rider_sd : float
        SD between riders.
    flow_sd, ratio_sd, minute_sd, drift_sd_pct : float
        SD between trials: of both volumes together (relative), of the ratio, of a single minute (relative), and of
        the rise.
    spoiled : tuple of SpoiledGases
    """

    rules: Metabolism
    exchange_ratio: dict[str, float]
    drift_pct: dict[str, float]
    unloaded_W: float = 170.0
    delta_efficiency_pct: float = 25.0
    unloaded_sd_W: float = 15.0
    delta_efficiency_sd: float = 0.8
    ratio_rider_sd: float = 0.015
    flow_sd: float = 0.015
    ratio_sd: float = 0.008
    minute_sd: float = 0.008
    drift_sd_pct: float = 1.0
    spoiled: tuple[SpoiledGases, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Write the plan as plain values."""
        return {**asdict(self), "rules": self.rules.model_dump(exclude_defaults=True)}


@dataclass(frozen=True)
class Lungs:
    """One virtual rider's gas exchange.

    Attributes
    ----------
    unloaded_W : float
        Metabolic power of turning the legs without load.
    delta_efficiency_pct : float
    ratio_shift : float
        The rider's exchange ratio less the group's.
    """

    plan: GasPlan
    number: int
    unloaded_W: float
    delta_efficiency_pct: float
    ratio_shift: float
    rng: np.random.Generator = field(repr=False)

    def metabolic_power_W(self, power_W: float) -> float:
        """Energy released a second at a mechanical power.

        Examples
        --------
        170 W without load, and 4 W for each watt more:

        >>> rules = Metabolism(equation="brockway", steady_change_pct=5.0)
        >>> Lungs(GasPlan(rules, {}, {}), 1, 170.0, 25.0, 0.0, np.random.default_rng(1)).metabolic_power_W(200.0)
        970.0
        """
        return self.unloaded_W + 100 * power_W / self.delta_efficiency_pct

    def breathe(self, power_W: float, period: int, intensity: str) -> tuple[dict[str, Any], dict[str, Any]]:
        """Give a trial's cells of trials.csv, L/min, and the truth behind them."""
        plan, rng = self.plan, self.rng
        metabolic = self.metabolic_power_W(power_W)
        ratio = plan.exchange_ratio[intensity] + self.ratio_shift + rng.normal(0.0, plan.ratio_sd)
        rise = (plan.drift_pct[intensity] + rng.normal(0.0, plan.drift_sd_pct)) / 100
        oxygen = (
            metabolic * 60 / 1000 / BROCKWAY.energy_per_oxygen(ratio) * (1 + rng.normal(0.0, plan.flow_sd))
        )
        minutes = oxygen * (1 + rng.normal(0.0, plan.minute_sd, 2) + rise * np.array([-0.5, 0.5]))
        truth = {"metabolic_power_W": metabolic, "exchange_ratio": ratio, "oxygen_rise_pct": 100 * rise}
        mishap = self._mishap(period, intensity)
        shown_ratio = ratio * DRIFTED if mishap == "analyser drifted" else ratio
        cells = [oxygen, oxygen * shown_ratio, *minutes]
        shown = [None if mishap == "not measured" else round(float(volume), 3) for volume in cells]
        names = ("vo2_L_min", "vco2_L_min", "vo2_minute_1_L_min", "vo2_minute_2_L_min")
        return dict(zip(names, shown, strict=True)), {**truth, "gas_mishap": mishap}

    def _mishap(self, period: int, intensity: str) -> GasMishap | Literal[""]:
        here = (self.number, period, intensity)
        planned = self.plan.spoiled
        return next(
            (part.mishap for part in planned if (part.rider, part.period, part.intensity) == here), ""
        )

    def truth(self) -> dict[str, float]:
        """What makes this rider's gases differ from another's."""
        return {
            "unloaded_W": self.unloaded_W,
            "delta_efficiency_pct": self.delta_efficiency_pct,
            "exchange_ratio_shift": self.ratio_shift,
        }


def draw_lungs(plan: GasPlan, seed: int, number: int) -> Lungs:
    """Draw one virtual rider's gas exchange from a stream of its own."""
    rng = np.random.default_rng([seed, number, STREAM])
    return Lungs(
        plan,
        number,
        float(rng.normal(plan.unloaded_W, plan.unloaded_sd_W)),
        float(rng.normal(plan.delta_efficiency_pct, plan.delta_efficiency_sd)),
        float(rng.normal(0.0, plan.ratio_rider_sd)),
        rng,
    )
