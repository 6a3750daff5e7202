"""The sessions of a rider: whether each would ask for the same mount."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis_lib.mechanics.periodic import axial_change_deg
from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.statistics.circular import axial_mean
from analysis_lib.statistics.estimates import show_number
from analysis_lib.statistics.quantiles import normal_quantile


@dataclass(frozen=True)
class MountSessions:
    """The mount that each session asks for, and whether they differ by more than their turns do.

    Attributes
    ----------
    frame : DataFrame
        One row a session, such as "visit 1": ``session, trials, torque_phase_deg, se_deg, mount_deg,
        nearest_mount_deg, furthest_deg``, the nearest one where there are several; phase and mount are means over the
        intensities that every session has, the standard error is that of turns alone, the last column the distance to the
        session furthest away.
    session : str
        What tells the sessions apart: "visit" or "period".
    agree : bool
        Whether every difference of two sessions is one that their turns explain.
    level : float
    """

    frame: pd.DataFrame
    session: str
    agree: bool
    level: float = 0.95

    def sentence(self) -> str:
        """The agreement in words."""
        furthest = show_number(float(self.frame["furthest_deg"].max()), 1)
        each = " and ".join(f"{show_number(mount, 1)}°" for mount in self.frame["mount_deg"])
        spread = "no more" if self.agree else "more"
        apart = f"{furthest}° apart at most, {spread} than the scatter of their turns explains"
        found = f"By {self.session}, in their order, the wanted mount is {each}: {apart}"
        if "nearest_mount_deg" not in self.frame:
            return f"{found}."
        mounts = sorted(set(self.frame["nearest_mount_deg"]))
        nearest = " and ".join(f"{mount:g}°" for mount in mounts)
        same = (
            f"the same available mount, {nearest}, is nearest in each"
            if len(mounts) == 1
            else f"the nearest available mount differs ({nearest})"
        )
        return f"{found}, and {same}."


def compare_sessions(analysis: RiderAnalysis, level: float = 0.95) -> MountSessions:
    """Compare the wanted mounts of the sessions in which the stroke was recorded.

    Two sessions differ where the difference of their mean torque phases exceeds z·√(se₁² + se₂²), with z of the
    normal distribution for as many pairs as there are (Bonferroni). The standard errors hold turn to turn alone, so a
    difference says that days differ, and by itself nothing of the mount. Where the crank angle is zero, sessions of one
    recorder share, so it is left out.

    Raises
    ------
    Refusal
        Where the stroke was recorded in one session only.
    """
    trials = pd.concat([analysis.stroke_trials(name) for name in analysis.intensities])
    session = "visit" if "visit" in trials and trials["visit"].notna().all() else "period"
    counts = trials.groupby("intensity")[session].nunique()
    sessions = sorted(trials[session].unique())
    shared = [name for name in analysis.intensities if counts[name] == len(sessions)]
    if len(sessions) < 2 or not shared:
        raise Refusal(
            f"rider {analysis.rider}, sessions of the stroke",
            f"{len(sessions)} with an intensity in common to {len(shared)}",
            "two sessions or more with an intensity in common",
            "record the stroke on another day",
        )
    axis = analysis.mounting.drivetrain.mount_for_peak_arm(0.0)
    available = analysis.mounting.available_mounts_deg
    rows = []
    for number in sessions:
        here = trials[(trials[session] == number) & trials["intensity"].isin(shared)]
        phase, error = _phase(analysis, here["trial"])
        wanted = (axis - phase) % 180.0
        nearest = min(available, key=lambda mount: abs(axial_change_deg(mount - wanted)))
        rows.append((f"{session} {int(number)}", len(here), phase, error, wanted, nearest))
    columns = ["session", "trials", "torque_phase_deg", "se_deg", "mount_deg", "nearest_mount_deg"]
    frame = pd.DataFrame(rows, columns=columns)
    if len(available) == 1:
        frame = frame.drop(columns="nearest_mount_deg")
    frame["furthest_deg"] = np.abs(_differences(frame)).max(axis=0)
    return MountSessions(frame, session, _explained(frame, level), level)


def _phase(analysis: RiderAnalysis, trials: pd.Series) -> tuple[float, float]:
    """Axial mean of the torque phase over a session's trials, and its standard error from turn to turn."""
    summaries = pd.concat([analysis.results[str(trial)].summary for trial in trials])
    found = summaries[summaries["quantity"] == "torque_phase_deg"]
    error = math.sqrt(float(np.sum(np.square(found["se"])))) / len(found)
    return float(axial_mean(found["value"].to_numpy(dtype=float)).angle_deg), error


def _differences(frame: pd.DataFrame) -> np.ndarray:
    phase = frame["torque_phase_deg"].to_numpy()
    return axial_change_deg(phase[:, None] - phase[None, :])


def _explained(frame: pd.DataFrame, level: float) -> bool:
    """Whether no two sessions differ by more than their turns do."""
    error = frame["se_deg"].to_numpy()
    pairs = len(error) * (len(error) - 1) / 2
    z = normal_quantile(1 - (1 - level) / 2 / pairs)
    return bool((np.abs(_differences(frame)) <= z * np.hypot(error[:, None], error[None, :])).all())


def sessions_table(found: MountSessions) -> TableExhibit:
    """Give the mount that each session asks for."""
    nearest = " the nearest available one," if "nearest_mount_deg" in found.frame else ""
    return TableExhibit(
        "mount_sessions",
        found.frame,
        f"By {found.session}, mean over the intensities that all have: torque phase with its standard error from turn to"
        f" turn, the mount that meets it,{nearest} and how far off the session furthest away is. Errors of the crank angle,"
        " which sessions of one recorder share, are left out.",
        {
            "torque_phase_deg": "torque phase (deg)",
            "se_deg": "standard error (deg)",
            "mount_deg": "mount (deg)",
            "nearest_mount_deg": "nearest available (deg)",
            "furthest_deg": "furthest session (deg)",
        },
        {"torque_phase_deg": 1, "se_deg": 2, "mount_deg": 1, "nearest_mount_deg": 1, "furthest_deg": 1},
    )
