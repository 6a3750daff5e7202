"""The published joint loads: shares, moments and effectiveness that the chain of force and leg is held against."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from analysis_lib.mechanics.joint_work import joint_work
from analysis_lib.mechanics.leg import LegPath
from analysis_lib.mechanics.periodic import check_turn
from analysis_lib.mechanics.radial_force import JointLoadRange, RadialCase, range_joint_loads
from analysis_lib.mechanics.segments import LegSegments
from analysis_lib.refusals import Refusal
from analysis_lib.statistics.estimates import show_number

Quantity = Literal["net work", "positive work", "peak moment", "moment per force", "effectiveness"]
UNITS: dict[Quantity, str] = {
    "net work": "% of pedal work",
    "positive work": "% of positive work",
    "peak moment": "N·m",
    "moment per force": "mm",
    "effectiveness": "%",
}

SIT_STAND = "open data sitStand.csv"
SIT_STAND_DOUBTS = (
    "half of sprint power, watts not told: half of a straight torque–speed line (Martin 1997); riders move the hip, so"
    " its share is given without and with the upper body's"
)
ERICSON = "Ericson 1986, Eur J Appl Physiol 55:229"
FROM_MEMORY = "from memory"


@dataclass(frozen=True)
class PublishedJointLoad:
    """One published figure of joints in seated cycling.

    Attributes
    ----------
    source : str
    quantity : Quantity
        Net or positive work as a share; largest moment; largest moment over largest downward force; index of force
        effectiveness over the turn.
    joint, action : str
        Empty where the quantity has none.
    low, high : float
        The figure; two where the source can be read in two ways.
    spread : float
        Standard deviation between riders; NaN where not readable.
    power_W, cadence_rpm : float
        Two-leg power.
    doubts : str
        What was not readable, and what stands here from memory.
    """

    source: str
    quantity: Quantity
    joint: str
    action: str
    low: float
    high: float
    spread: float
    power_W: float
    cadence_rpm: float
    doubts: str = ""

    def verdict(self, low: float, high: float) -> str:
        """Say where the published figure lies to a predicted range.

        Examples
        --------
        >>> knee = PublishedJointLoad("A", "net work", "knee", "", 38.0, 38.0, 8.0, 500.0, 70.0)
        >>> knee.verdict(-20.0, 50.0), knee.verdict(-20.0, 33.0), knee.verdict(-20.0, 20.0)
        ('inside', 'above by 5.0, within its SD', 'above by 18.0')
        """
        if self.high >= low and self.low <= high:
            return "inside"
        above = self.low > high
        beyond = self.low - high if above else low - self.high
        words = f"{'above' if above else 'below'} by {show_number(beyond, 1)}"
        return f"{words}, within its SD" if beyond <= self.spread else words


def _net(source: str, power: float, cadence: float, doubts: str, **shares: tuple[float, ...]):
    return tuple(
        PublishedJointLoad(
            source, "net work", joint, "", low, high, rest[0] if rest else math.nan, power, cadence, doubts
        )
        for joint, (low, high, *rest) in shares.items()
    )


PUBLISHED: tuple[PublishedJointLoad, ...] = (
    *_net(
        SIT_STAND, 539.0, 70.0, SIT_STAND_DOUBTS, hip=(30.0, 40.5, 8.2), knee=(37.9, 37.9, 8.5), ankle=(21.8, 21.8, 4.7)
    ),
    *_net(SIT_STAND, 658.0, 120.0, SIT_STAND_DOUBTS, hip=(38.4, 49.8), knee=(34.6, 34.6), ankle=(15.0, 15.0)),
    *_net(
        "Martin 2007",
        1317.0,
        120.0,
        "maximal cycling, read second-hand; watts of Martin 1997; hip without and with transfer",
        hip=(32.0, 41.0),
        knee=(49.0, 49.0),
        ankle=(9.0, 9.0),
    ),
    *(
        PublishedJointLoad(ERICSON, "positive work", *part, share, share, math.nan, 120.0, 60.0, FROM_MEMORY)
        for part, share in {
            ("hip", "extension"): 27.0,
            ("hip", "flexion"): 4.0,
            ("knee", "extension"): 39.0,
            ("knee", "flexion"): 10.0,
            ("ankle", "extension"): 20.0,
        }.items()
    ),
    *(
        PublishedJointLoad(
            ERICSON, "peak moment", joint, "extension", moment, moment, math.nan, 120.0, 60.0, "little certain, from memory"
        )
        for joint, moment in {"hip": 34.0, "knee": 29.0}.items()
    ),
    *(
        PublishedJointLoad(
            "open data data.csv",
            "moment per force",
            joint,
            action,
            1000 * moment / 316.0,
            1000 * moment / 316.0,
            math.nan,
            250.0,
            90.0,
            "one rider, 316 N at most; power and cadence not told, 250 W at 90 rpm taken",
        )
        for (joint, action), moment in {
            ("hip", "extension"): 127.0,
            ("knee", "extension"): 54.0,
            ("knee", "flexion"): 9.0,
            ("ankle", "extension"): 39.0,
        }.items()
    ),
    PublishedJointLoad(
        "Leirdal & Ettema 2011, MSSE", "effectiveness", "", "", 47.0, 47.0, math.nan, 279.0, 93.1, "SD not readable, n = 21"
    ),
    PublishedJointLoad(
        "Front Sports Act Living 2022, 958827",
        "effectiveness",
        "",
        "",
        48.0,
        48.0,
        9.7,
        250.0,
        90.0,
        "15 cyclists at 80 % of their oxygen uptake, watts not told: 250 W taken",
    ),
)  # fmt: skip
"""Read or recalled; plausibility only. A hip that rests gives what a moving one passes on, so the hip's share has two
readings."""

MEASURED_AT_31_RPM = {"hip": 102.8, "knee": -18.9, "ankle": 16.1}
"""Net shares (%) of the measured pedal forces of Park and Caldwell 2021 (31 rpm, 35 W a leg) through this chain, with a
leg of 75 kg by Winter, crank 0.170 m, and the foot's pitch stated for riders whose legs were not measured."""


