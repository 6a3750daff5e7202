"""Crank torque from recorded pedal forces."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.crank_forces import CrankForces, forces_on_crank, own_crank_rad

FloatArray = NDArray[np.float64]


def torque_from_forces(
    columns: dict[str, FloatArray], leg: str, crank_rad: FloatArray, crank_length_m: float | None, file: str
) -> tuple[FloatArray, FloatArray | None, str]:
    """Make a leg's torque from its pedal force: tangential force × crank length.

    Parameters
    ----------
    columns : dict of str to array of shape (samples,)
        Canonical columns; the leg's forces are taken out.
    leg : {"left", "right"}
    crank_rad : array of shape (samples,)
        Right crank's angle; the left pedal's own crank is half a turn behind it.
    crank_length_m : float or None
        Crank axis to pedal axis.
    file : str
        For messages.

    Returns
    -------
    tuple of array, array or None, and str
        Torque (N m), radial force (N, towards the crank axis) where it is known, and a sentence.

    Raises
    ------
    Refusal
        No crank length, or one that is no crank's.
    """
    if crank_length_m is None:
        raise Refusal(
            what=f"{file}, pedal force of the {leg} leg",
            got="no crank length",
            wanted="the length of the crank that the force turns",
            remedy="fill in crank_length_mm of the rider in riders.csv",
            scope="trial",
        )
    taken = {name.split("_")[1]: columns.pop(name) for name in list(columns) if _is_force_of(name, leg)}
    if "tangential" in taken:
        radial = taken.get("radial")
        forces = CrankForces(
            taken["tangential"], np.zeros_like(taken["tangential"]) if radial is None else radial
        )
        made = "tangential force"
    else:
        forces = forces_on_crank(taken["fore"], taken["vertical"], own_crank_rad(crank_rad, leg))
        radial = forces.radial_N
        made = "fore-aft and vertical force"
    said = f"Torque of {leg} is {made} at the pedal times a crank length of {1000 * crank_length_m:g} mm."
    return forces.torque_Nm(crank_length_m), radial, said


def _is_force_of(name: str, leg: str) -> bool:
    return name.startswith("force_") and name.endswith(f"_{leg}_N")
