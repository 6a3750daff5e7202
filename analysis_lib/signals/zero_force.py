"""The zero force: what a pedal's force channels read with no foot on them, taken off before forces count as torque."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.crank_forces import forces_on_crank
from analysis_lib.signals.recording import Recording
from analysis_lib.signals.zero_torque import ZeroLine

FloatArray = NDArray[np.float64]
DIRECTIONS = ("tangential", "radial", "fore_aft", "vertical")


def force_channel(direction: str, leg: str) -> str:
    """Name a force channel as zero checks do.

    >>> force_channel("fore_aft", "left")
    'fore_aft_left'
    """
    return f"{direction}_{leg}"


def remove_zero_force(recording: Recording, line: ZeroLine) -> tuple[Recording, ZeroLine]:
    """Return the recording without its zero forces, and the line with what is left to take off as torque.

    Torque and radial force are linear in the recorded forces, so a zero force leaves the torque as what it would
    be by itself: F₀·L for a tangential force, (A₀ cos θ − V₀ sin θ)·L for A₀ fore-aft and V₀ vertical, θ the angle
    of the pedal's own crank.

    Parameters
    ----------
    recording : Recording
        Its torque made of forces, with the crank length by which.
    line : ZeroLine
        Of forces, N, by the names of `force_channel`, and of torque for the channels that record it.

    Returns
    -------
    tuple of Recording and ZeroLine
        In the line the legs stand for their forces: nothing is left to take off, and the drift is that of the mean
        torque over whole turns, in N m: F₀·L, and none for forces in the frame of the bike, for these turn through
        all angles.

    Raises
    ------
    Refusal
        A zero of forces for a recording that was not made of forces.

    Examples
    --------
    5 N of fore-aft zero on a crank of 170 mm are 0.85 N m at top dead centre, and minus that at the bottom.
    """
    channels = {force_channel(way, leg) for way in DIRECTIONS for leg in ("left", "right")}
    if not channels & line.lines.keys():
        return recording, line
    torque, radial = dict(recording.torque), dict(recording.radial_N)
    lines = {name: part for name, part in line.lines.items() if name in recording.torque}
    drift = {name: part for name, part in line.drift_Nm.items() if name in recording.torque}
    zero = line.at(recording.time_s)
    for leg in ("left", "right"):
        names = {way: force_channel(way, leg) for way in DIRECTIONS if force_channel(way, leg) in zero}
        if not names:
            continue
        length = _length_m(recording, leg)
        across, along = _on_crank({way: zero[name] for way, name in names.items()}, recording.crank_rad, leg)
        torque[leg] = torque[leg] - across * length
        if leg in radial:
            radial[leg] = radial[leg] - along
        lines[leg] = (0.0, 0.0)
        checked = line.drift_Nm.keys() >= set(names.values())
        drift |= {leg: line.drift_Nm.get(names.get("tangential", ""), 0.0) * length} if checked else {}
    said = line.assumption.replace("Zero torque of", "Zero of")
    return replace(recording, torque=torque, radial_N=radial), ZeroLine(lines, drift, said)


def _on_crank(
    zero: dict[str, FloatArray], right_crank_rad: FloatArray, leg: str
) -> tuple[FloatArray, FloatArray]:
    """Return tangential and radial part of a leg's zero force."""
    nothing = np.zeros_like(right_crank_rad)
    if "tangential" in zero or "radial" in zero:
        return zero.get("tangential", nothing), zero.get("radial", nothing)
    own = right_crank_rad - (math.pi if leg == "left" else 0.0)
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