def compare_joint_loads(
    path: LegPath,
    segments: LegSegments,
    torque_Nm: ArrayLike,
    published: Sequence[PublishedJointLoad] = PUBLISHED,
) -> pd.DataFrame:
    """Run one leg's stroke at the power and cadence of each published figure, over the plausible radial forces.

    The shape of the torque stays, its mean becomes power / 2 / speed; the crank runs evenly.

    Parameters
    ----------
    path, segments
        As in `solve_joint_loads`.
    torque_Nm : array of shape (angles,)
        One leg's crank torque.

    Returns
    -------
    DataFrame
        One row a figure: ``source, power_W, cadence_rpm, quantity, joint, action, unit, published_low,
        published_high, spread, light_push, heavy_push, least_moments, verdict, doubts``; the verdict is against the
        range of the three radial forces.
    """
    torque, _ = check_turn(torque_Nm, "torque_Nm")
    if not torque.mean() > 0:
        raise Refusal(
            "torque_Nm", f"a mean of {torque.mean():.3g} N·m", "more than 0", "take the leg that drives"
        )

    @lru_cache
    def loads_at(power_W: float, cadence_rpm: float) -> JointLoadRange:
        speed = cadence_rpm * 2 * math.pi / 60
        return range_joint_loads(path, segments, speed, torque / torque.mean() * power_W / 2 / speed)

    return pd.DataFrame([_row(part, loads_at(part.power_W, part.cadence_rpm)) for part in published])


def _row(part: PublishedJointLoad, loads: JointLoadRange) -> dict[str, object]:
    light, heavy, least = (_predicted(part, case) for case in loads.cases)
    if part.quantity == "effectiveness":
        light = heavy = math.nan  # both pushes were made to have theirs, so they say nothing
    return {
        "source": part.source,
        "power_W": part.power_W,
        "cadence_rpm": part.cadence_rpm,
        "quantity": part.quantity,
        "joint": part.joint,
        "action": part.action,
        "unit": UNITS[part.quantity],
        "published_low": part.low,
        "published_high": part.high,
        "spread": part.spread,
        "light_push": light,
        "heavy_push": heavy,
        "least_moments": least,
        "verdict": part.verdict(*_ends(light, heavy, least)),
        "doubts": part.doubts,
    }


def _ends(*predicted: float) -> tuple[float, float]:
    return float(np.nanmin(predicted)), float(np.nanmax(predicted))


def _predicted(part: PublishedJointLoad, case: RadialCase) -> float:
    if part.quantity == "effectiveness":
        return 100 * case.effectiveness
    if part.quantity == "net work":
        return joint_work(case.loads).net_shares_pct()[part.joint]
    if part.quantity == "positive work":
        return joint_work(case.loads).positive_shares_pct()[part.joint, part.action]
    moment = getattr(case.loads, f"{part.joint}_Nm") * (1 if part.action == "extension" else -1)
    down = -float(np.min(case.force_N.imag))
    return float(moment.max()) / (down / 1000 if part.quantity == "moment per force" else 1.0)
