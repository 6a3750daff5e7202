"""The work of the joints: what hip, knee and ankle give and take in a turn, and their shares of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis_lib.mechanics.inverse_dynamics import JointLoads
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.refusals import Refusal

JOINTS = ("hip", "knee", "ankle")
ACTIONS = ("extension", "flexion")
"""What the net muscle moment does at the joint, whichever way the joint moves; at the ankle plantar- and dorsiflexion."""


@dataclass(frozen=True)
class JointWork:
    """Work of one leg's joints in a turn of its crank.

    Attributes
    ----------
    frame : DataFrame
        One row a joint and action: ``joint, action, positive_J, negative_J, downstroke_J, upstroke_J, net_J``.
        Positive where the muscles shorten, negative where they are stretched; the downstroke runs from top to bottom
        dead centre of the leg's own crank. Positive and negative add up to net, and so do both strokes.
    pedal_J : float
        Work of the foot on the pedal, which the net work of the joints adds up to: after a turn the energy of the leg
        is what it was.
    """

    frame: pd.DataFrame
    pedal_J: float

    def net_shares_pct(self) -> dict[str, float]:
        """Net work of each joint, % of the work on the pedal; refused where the pedal is not driven."""
        if not self.pedal_J > 0:
            raise Refusal(
                "work on the pedal",
                f"{self.pedal_J:.3g} J in a turn",
                "more than 0 J",
                "take a turn in which the leg drives the crank",
            )
        net = self.frame.groupby("joint", sort=False)["net_J"].sum()
        return {str(joint): 100 * float(work) / self.pedal_J for joint, work in net.items()}

    def positive_shares_pct(self) -> dict[tuple[str, str], float]:
        """Positive work of each joint's extensors and flexors, % of all positive work of the joints."""
        parts = zip(self.frame["joint"], self.frame["action"], self.frame["positive_J"], strict=True)
        all_joints = float(self.frame["positive_J"].sum())
        return {(str(joint), str(action)): 100 * float(work) / all_joints for joint, action, work in parts}

    def sentence(self) -> str:
        """The shares in words."""
        shares = self.net_shares_pct()
        words = ", ".join(f"{joint} {share:.0f} %" for joint, share in shares.items())
        return f"Of {self.pedal_J:.1f} J on the pedal in a turn, net: {words}."


def joint_work(loads: JointLoads) -> JointWork:
    """Integrate joint powers over the time of a turn: W = ∮ P dt = ∮ P/ω dθ.

    Parameters
    ----------
    loads : JointLoads

    Examples
    --------
    A knee that extends at 1 rad/s against 10 N·m for half of a turn of 2 s gives 10 W · 1 s = 10 J.
    """
    per_angle = 2 * np.pi / loads.crank_rad.size / loads.speed_rad_s
    down = loads.crank_rad < np.pi
    rows = [
        {"joint": joint, "action": action}
        | _parts(getattr(loads, f"{joint}_W") * per_angle, _acts(loads, joint, action), down)
        for joint in JOINTS
        for action in ACTIONS
    ]
    return JointWork(pd.DataFrame(rows), float(np.sum(loads.pedal_W * per_angle)))


def _acts(loads: JointLoads, joint: str, action: str) -> np.ndarray:
    extends = getattr(loads, f"{joint}_Nm") > 0
    return extends if action == "extension" else ~extends


def _parts(work: FloatArray, acts: np.ndarray, down: np.ndarray) -> dict[str, float]:
    here = np.where(acts, work, 0.0)
    return {
        "positive_J": float(here[here > 0].sum()),
        "negative_J": float(here[here < 0].sum()),
        "downstroke_J": float(here[down].sum()),
        "upstroke_J": float(here[~down].sum()),
        "net_J": float(here.sum()),
    }
