"""Published repeatability of outcomes of cycling studies: suggestions for a plan, and a yardstick beside results.

The figures were read in the abstracts of the papers named, unless a line says otherwise. They are other
laboratories' riders, ergometers and days: a pilot of one's own is worth more than any of them.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Repeatability:
    """Within-rider spread of one outcome from trial to trial, as a paper gives it.

    Attributes
    ----------
    outcome : str
        Name of the outcome that it can stand for: "power_W", "gross_efficiency_pct" ...
    measure : str
        What was repeated.
    spread_pct : float
        Typical error or coefficient of variation within riders, % of the mean.
    details : str
        Interval, riders, and what a reader must know.
    source : str
    typical_value : float or None
        The paper's own mean, in the outcome's unit, where it gives one.
    """

    outcome: str
    measure: str
    spread_pct: float
    details: str
    source: str
    typical_value: float | None = None

    def sd(self, typical_value: float) -> float:
        """SD in the outcome's unit at a typical value: spread_pct/100 · typical_value.

        >>> Repeatability("power_W", "20-km power", 2.0, "", "").sd(250.0)
        5.0
        """
        return self.spread_pct / 100 * typical_value

    def sentence(self) -> str:
        """The figure with its source, labelled as what it is."""
        return f"{self.measure}: {self.spread_pct:g} % within riders ({self.details}; {self.source})"


_CLARK = "Clark, Paton & O'Brien 2014, J Sci Cycling"
_MOSELEY = "Moseley & Jeukendrup 2001"
_INT_SPORTMED = "Int SportMed J 2009;10(1)"

PUBLISHED = (
    Repeatability("power_W", "20-km time trial power, a week apart", 2.0, "n = 19, 293 to 299 W", _CLARK),
    Repeatability("power_W", "the same, four weeks apart", 3.2, "n = 19", _CLARK),
    Repeatability("power_W", "20-km time trial power", 2.9, "interval 2.3 to 4.1, n = 11", "Thomas 2009"),
    Repeatability("power_W", "40-km time trial power", 3.7, "interval 2.9 to 5.3, n = 11", "Thomas 2009"),
    Repeatability(
        "power_W", "30-km trial power", 2.4, "after familiarisation; 5.5 % before it", "Abbiss 2008"
    ),
    Repeatability("power_W", "40-km time trial and peak power", 0.9, "n = 17, well trained", _INT_SPORTMED),
    Repeatability("power_W", "one-minute power", 1.8, "interval 1.4 to 2.6", "Cruz 2018"),
    Repeatability("vo2_L_min", "oxygen uptake", 2.2, "n = 17, well trained", _INT_SPORTMED),
    Repeatability(
        "gross_efficiency_pct",
        "gross efficiency",
        4.2,
        "interval 3.2 to 6.4; mean 19.8 %; smallest detectable about 0.6 points, second-hand from Eur J Appl Physiol 2010",
        _MOSELEY,
        19.8,
    ),
    Repeatability("delta_efficiency_pct", "delta efficiency", 6.7, "the same riders", _MOSELEY),
)


def published_repeatability(outcome: str) -> list[Repeatability]:
    """Return what was published for one outcome; nothing where nothing was found.

    >>> [found.spread_pct for found in published_repeatability("gross_efficiency_pct")]
    [4.2]
    """
    return [found for found in PUBLISHED if found.outcome == outcome]


def repeatability_sentences(outcome: str, typical_value: float | None = None) -> list[str]:
    """Say what was published for one outcome, and the SD that it would mean at a typical value.

    Parameters
    ----------
    outcome : str
        Name of the outcome.
    typical_value : float, optional
        In the outcome's unit, such as the power that an intensity asks for; the paper's own mean is used
        where there is none.
    """
    sentences = []
    for found in published_repeatability(outcome):
        value = typical_value if typical_value is not None else found.typical_value
        meaning = "" if value is None else f"; at {value:g} that is an SD of {found.sd(value):.2g}"
        sentences.append(f"{found.sentence()}{meaning}.")
    return sentences
