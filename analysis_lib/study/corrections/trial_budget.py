"""What makes one trial's power, torque and torque phase uncertain: the budget of a trial, after the GUM.

Inputs that the recorder's own entry in study.toml does not declare count as exact, and `undeclared` names them: such a
budget is a lower bound.
"""

from __future__ import annotations

import math

from analysis_lib.signals.measurement_budget import power_budget, torque_budget, torque_phase_budget
from analysis_lib.signals.trial import TrialResult
from analysis_lib.signals.trial_summary import NOT_SUMMARISED, UNIT_BY_ENDING
from analysis_lib.signals.uncertainty import UncertainInput, UncertaintyBudget
from analysis_lib.study.declared.recorder_map import RecorderMap

DECLARED = {
    "slope_uncertainty_pct": "the calibration slope",
    "slope_per_degC_pct": "the slope's change with temperature",
    "angle_zero_uncertainty_deg": "the zero of the crank angle",
    "delay_uncertainty_ms": "the delay of torque behind angle",
}
SLOPE, WARMING, ANGLE_ZERO, DELAY = INPUTS = (
    "calibration slope",
    "slope's change with temperature",
    "zero of the crank angle",
    "delay of torque",
)
"""The inputs that the keys of `DECLARED` tell, in the same order."""
NO_TEMPERATURE = "the temperature of its calibration"
EVENLY = math.sqrt(3)
"""A value that lies evenly within ± a has the standard uncertainty a/√3 (JCGM 100, 4.3.7)."""

Quantities = dict[str, tuple[float, float, float]]
NEEDED = ("mean_torque_Nm", "mean_torque_left_Nm", "mean_torque_right_Nm", "cadence_rpm", "torque_phase_deg")


def trial_budgets(
    result: TrialResult, recorder: RecorderMap, usual_drift_Nm: float = 0.0
) -> dict[str, UncertaintyBudget]:
    """Return the budgets of a trial: of mean torque and power, and of the torque phase where both legs are known.

    None where so few turns were kept that their spread, and so the trial's uncertainty, is not known.

    Parameters
    ----------
    result : TrialResult
    recorder : RecorderMap
        With the uncertainties that it declares.
    usual_drift_Nm : float
        Root mean square of the zero's drift in this recorder's other trials: what is assumed where a trial lacks the
        check before or after it.

    Notes
    -----
    The zero runs on a straight line between two checks. How far it may have left the line is not known; it is taken to
    lie evenly within half the drift on either side, drift/2/√3. Where the zero comes from a fit of all checks on
    temperature and time instead, the fit's own standard uncertainty at the trial counts, with its degrees of freedom;
    trials of one recorder share that fit, so their errors are not independent, and counting them so makes the floor
    of a difference of rings too high rather than too low. Turn-to-turn standard errors allow for neighbouring
    turns that resemble each other, with the effective number of turns less one as degrees of freedom. Temperature: the
    slope's largest change a degree times the farthest that the trial was from the temperature of the calibration, evenly;
    where one of these is not known, nothing, and `undeclared` says so. Sampling: the ends
    of the trial's turns are known to one sample, evenly, 1/(rate·√6·duration) of the cadence; the angle-mean of torque
    itself is not biased by sampling at even times.
    """
    known = _quantities(result)
    doubled = "mean_torque_Nm" not in known
    leg = result.layout.split()[0]
    of_torque = f"mean_torque_{leg}_Nm" if doubled else "mean_torque_Nm"
    if math.isnan(known[of_torque][1]):
        return {}
    torque = _from_turns(known, of_torque, "turn to turn, torque")
    if doubled:
        torque = UncertainInput(
            torque.name, 2 * torque.value, 2 * torque.standard_uncertainty, torque.df, torque.unit
        )
    cadence = _cadence(result, known["cadence_rpm"][0])
    zero = _zero(result, usual_drift_Nm, doubled)
    slope = UncertainInput(SLOPE, 1.0, (recorder.slope_uncertainty_pct or 0.0) / 100)
    warming = _warming(result, recorder)
    budgets = {
        "torque": torque_budget(torque, zero, slope, warming),
        "power": power_budget(torque, cadence, zero, slope, warming),
    }
    if "torque_phase_deg" in known:
        phase = _from_turns(known, "torque_phase_deg", "turn to turn, torque phase")
        angle = UncertainInput(ANGLE_ZERO, 0.0, recorder.angle_zero_uncertainty_deg or 0.0, unit="deg")
        delay = UncertainInput(DELAY, 0.0, (recorder.delay_uncertainty_ms or 0.0) / 1000, unit="s")
        budgets["torque_phase"] = torque_phase_budget(phase, cadence, angle, delay)
    return budgets


