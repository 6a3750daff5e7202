"""The published effects of oval rings: what theory and trials report, to hold a prediction against."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analysis_lib.refusals import Refusal

Kind = Literal["theory", "trial"]
Quantity = Literal["power", "pedal speed", "knee extension speed", "hip extension speed", "not predicted"]
Range = tuple[float, float]

LIKELY_RATIOS: Range = (1.10, 1.29)
"""Axis ratios of the rings of section 2 of the literature read; taken where a source's own ratio was not readable."""


@dataclass(frozen=True)
class PublishedEffect:
    """One published comparison of an oval with a round ring.

    Attributes
    ----------
    source, result : str
        Author and year, and what they report in their own unit.
    kind : {"theory", "trial"}
    quantity : str
        What of the mechanics compares with it; "not predicted" where nothing does.
    effort, sample : str
    axis_ratio, cadence_rpm : (float, float)
        As stated, or the range that is likely where `doubts` says so.
    effect_pct : float or None
        Oval over round minus 1, in %; None where only a direction or no difference is reported.
    interval_pct : (float, float) or None
        95 % interval, or the rounding of a printed figure.
    interval_from : str
        What the interval rests on.
    direction : int
        −1 or +1 where only a direction is reported, else 0.
    mount_optimised : bool
        Whether the ring sat at its best mount; otherwise the mount is taken as unknown.
    doubts : str
        What was not readable, and what stands here from memory.
    """

    source: str
    kind: Kind
    quantity: Quantity
    result: str
    effort: str
    sample: str
    axis_ratio: Range = LIKELY_RATIOS
    cadence_rpm: Range = (80.0, 100.0)
    effect_pct: float | None = None
    interval_pct: Range | None = None
    interval_from: str = "none published"
    direction: int = 0
    mount_optimised: bool = False
    doubts: str = ""

    def verdict(self, low_pct: float, high_pct: float) -> str:
        """Say where the published effect lies to a predicted band.

        Examples
        --------
        >>> trial = PublishedEffect("A", "trial", "power", "", "", "", effect_pct=7.0, interval_pct=(4.0, 10.0))
        >>> trial.verdict(-1.0, 3.0), trial.verdict(-1.0, 5.0), trial.verdict(-1.0, 8.0)
        ('above', 'above, its interval meets the band', 'inside')
        """
        if low_pct > high_pct:
            raise Refusal("predicted band", f"{low_pct:g} to {high_pct:g}", "low to high", "swap its ends")
        if self.effect_pct is None:
            return self._verdict_of_direction(low_pct, high_pct)
        if low_pct <= self.effect_pct <= high_pct:
            return "inside"
        side = "above" if self.effect_pct > high_pct else "below"
        if self.interval_pct is None:
            return side
        meets = self.interval_pct[0] <= high_pct and self.interval_pct[1] >= low_pct
        return f"{side}, its interval meets the band" if meets else side

    def _verdict_of_direction(self, low_pct: float, high_pct: float) -> str:
        if not self.direction:
            return "not compared"
        along = sorted((self.direction * low_pct, self.direction * high_pct))
        if along[0] > 0:
            return "the same direction"
        return "the other direction" if along[1] < 0 else "either direction is predicted"


