"""What a meter with fewer speed readings a turn would have shown for the very same trials."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis_lib.mechanics.power_error import power_errors
from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.repeatability_figures import meter_limits
from analysis_lib.reports.measurement.agreement_exhibits import LIMITS, LIMITS_HEADINGS
from analysis_lib.reports.measurement.repeated_trials import RepeatedTrials
from analysis_lib.reports.rider.ring_comparison import SECTORS
from analysis_lib.statistics.agreement import Agreement, bland_altman
from analysis_lib.statistics.crossover import ring_effect
from analysis_lib.statistics.trial_table import OVERALL, RINGS

POWER = "power_W"
TOTAL = "torque_total_Nm"
HALF_A_DEGREE = np.pi / 360
LABELS = ["trial", "rider", "sequence", "period", "ring", "intensity"]


def meter_readings(repeats: RepeatedTrials) -> pd.DataFrame:
    """Return what meters would have read, one row a trial and number of speed readings.

    The meter's error follows from the trial's own mean torque profile and mean crank speed, so it knows nothing
    of how the rider would have ridden otherwise; the small part that comes from turn to turn is left out.

    Returns
    -------
    DataFrame
        ``trial, rider, sequence, period, ring, intensity, power_W, sectors, meter_W``.

    Raises
    ------
    Refusal
        When no trial holds the torque of both legs.
    """
    profiles = pd.concat([rider.profiles for rider in repeats.riders.values()], ignore_index=True)
    if TOTAL not in profiles or profiles[TOTAL].isna().all():
        raise Refusal(
            "meter readings",
            "no trial with two-leg torque",
            "torque of both legs",
            "record both legs, or their total",
        )
    told = profiles.dropna(subset=[TOTAL])
    torque = np.stack([turn.to_numpy() for _, turn in told.groupby("trial", sort=False)[TOTAL]])
    speed = np.stack([turn.to_numpy() for _, turn in told.groupby("trial", sort=False)["speed_rad_s"]])
    # Bins stand half a degree after the angle that begins them, and the first sector begins at dead centre.
    found = {n: power_errors(torque, speed, n, start_rad=-HALF_A_DEGREE) for n in SECTORS}
    wide = pd.DataFrame(found, index=pd.Index(told["trial"].unique(), name="trial"))
    errors = wide.reset_index().melt("trial", var_name="sectors", value_name="error")
    errors["sectors"] = errors["sectors"].astype(int)
    known = pd.concat([rider.quantities for rider in repeats.riders.values()], ignore_index=True)
    power = known[known["quantity"] == POWER].rename(columns={"value": POWER})[[*LABELS, POWER]]
    table = power.merge(errors, on="trial")
    return table.assign(meter_W=table[POWER] * (1 + table["error"])).drop(columns="error")


def meter_agreements(readings: pd.DataFrame) -> dict[tuple[str, int], Agreement]:
    """Compare every meter with the measured power on each ring, trials linked by rider."""
    found = {}
    for ring in RINGS:
        for sectors in SECTORS:
            here = readings[(readings["ring"] == ring) & (readings["sectors"] == sectors)]
            found[ring, sectors] = bland_altman(here["meter_W"], here[POWER], here["rider"], unit="W")
    return found


def meter_agreement_exhibit(found: dict[tuple[str, int], Agreement]) -> FigureExhibit:
    """Draw bias and limits of each meter on each ring."""
    rows = [(ring, sectors, one.bias, one.lower, one.upper) for (ring, sectors), one in found.items()]
    frame = pd.DataFrame(rows, columns=["ring", "sectors", "bias", "lower", "upper"])
    worst = frame.iloc[int(frame["bias"].abs().argmax())]
    return FigureExhibit(
        "meter_agreement",
        meter_limits(frame),
        "Power that a meter would have read less measured power of the same trials (work over the turn by its"
        " duration): bias with 95 % limits of agreement, trials linked by rider. Look for rings that differ.",
        f"Bias and limits against readings a turn by ring; the largest bias is {worst.bias:.2g} W on the"
        f" {worst.ring} ring with {worst.sectors} readings.",
        frame,
    )


def meter_agreement_table(found: dict[tuple[str, int], Agreement]) -> TableExhibit:
    """Give bias and limits of each meter with their intervals."""
    rows = []
    for (ring, sectors), one in found.items():
        limits = (one.lower, one.lower_interval.low, one.upper, one.upper_interval.high)
        bias = (one.bias, one.bias_interval.low, one.bias_interval.high)
        rows.append((ring, sectors, one.n_pairs, one.n, *bias, *limits, one.slope.value, one.slope.p))
    columns = ["ring", "sectors", "trials", "riders", "bias", "bias_low", "bias_high", "lower", "lower_end"]
    columns += ["upper", "upper_end", "slope", "slope_p"]
    return TableExhibit(
        "meter_agreement",
        pd.DataFrame(rows, columns=columns),
        "Meter − measured power (W) by ring and speed readings a turn: bias and limits of agreement, each with the end"
        " of its 95 % interval (for limits the outer one); true value varying between a rider's trials (Bland &"
        " Altman 2007). Slope of the difference on the mean, over riders.",
        LIMITS_HEADINGS | {"sectors": "readings"},
        dict.fromkeys(LIMITS, 2) | {"slope": 3},
    )


def meter_effect_table(readings: pd.DataFrame) -> TableExhibit:
    """Repeat the study's analysis of power with each meter's readings in the place of measured power."""
    measured = readings.drop_duplicates("trial").assign(meter_W=lambda frame: frame[POWER])
    meters = {str(sectors): here for sectors, here in readings.groupby("sectors", sort=False)}
    frames = []
    for name, here in {"measured": measured, **meters}.items():
        frame = ring_effect(here, "meter_W", unit="W").to_frame().assign(readings=name)
        frames.append(frame[frame["intensity"] == OVERALL])
    return TableExhibit(
        "meter_effect",
        pd.concat(frames, ignore_index=True)[["readings", "estimate", "low", "high", "p", "n"]],
        "Power, oval − round (W), mean over intensities, by the study's primary analysis: with measured power, and with"
        " what each meter would have read for the same trials. Any difference between rows is the meter's.",
        {
            "readings": "speed readings a turn",
            "estimate": "oval − round",
            "low": "95 % low",
            "high": "95 % high",
        }
        | {"n": "riders"},
        {"estimate": 2, "low": 2, "high": 2},
    )