def undeclared(recorder: RecorderMap) -> list[str]:
    """Name, in words, the uncertainties that neither the recorder's entry nor its calibrations tell."""
    missing = [words for key, words in DECLARED.items() if getattr(recorder, key) is None]
    if recorder.slope_per_degC_pct is not None and recorder.calibrated_at_degC is None:
        missing.append(NO_TEMPERATURE)
    return missing


def undeclared_inputs(recorder: RecorderMap) -> set[str]:
    """Name the inputs of a budget that count as exact only because nothing tells their uncertainty."""
    missing = {part for key, part in zip(DECLARED, INPUTS, strict=True) if getattr(recorder, key) is None}
    return missing | ({WARMING} if NO_TEMPERATURE in undeclared(recorder) else set())


def _quantities(result: TrialResult) -> Quantities:
    """Value, standard error and effective number of each quantity that a budget needs and the trial tells.

    The summary has a row for each measure of the turns, in their order; its own column of names is slow to read.
    """
    names = [name for name in result.turns.columns.tolist() if name not in NOT_SUMMARISED]
    value, se, effective = (result.summary[name].to_numpy() for name in ("value", "se", "n_effective"))
    places = {name: names.index(name) for name in NEEDED if name in names}
    return {name: (float(value[at]), float(se[at]), float(effective[at])) for name, at in places.items()}


def _from_turns(known: Quantities, quantity: str, name: str) -> UncertainInput:
    value, se, effective = known[quantity]
    unit = UNIT_BY_ENDING[quantity.rsplit("_", 1)[-1]]
    return UncertainInput(name, value, se, max(effective - 1, 1.0), unit)


def _cadence(result: TrialResult, cadence_rpm: float) -> UncertainInput:
    """Cadence of the trial as ridden: the rider's own variation is no error, only the timing of the ends is."""
    quality = result.quality
    ends = 1 / (float(quality["sample_rate_hz"]) * math.sqrt(6) * float(quality["duration_s"]))
    return UncertainInput("sampling, timing of turns", cadence_rpm, cadence_rpm * ends, unit="rpm")


def _zero(result: TrialResult, usual_drift_Nm: float, doubled: bool) -> UncertainInput:
    channels = [
        name for name in result.kept.profiles if name != "total" or "left" not in result.kept.profiles
    ]
    both = 2.0 if doubled else 1.0
    if "zero_fit_df" in result.quality:
        fitted = math.hypot(*(float(result.quality[f"zero_fit_{channel}_Nm"]) for channel in channels))
        df = float(result.quality["zero_fit_df"])
        return UncertainInput("zero torque, fit of all checks", 0.0, both * fitted, df, "N m")
    # Nothing halves a drift that was not seen.
    drifts = [
        float(result.quality.get(f"zero_drift_{channel}_Nm", 2 * usual_drift_Nm)) for channel in channels
    ]
    return UncertainInput(
        "zero torque between checks", 0.0, both * math.hypot(*drifts) / 2 / EVENLY, unit="N m"
    )


def _warming(result: TrialResult, recorder: RecorderMap) -> UncertainInput:
    away_degC = float(result.quality.get("from_calibration_degC", 0.0))
    change = (recorder.slope_per_degC_pct or 0.0) / 100 * away_degC / EVENLY
    return UncertainInput(WARMING, 0.0, change)