EFFECTS = (
    PublishedEffect(
        "Rankin & Neptune 2008, J Biomech 41:1494",
        "theory",
        "power",
        "+2.9 % power",
        "maximal, at a set cadence",
        "a model of muscles",
        axis_ratio=(1.29, 1.29),
        cadence_rpm=(90.0, 90.0),
        effect_pct=2.9,
        interval_pct=(2.85, 2.95),
        interval_from="rounding",
        mount_optimised=True,
        doubts="about 3 % is read second-hand, 2.9 from memory; best mount, and gains at 60 and 120 rpm not found",
    ),
    PublishedEffect(
        "Leong, Elmer & Martin 2022, IJSPP",
        "trial",
        "pedal speed",
        "78 rpm on a round ring matches 80 on the oval",
        "30, 60 and 90 % of lactate threshold",
        "8 cyclists",
        axis_ratio=(1.13, 1.13),
        cadence_rpm=(80.0, 80.0),
        effect_pct=-2.5,
        interval_pct=(100 * (77.5 / 80 - 1), 100 * (78.5 / 80 - 1)),
        interval_from="rounding to whole rpm",
        doubts="authors, journal and year from memory",
    ),
    PublishedEffect(
        "Leong, Elmer & Martin 2022, IJSPP",
        "trial",
        "pedal speed",
        "75 rpm on a round ring matches 80 on the oval",
        "30, 60 and 90 % of lactate threshold",
        "8 cyclists",
        axis_ratio=(1.24, 1.24),
        cadence_rpm=(80.0, 80.0),
        effect_pct=-6.25,
        interval_pct=(100 * (74.5 / 80 - 1), 100 * (75.5 / 80 - 1)),
        interval_from="rounding to whole rpm",
        doubts="authors, journal and year from memory",
    ),
    *(
        PublishedEffect(
            "Leong, Elmer & Martin 2022, IJSPP",
            "trial",
            quantity,
            "lower on the oval",
            "30, 60 and 90 % of lactate threshold",
            "8 cyclists",
            axis_ratio=(1.24, 1.24),
            cadence_rpm=(80.0, 80.0),
            direction=-1,
            doubts="size and mount not readable; authors, journal and year from memory",
        )
        for quantity in ("hip extension speed", "knee extension speed")
    ),
    PublishedEffect(
        "Peiffer & Abbiss 2010, IJSPP 5:459",
        "trial",
        "power",
        "340 ± 30 against 342 ± 29 and 341 ± 31 W, P = .40",
        "10-km time trial",
        "9 cyclists",
        effect_pct=100 * (341.5 / 340 - 1),
        interval_pct=(100 * (341.5 / 340 - 1) - 2.2, 100 * (341.5 / 340 - 1) + 2.2),
        interval_from="typical error 2 % of 20-km trials (Clark 2014), t of 8 df, not their own",
        doubts="axis ratio and cadence not readable; 340 W taken as the round ring, the mean of both settings as the oval",
    ),
    PublishedEffect(
        "Córdova 2014, J Sports Sci Med 13:410",
        "trial",
        "power",
        "sprints of 20 s +2.5 to +6.5 %, P = .22",
        "maximal, 20 s",
        "12 to 14 elite riders",
        cadence_rpm=(100.0, 130.0),
        effect_pct=4.5,
        interval_pct=(-3.1, 12.1),
        interval_from="P = .22 on 11 df about the middle of the range",
        doubts="axis ratio and cadence not readable",
    ),
    PublishedEffect(
        "Hintzy & Horvais 2016, Eur J Sport Sci",
        "trial",
        "power",
        "362.6 ± 37.9 against 338.8 ± 32.6 W, p < .001",
        "ramp to exhaustion",
        "10 non-cyclists",
        cadence_rpm=(80.0, 80.0),
        effect_pct=100 * (362.6 / 338.8 - 1),
        interval_pct=(100 * (23.8 - 11.3) / 338.8, 100 * (23.8 + 11.3) / 338.8),
        interval_from="at its widest: p = .001 on 9 df",
        doubts="a skewed ellipse, axis ratio not readable; journal and year from memory",
    ),
    PublishedEffect(
        "Rankin & Neptune 2008, J Biomech 41:1494",
        "theory",
        "not predicted",
        "knee extension torque +9.4 %",
        "maximal, at a set cadence",
        "a model of muscles",
        axis_ratio=(1.29, 1.29),
        cadence_rpm=(90.0, 90.0),
        doubts="read on slides; torque alone does not tell a joint's moment",
    ),
    PublishedEffect(
        "Strutzenberger 2014, Sports Biomech",
        "trial",
        "not predicted",
        "lower knee moment, less of the knee and more of the hip",
        "180 and 300 W",
        "14 elite riders",
        axis_ratio=(1.215, 1.215),
        cadence_rpm=(70.0, 110.0),
        direction=-1,
        doubts="sizes not readable, year from memory; compared by itself from one leg's torque, see `joint_shift`",
    ),
    PublishedEffect(
        "Cullen 1992, IJSM 13:264",
        "trial",
        "not predicted",
        "no difference of oxygen uptake, heart rate, exertion",
        "submaximal, two gears",
        "7 cyclists",
        cadence_rpm=(50.0, 90.0),
        doubts="axis ratio not readable; what a turn costs is not in the mechanics",
    ),
    PublishedEffect(
        "Leong, Elmer & Martin 2022, IJSPP",
        "trial",
        "not predicted",
        "no effect on metabolic cost or gross efficiency",
        "30, 60 and 90 % of lactate threshold",
        "8 cyclists",
        axis_ratio=(1.13, 1.24),
        cadence_rpm=(80.0, 80.0),
        doubts="what a turn costs is not in the mechanics; authors, journal and year from memory",
    ),
)
"""What was readable, with its interval where one follows; selected for a ring, a cadence or an interval to compare."""
