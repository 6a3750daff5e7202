"""The uncertainty budget of a quantity that is computed from uncertain inputs, after the GUM.

JCGM 100:2008, Evaluation of measurement data — Guide to the expression of uncertainty in measurement.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import Interval
from analysis_lib.statistics.quantiles import normal_quantile, t_quantile

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class UncertainInput:
    """One input quantity.

    Attributes
    ----------
    name : str
    value : float
        Best estimate.
    standard_uncertainty : float
        In the same unit. For a value known only to lie within ±a, evenly, it is a/√3 (JCGM 100, 4.3.7).
    df : float
        Degrees of freedom behind the standard uncertainty; infinite where it is taken as known.
    unit : str
    """

    name: str
    value: float
    standard_uncertainty: float
    df: float = math.inf
    unit: str = ""


@dataclass(frozen=True)
class UncertaintyBudget:
    """A quantity computed from uncertain inputs.

    Attributes
    ----------
    quantity, unit : str
    value : float
        The model at the best estimates.
    standard_uncertainty : float
        u_c = √Σ (cᵢ uᵢ)², the law of propagation for independent inputs (JCGM 100, eq. 10 and 11).
    df : float
        Effective degrees of freedom, u_c⁴ / Σ (cᵢuᵢ)⁴/νᵢ (Welch and Satterthwaite; JCGM 100, eq. G.2b).
    inputs : tuple of UncertainInput
    contributions : array of shape (inputs,)
        cᵢ uᵢ with their signs.
    model : callable
        Takes the inputs' values in order, numbers or arrays of them.
    """

    quantity: str
    unit: str
    value: float
    standard_uncertainty: float
    df: float
    inputs: tuple[UncertainInput, ...]
    contributions: FloatArray
    model: Callable[..., Any]

    def interval(self, level: float = 0.95) -> Interval:
        """Return value ± t·u_c, t of Student's distribution with the effective degrees of freedom.

        JCGM 100, G.4.1, cuts the degrees of freedom to whole ones first; so does this.
        """
        # As a float: where one input outweighs all others there are more than an integer of scipy holds.
        df = float(np.floor(self.df))
        factor = (
            normal_quantile((1 + level) / 2) if math.isinf(df) else t_quantile((1 + level) / 2, max(df, 1))
        )
        half = factor * self.standard_uncertainty
        return Interval(self.value - half, self.value + half, level)

    def to_frame(self) -> pd.DataFrame:
        """Return one row an input: its value, uncertainty, contribution, and share of the variance in percent."""
        variance = self.standard_uncertainty**2
        return pd.DataFrame(
            {
                "input": [part.name for part in self.inputs],
                "value": [part.value for part in self.inputs],
                "unit": [part.unit for part in self.inputs],
                "standard_uncertainty": [part.standard_uncertainty for part in self.inputs],
                "contribution": np.abs(self.contributions),
                "share_pct": 100 * self.contributions**2 / variance if variance else 0.0,
            }
        )

    def monte_carlo(self, draws: int, seed: int) -> FloatArray:
        """Return draws of the quantity, the inputs being drawn independently.

        Normal for an input of infinite degrees of freedom, Student's t scaled by its standard uncertainty for
        another (JCGM 101:2008, 6.4.7 and 6.4.9). They show what the linear law leaves out.
        """
        rng = np.random.default_rng(seed)
        drawn = [
            part.value
            + part.standard_uncertainty
            * (rng.standard_normal(draws) if math.isinf(part.df) else rng.standard_t(part.df, draws))
            for part in self.inputs
        ]
        return np.asarray(self.model(*drawn), dtype=float)

    def sentence(self, level: float = 0.95) -> str:
        """Say the quantity with its interval."""
        found = self.interval(level)
        return (
            f"{self.quantity}: {self.value:.4g} {self.unit} (standard uncertainty "
            f"{self.standard_uncertainty:.2g} {self.unit}; {level:.0%} interval {found.low:.4g} to {found.high:.4g})."
        )


def propagate(
    quantity: str, unit: str, model: Callable[..., Any], inputs: Sequence[UncertainInput]
) -> UncertaintyBudget:
    """Propagate the uncertainties of independent inputs through a model.

    Sensitivities are central differences over ± one standard uncertainty, as JCGM 100, 5.1.3 note 2, allows.

    Raises
    ------
    Refusal
        A standard uncertainty that is negative or no number.

    Examples
    --------
    P = T·ω with 1 % of torque and 2 % of speed: √(0.01² + 0.02²) of 200 W.

    >>> torque, speed = UncertainInput("T", 20, 0.2), UncertainInput("ω", 10, 0.2)
    >>> round(propagate("P", "W", lambda t, w: t * w, [torque, speed]).standard_uncertainty, 6)
    4.472136
    """
    for part in inputs:
        if not part.standard_uncertainty >= 0:
            raise Refusal(
                what=f"uncertainty of {part.name}",
                got=f"{part.standard_uncertainty}",
                wanted="0 or more",
                remedy="state it as a standard uncertainty in the input's unit",
            )
    values = [part.value for part in inputs]
    contributions = [_contribution(model, values, place, part) for place, part in enumerate(inputs)]
    combined = math.hypot(*contributions)
    shares = sum(c**4 / part.df for c, part in zip(contributions, inputs, strict=True))
    df = combined**4 / shares if shares > 0 else math.inf
    return UncertaintyBudget(
        quantity, unit, float(model(*values)), combined, df, tuple(inputs), np.array(contributions), model
    )


def _contribution(model: Callable[..., Any], values: list[float], place: int, part: UncertainInput) -> float:
    if part.standard_uncertainty == 0:
        return 0.0
    centre, half = values[place], part.standard_uncertainty
    above, below = values.copy(), values.copy()
    above[place], below[place] = centre + half, centre - half
    return float(model(*above) - model(*below)) / 2
