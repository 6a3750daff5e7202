"""The zero force: what a pedal's force channels read with no foot on them, taken off before forces count as torque."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.crank_forces import forces_on_crank, own_crank_rad
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.zero_torque import ZeroLine

FloatArray = NDArray[np.float64]
DIRECTIONS = ("tangential", "radial", "fore_aft", "vertical")
LEGS = ("left", "right")


def force_channel(direction: str, leg: str) -> str:
    """Name a force channel as zero checks do.

    >>> force_channel("fore_aft", "left")
    'fore_aft_left'
    """
    return f"{direction}_{leg}"


def force_zeros_of(leg: str, named: Iterable[str]) -> dict[str, str]:
    """Return those of the named channels that are forces of a leg, by direction.

    >>> force_zeros_of("left", ["tangential_left", "right"])
    {'tangential': 'tangential_left'}
    """
    there = set(named)
    return {way: force_channel(way, leg) for way in DIRECTIONS if force_channel(way, leg) in there}


def subtract_zero_force(recording: Recording, zero: Mapping[str, FloatArray]) -> Recording:
    """Return the recording without zero forces that are known at each of its samples.

    Torque and radial force are linear in the recorded forces, so a zero force leaves the torque as what it would
    be by itself: F₀·L for a tangential force, (A₀ cos θ − V₀ sin θ)·L for A₀ fore-aft and V₀ vertical, θ the angle
    of the pedal's own crank.

    Parameters
    ----------
    recording : Recording
        Its torque made of forces, with the crank length by which.
    zero : mapping of str to array of shape (samples,)
        N, by the names of `force_channel`; what is no force is passed over.

    Raises
    ------
    Refusal
        A zero of forces for a recording that was not made of forces.

    Examples
    --------
    5 N of fore-aft zero on a crank of 170 mm are 0.85 N m at top dead centre, and minus that at the bottom.
    """
    torque, radial = dict(recording.torque), dict(recording.radial_N)
    for leg in LEGS:
        names = force_zeros_of(leg, zero)
        if not names:
            continue
        length = _length_m(recording, leg)
        across, along = _on_crank({way: zero[name] for way, name in names.items()}, recording.crank_rad, leg)
        torque[leg] = torque[leg] - across * length
        if leg in radial:
            radial[leg] = radial[leg] - along
    return replace(recording, torque=torque, radial_N=radial)


def mean_torque_of_zero(recording: Recording, leg: str, zero_N: Mapping[str, float]) -> float:
    """Return the mean torque over whole turns that zero forces of a leg make, N m.

    F₀·L for a tangential force F₀. A force in the frame of the bike turns through all angles of the crank, and a
    radial one turns nothing: neither leaves a mean torque.

    Parameters
    ----------
    recording : Recording
    leg : {"left", "right"}
    zero_N : mapping of str to float
        By the names of `force_channel`; it may as well hold drifts or standard uncertainties.
    """
    return zero_N.get(force_channel("tangential", leg), 0.0) * _length_m(recording, leg)


def line_of_legs(recording: Recording, line: ZeroLine) -> ZeroLine:
    """Return a zero line in which the legs stand for their forces, with nothing left to take off.

    A leg's drift is that of its mean torque over whole turns, N m; see `mean_torque_of_zero`.
    """
    lines = {name: part for name, part in line.lines.items() if name in recording.torque}
    drift = {name: part for name, part in line.drift_Nm.items() if name in recording.torque}
    for leg in LEGS:
        names = force_zeros_of(leg, line.lines)
        if not names:
            continue
        lines[leg] = (0.0, 0.0)
        if line.drift_Nm.keys() >= set(names.values()):
            drift[leg] = mean_torque_of_zero(recording, leg, line.drift_Nm)
    return ZeroLine(lines, drift, line.assumption.replace("Zero torque of", "Zero of"))


def remove_zero_force(recording: Recording, line: ZeroLine) -> tuple[Recording, ZeroLine]:
    """Return the recording without its zero forces, and the line with what is left to take off as torque.

    Parameters
    ----------
    recording : Recording
        Its torque made of forces, with the crank length by which.
    line : ZeroLine
        Of forces, N, by the names of `force_channel`, and of torque for the channels that record it.

    Returns
    -------
    tuple of Recording and ZeroLine
        See `subtract_zero_force` and `line_of_legs`.

    Raises
    ------
    Refusal
        A zero of forces for a recording that was not made of forces.
    """
    if not any(force_zeros_of(leg, line.lines) for leg in LEGS):
        return recording, line
    return subtract_zero_force(recording, line.at(recording.time_s)), line_of_legs(recording, line)


def _on_crank(
    zero: dict[str, FloatArray], right_crank_rad: FloatArray, leg: str
) -> tuple[FloatArray, FloatArray]:
    """Return tangential and radial part of a leg's zero force."""
    nothing = np.zeros_like(right_crank_rad)
    if "tangential" in zero or "radial" in zero:
        return zero.get("tangential", nothing), zero.get("radial", nothing)
    own = own_crank_rad(right_crank_rad, leg)
    forces = forces_on_crank(zero.get("fore_aft", nothing), zero.get("vertical", nothing), own)
    return forces.tangential_N, forces.radial_N


def _length_m(recording: Recording, leg: str) -> float:
    if recording.crank_length_m is not None and leg in recording.torque:
        return recording.crank_length_m
    raise Refusal(
        f"{recording.name or 'trial'}, zero force of the {leg} leg",
        "a recording whose torque was not made of pedal forces",
        "pedal forces",
        "give the zero torque of the leg in zero_checks.csv",
        "trial",
    )
