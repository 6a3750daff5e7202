"""Sentences that hold mechanics against what was measured on one rider."""

from __future__ import annotations

import pandas as pd

from analysis_lib.mechanics.prediction import METHOD
from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider.oval_prediction import OvalPrediction, predict_for_rider
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.trials.speed_verdict import AGREES, TOO_EVEN
from analysis_lib.statistics.estimates import show_count, show_number


def predictions(analysis: RiderAnalysis) -> list[OvalPrediction]:
    """Return the prediction at every intensity at which both rings were ridden.

    Raises
    ------
    Refusal
        Where there is none.
    """
    found, refusals = [], []
    for intensity in analysis.intensities:
        try:
            found.append(predict_for_rider(analysis, intensity))
        except Refusal as refusal:
            refusals.append(refusal)
    if not found:
        raise refusals[0]
    return found


def speed(trials: pd.DataFrame) -> list[str]:
    """Say in how many trials the predicted crank speed agrees with the measured one, and where not.

    Parameters
    ----------
    trials : DataFrame
        Of `speed_fit.compare_trial_speeds`.
    """
    verdicts = trials["verdict"]
    agrees, even = int((verdicts == AGREES).sum()), int((verdicts == TOO_EVEN).sum())
    words = [f"Predicted and measured crank speed agree in {agrees} of {show_count(len(trials), 'trial')}"]
    if even:
        words.append(f"in {even} the speed is too even to judge")
    sentences = ["; ".join(words) + "."]
    rest = trials[~verdicts.isin([AGREES, TOO_EVEN])]
    for reason, here in rest.groupby("verdict", sort=False):
        sentences.append(f"{', '.join(here['trial'])}: {reason}.")
    return sentences


def torque(predictions: list[OvalPrediction]) -> list[str]:
    """Say how far the torque on the oval is what mechanics predicts, and on what the prediction rests."""
    each = [_one(part) for part in predictions]
    return [*each, METHOD, predictions[0].slope.sentence()]


def _one(part: OvalPrediction) -> str:
    low, high = (show_number(change, 1, signed=True) for change in part.predicted_phase_change_deg)
    moved = show_number(part.phase_change_deg, 1, signed=True)
    more = show_number(float(part.curves["change_Nm"].mean()), 1, signed=True)
    return (
        f"At {part.label} the measured change of torque, oval − round, meets the predicted band over"
        f" {100 * part.share_met:.0f} % of the turn; the torque phase moved by {moved}°, predicted {low} to"
        f" {high}°, and the mean torque by {more} N·m."
    )
