"""What makes one trial's power, torque and torque phase uncertain: the budget of a trial, after the GUM.

Inputs that the recorder's own entry in study.toml does not declare count as exact, and `undeclared` names them: such a
budget is a lower bound.
"""

from __future__ import annotations

import math

from analysis_lib.signals.measurement_budget import power_budget, torque_budget, torque_phase_budget
from analysis_lib.signals.trial import TrialResult
from analysis_lib.signals.uncertainty import UncertainInput, UncertaintyBudget
from analysis_lib.study.recorder_map import RecorderMap

DECLARED = {
    "slope_uncertainty_pct": "the calibration slope",
    "slope_per_degC_pct": "the slope's change with temperature",
    "angle_zero_uncertainty_deg": "the zero of the crank angle",
    "delay_uncertainty_ms": "the delay of torque behind angle",
}
EVENLY = math.sqrt(3)
"""A value that lies evenly within ± a has the standard uncertainty a/√3 (JCGM 100, 4.3.7)."""


def trial_budgets(
    result: TrialResult, recorder: RecorderMap, usual_drift_Nm: float = 0.0, warming_degC: float = 0.0
) -> dict[str, UncertaintyBudget]:
    """Return the budgets of a trial: of mean torque and power, and of the torque phase where both legs are known.

    Parameters
    ----------
    result : TrialResult
    recorder : RecorderMap
        With the uncertainties that it declares.
    usual_drift_Nm : float
        Root mean square of the zero's drift in this recorder's other trials: what is assumed where a trial lacks the
        check before or after it.
    warming_degC : float
        Farthest that the temperature of the trial was from that of its calibration, °C.

    Notes
    -----
    The zero runs on a straight line between two checks. How far it may have left the line is not known; it is taken to
    lie evenly within half the drift on either side, drift/2/√3. Turn-to-turn standard errors allow for neighbouring
    turns that resemble each other, with the effective number of turns less one as degrees of freedom. Sampling: the ends
    of the trial's turns are known to one sample, evenly, 1/(rate·√6·duration) of the cadence; the angle-mean of torque
    itself is not biased by sampling at even times.
    """
    doubled = "mean_torque_Nm" not in set(result.summary["quantity"])
    leg = result.layout.split()[0]
    torque = _from_turns(
        result, f"mean_torque_{leg}_Nm" if doubled else "mean_torque_Nm", "turn to turn, torque"
    )
    if doubled:
        torque = UncertainInput(
            torque.name, 2 * torque.value, 2 * torque.standard_uncertainty, torque.df, torque.unit
        )
    cadence = _cadence(result)
    zero = UncertainInput(
        "zero torque between checks", 0.0, _zero_uncertainty(result, usual_drift_Nm, doubled), unit="N m"
    )
    slope = UncertainInput(
        "calibration slope and temperature", 1.0, _slope_uncertainty(recorder, warming_degC)
    )
    budgets = {
        "torque": torque_budget(torque, zero, slope),
        "power": power_budget(torque, cadence, zero, slope),
    }
    if "torque_phase_deg" in set(result.summary["quantity"]):
        phase = _from_turns(result, "torque_phase_deg", "turn to turn, torque phase")
        angle = UncertainInput(
            "zero of the crank angle", 0.0, recorder.angle_zero_uncertainty_deg or 0.0, unit="deg"
        )
        delay = UncertainInput(
            "delay of torque", 0.0, (recorder.delay_uncertainty_ms or 0.0) / 1000, unit="s"
        )
        budgets["torque_phase"] = torque_phase_budget(phase, cadence, angle, delay)
    return budgets


def undeclared(recorder: RecorderMap) -> list[str]:
    """Name, in words, the uncertainties that the recorder's entry does not declare."""
    return [words for key, words in DECLARED.items() if getattr(recorder, key) is None]


def _from_turns(result: TrialResult, quantity: str, name: str) -> UncertainInput:
    rows = result.summary[result.summary["quantity"] == quantity]
    value, se, effective = (float(rows[column].iloc[0]) for column in ("value", "se", "n_effective"))
    return UncertainInput(name, value, se, max(effective - 1, 1.0), str(rows["unit"].iloc[0]))


def _cadence(result: TrialResult) -> UncertainInput:
    """Cadence of the trial as ridden: the rider's own variation is no error, only the timing of the ends is."""
    quality = result.quality
    ends = 1 / (float(quality["sample_rate_hz"]) * math.sqrt(6) * float(quality["duration_s"]))
    cadence = result.value("cadence_rpm")
    return UncertainInput("sampling, timing of turns", cadence, cadence * ends, unit="rpm")


def _zero_uncertainty(result: TrialResult, usual_drift_Nm: float, doubled: bool) -> float:
    drifts = [
        float(value)
        for name, value in result.quality.items()
        if name.startswith("zero_drift_") and name != "zero_drift_Nm"
    ]
    channels = len(result.kept.profiles) - (
        "left" in result.kept.profiles and "total" in result.kept.profiles
    )
    drifts += [usual_drift_Nm * 2] * (channels - len(drifts))  # nothing halves a drift that was not seen
    together = math.hypot(*drifts) / 2 / EVENLY if drifts else 0.0
    return 2 * together if doubled else together


def _slope_uncertainty(recorder: RecorderMap, warming_degC: float) -> float:
    slope = (recorder.slope_uncertainty_pct or 0.0) / 100
    temperature = (recorder.slope_per_degC_pct or 0.0) / 100 * warming_degC / EVENLY
    return math.hypot(slope, temperature)
