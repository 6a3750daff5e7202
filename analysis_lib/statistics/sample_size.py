"""How many riders does the question need, and what can a given number of them detect?"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import scipy  # its parts are loaded when first asked for

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import show_number
from analysis_lib.statistics.statistical_power import (
    check_bounds,
    check_power,
    difference_power,
    equivalence_power,
)

MOST_RIDERS = 100_000


@dataclass(frozen=True)
class SampleSize:
    """Riders that a study needs, with what the number rests on.

    Attributes
    ----------
    riders, recruit : int
        Riders to be analysed, a multiple of the sequences, and to be recruited so that as many finish.
    power : float
        Reached with `riders`, at least the one asked for.
    contrast_sd : float
        SD between riders of their contrast, oval − round.
    method : str
    """

    riders: int
    recruit: int
    power: float
    contrast_sd: float
    method: str

    def sentence(self) -> str:
        """The number, its power and its reasons, in one sentence."""
        more = f" (recruit {self.recruit})" if self.recruit > self.riders else ""
        return (
            f"{self.riders} riders{more} give a power of {show_number(self.power, 3)}"
            f" when riders' contrasts have SD {show_number(self.contrast_sd)}; {self.method}."
        )


def riders_for_difference(
    effect: float,
    contrast_sd: float,
    power: float = 0.8,
    sequences: int = 2,
    alpha: float = 0.05,
    sides: int = 2,
    dropout: float = 0.0,
) -> SampleSize:
    """Fewest riders with which a true effect is found with the wanted power; arguments as `difference_power`.

    Parameters
    ----------
    power : float
        Wanted, above alpha.
    dropout : float
        Share of riders who are expected not to finish.

    Raises
    ------
    Refusal
        As `difference_power`; an effect of 0; a power that is not between alpha and 1; a share of drop-outs
        outside [0, 1); more than 100 000 riders.
    """
    if effect == 0 or not math.isfinite(effect):
        raise Refusal(
            "effect to detect", f"{effect}", "a number other than 0", "give the smallest that matters"
        )
    side = "two-sided" if sides == 2 else "one-sided"
    aim = (
        f"{side} t test of an effect of {show_number(abs(effect))} at {alpha:g}, {_name_sequences(sequences)}"
    )
    check_power(power, alpha)

    def power_of(riders: int) -> float:
        return difference_power(effect, contrast_sd, riders, sequences, alpha, sides)

    return find_riders(power_of, sequences, power, dropout, contrast_sd, aim)


def riders_for_equivalence(
    effect: float,
    lower: float,
    upper: float,
    contrast_sd: float,
    power: float = 0.8,
    sequences: int = 2,
    alpha: float = 0.05,
    dropout: float = 0.0,
) -> SampleSize:
    """Fewest riders with which an effect between the bounds is shown to lie there; see `equivalence_power`.

    Raises
    ------
    Refusal
        As `equivalence_power` and `riders_for_difference`; an effect that is not between the bounds.
    """
    check_bounds(lower, upper)
    if not lower < effect < upper:
        wanted = f"between {lower} and {upper}"
        raise Refusal("expected effect", f"{effect}", wanted, "no number of riders can show what is not so")
    bounds = f"{show_number(lower)} and {show_number(upper)}, true effect {show_number(effect)}"
    aim = f"two one-sided t tests at {alpha:g} between {bounds}, {_name_sequences(sequences)}"
    check_power(power, alpha)

    def power_of(riders: int) -> float:
        return equivalence_power(effect, lower, upper, contrast_sd, riders, sequences, alpha)

    return find_riders(power_of, sequences, power, dropout, contrast_sd, aim)


def smallest_detectable_effect(
    contrast_sd: float,
    riders: int,
    power: float = 0.8,
    sequences: int = 2,
    alpha: float = 0.05,
    sides: int = 2,
) -> float:
    """Smallest true effect that a given number of riders finds with the wanted power.

    Examples
    --------
    34 pairs find half an SD with a power of 0.807778 (see `difference_power`), and the other way about:

    >>> round(smallest_detectable_effect(1.0, 34, power=0.807778, sequences=1), 4)
    0.5
    """
    check_power(power, alpha)
    most = contrast_sd
    while difference_power(most, contrast_sd, riders, sequences, alpha, sides) < power:
        most *= 2
    return float(
        scipy.optimize.brentq(
            lambda effect: difference_power(effect, contrast_sd, riders, sequences, alpha, sides) - power,
            0.0,
            most,
            xtol=1e-12 * most,
        )
    )


def find_riders(
    power_of: Callable[[int], float],
    sequences: int,
    wanted: float,
    dropout: float,
    sd: float,
    aim: str,
    least: int = 2,
) -> SampleSize:
    """Smallest multiple of the sequences with the wanted power: double until enough, then halve the gap.

    `least` is the smallest multiple that can be analysed: two where one leaves no degrees of freedom.
    """
    if not 0 <= dropout < 1:
        raise Refusal("share of drop-outs", f"{dropout}", "0 or more, below 1", "write 0.1 for one in ten")
    short, enough = least - 1, least
    while power_of(enough * sequences) < wanted:
        short, enough = enough, 2 * enough
        if enough * sequences > MOST_RIDERS:
            got = f"power {power_of(short * sequences):.3g} with {short * sequences} riders"
            raise Refusal("riders needed", got, f"a power of {wanted}", "plan for a larger effect")
    while enough - short > 1:
        middle = (short + enough) // 2
        short, enough = (short, middle) if power_of(middle * sequences) >= wanted else (middle, enough)
    riders = enough * sequences
    # Rounding first: 20 / (1 - 0.2) is a hair above 25 in floating point.
    recruit = sequences * math.ceil(round(riders / (1 - dropout) / sequences, 9))
    return SampleSize(riders, recruit, power_of(riders), sd, aim)


def _name_sequences(sequences: int) -> str:
    return "paired, periods not adjusted for" if sequences == 1 else f"adjusted for {sequences} sequences"
