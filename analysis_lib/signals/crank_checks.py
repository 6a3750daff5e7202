"""Checks of where the crank angle is zero, and of which leg is which."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.revolutions import Turns
from analysis_lib.signals.straight_line import fit_linear
from analysis_lib.signals.stroke import own_crank_mean, own_crank_profiles
from analysis_lib.signals.torque_profile import harmonic_angle_deg, positive_torque_centre
from analysis_lib.signals.turn_series import linear_direction, turn_means
from analysis_lib.statistics.estimates import Estimate

FloatArray = NDArray[np.float64]
# A leg drives on its way down. Published single-leg torque peaks lie from 80 to 120° (common practice), so a centre
# of positive torque on the way up means that something is turned round.
UPSTROKE_DEG = (200.0, 340.0)
SUSPECT_DIFFERENCE_DEG = 30.0  # between the legs' centres of positive torque; common practice, no source
SMALLEST_SPREAD = 0.3  # of a leg's positive torque about its centre, as a resultant length


def angle_zero_from_slow_turn(crank_rad: ArrayLike, torque_Nm: ArrayLike) -> Estimate:
    """Find by how much the recorded angle is off, from a mass hung on one pedal and turned slowly by hand.

    Gravity alone gives T = T₀ + m·g·L·sin(θ − δ), with δ the recorded angle at that crank's true top dead
    centre. Least squares of T on 1, sin θ and cos θ give δ = atan2(−b_cos, b_sin), its standard error by the
    delta method.

    Parameters
    ----------
    crank_rad, torque_Nm : array_like of shape (samples,)
        Of the crank that carries the mass, over one slow turn or more.

    Returns
    -------
    Estimate
        Degrees in (−180, 180]; take it off the recorded angle. Neighbouring samples count as independent.

    Raises
    ------
    Refusal
        Less than three quarters of a turn, or a torque that does not follow the mass.

    Examples
    --------
    >>> crank = np.radians(np.arange(0, 360, 5))
    >>> offset = angle_zero_from_slow_turn(crank, 1.0 + 15 * np.sin(crank - np.radians(3)))
    >>> round(offset.value, 6)
    3.0
    """
    crank, torque = np.asarray(crank_rad, dtype=float), np.asarray(torque_Nm, dtype=float)
    if crank.size < 8 or np.ptp(crank) < 1.5 * math.pi:
        raise Refusal(
            what="slow turn",
            got=f"{crank.size} samples over {math.degrees(float(np.ptp(crank))) if crank.size else 0:.0f}°",
            wanted="at least 8 samples over 270°",
            remedy="turn the crank slowly through a whole turn",
            scope="trial",
        )
    terms = {"zero torque": np.ones(crank.size), "sine": np.sin(crank), "cosine": np.cos(crank)}
    fit = fit_linear(terms, torque, "slow turn")
    sine, cosine = fit.coefficients[1:]
    size = math.hypot(sine, cosine)
    if size < 3 * fit.residual_sd:
        raise Refusal(
            what="slow turn",
            got=f"a torque that follows the mass by {size:.3g} N·m and strays by {fit.residual_sd:.3g} N·m",
            wanted="a torque that gravity explains",
            remedy="hang a larger mass, turn more slowly, take the chain off",
            scope="trial",
        )
    gradient = np.array([cosine, -sine]) / size**2
    se = math.sqrt(float(gradient @ fit.covariance[1:, 1:] @ gradient))
    return Estimate(
        quantity="Zero of the crank angle",
        value=math.degrees(math.atan2(-cosine, sine)),
        se=math.degrees(se),
        df=float(fit.df),
        unit="deg",
        n=crank.size,
        method="phase of gravity in a slow turn, least squares",
    )


def leg_angle_difference(turns: Turns) -> Estimate:
    """Return how much later the left leg drives than the right one, each against its own crank, in degrees.

    The difference of the centres of positive torque, turn by turn, its circular mean over kept turns. Riders are
    not symmetric to the degree; tens of degrees are a fault of one channel's timing or angle. An error of the
    angle that both legs share does not show here.
    """
    kept = turns.only_kept()
    if not {"left", "right"} <= kept.profiles.keys():
        raise Refusal(
            what="difference between the legs",
            got=f"a recording of {kept.layout}",
            wanted="two legs",
            remedy="record both legs",
            scope="trial",
        )
    left, right = (positive_torque_centre(own_crank_profiles(kept, leg)) for leg in ("left", "right"))
    (found,) = turn_means([linear_direction(left * np.conj(right), 1)])
    return Estimate(
        quantity="Left leg behind right leg",
        value=(found.value + 180) % 360 - 180,
        se=found.se,
        df=math.inf,
        unit="deg",
        n=found.n_turns,
        method=found.method,
    )


def check_sides(turns: Turns) -> list[str]:
    """Say, in sentences, where the legs' torque suggests swapped sides, a wrong crank side or a wrong sign.

    Each leg must drive on its own way down. Both driving on the way up means that the sides are swapped or that
    the angle belongs to the other crank; one alone, that its sign is wrong. The two-leg total cannot tell.
    """
    legs = [leg for leg in ("left", "right") if leg in turns.profiles]
    centres = {leg: _centre_deg(turns, leg) for leg in legs}
    upward = [leg for leg, centre in centres.items() if UPSTROKE_DEG[0] < centre < UPSTROKE_DEG[1]]
    if not upward:
        return []
    where = " and ".join(f"the {leg} leg at {centres[leg]:.0f}°" for leg in upward)
    cause = (
        "left and right seem swapped, or the angle belongs to the other crank"
        if len(upward) == len(legs)
        else "that leg's torque seems to have the wrong sign"
    )
    return [f"Positive torque is centred on the way up ({where} of its own crank): {cause}."]


def check_leg_timing(turns: Turns) -> list[str]:
    """Say, in a sentence, where one leg drives so much later than the other that its timing or angle is suspect."""
    if not {"left", "right"} <= turns.profiles.keys() or check_sides(turns):
        return []
    found = leg_angle_difference(turns)
    if abs(found.value) <= SUSPECT_DIFFERENCE_DEG:
        return []
    return [
        f"The left leg drives {abs(found.value):.0f}° {'later' if found.value > 0 else 'earlier'} than the right one, "
        f"each against its own crank; more than {SUSPECT_DIFFERENCE_DEG:g}° points to a fault of one channel's timing "
        "or angle."
    ]


def _centre_deg(turns: Turns, leg: str) -> float:
    """Centre of a leg's positive torque over the kept turns; NaN where it is spread over the whole turn."""
    profile = own_crank_mean(turns.only_kept(), leg)
    centre = positive_torque_centre(profile)
    spread = abs(centre) / np.maximum(profile, 0).sum() if profile.max() > 0 else 0.0
    return float(harmonic_angle_deg(centre, 1)) if spread > SMALLEST_SPREAD else math.nan
