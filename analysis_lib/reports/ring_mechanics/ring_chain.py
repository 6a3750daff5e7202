"""The chain on both rings of a study: what it takes up and gives back, and whether a fixed drive can run."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import scipy  # its parts are loaded when first asked for

from analysis_lib.mechanics.chain import CAUTION, ChainTurn, FixedDrive, fix_chain, follow_chain
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.sprocket import CHAIN_PITCH_M
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.mechanics_figures import chain_panels
from analysis_lib.reports.rider.ring_comparison import RingComparison
from analysis_lib.statistics.estimates import show_number

MOST_SAG_MM = 20.0
"""Sag of the lower run that a drive without a tensioner is allowed (common practice, no source)."""

AXLE_TRAVEL_M = 0.05
"""How far forward or back the rear axle is looked for; half a pair of links of chain needs 13 mm."""


def chain_exhibit(rings: RingComparison) -> FigureExhibit:
    """Draw the chain taken up by the lower run, and the height of the ring's top, through the turn."""
    frames = []
    for role, turn in _turns(rings).items():
        frames.append(
            pd.DataFrame(
                {
                    "ring": role,
                    "crank_deg": np.degrees(turn.crank_rad),
                    "given_back_mm": 1000 * (turn.loop_m.max() - turn.loop_m),
                    "ring_top_mm": 1000 * turn.ring_top_m,
                }
            )
        )
    frame = pd.concat(frames, ignore_index=True)
    oval = _turns(rings)["oval"]
    return FigureExhibit(
        "chain",
        chain_panels(frame),
        "Left: chain that the lower run has to take up, against the angle at which the loop is longest; a"
        " tensioner moves by half of it. Right: height of the ring's highest point above the crank axis, which the"
        " front derailleur must clear.",
        f"Two line charts against crank angle by ring: slack to take up, to {oval.take_up_mm:.1f} millimetres on the"
        f" oval ring, and ring height, swinging by {oval.top_swing_mm:.1f} millimetres.",
        frame,
    )


def chain_table(rings: RingComparison) -> TableExhibit:
    """Give take-up, height swing, wrap and chordal ripple on both rings."""
    rows = [
        {
            "ring": role,
            "take_up_mm": turn.take_up_mm,
            "top_swing_mm": turn.top_swing_mm,
            "ring_wrap_deg": math.degrees(float(turn.ring_wrap_rad.min())),
            "sprocket_wrap_deg": turn.least_sprocket_wrap_deg,
            "ripple_ring_pct": 100 * turn.chordal_ripple[0],
            "ripple_sprocket_pct": 100 * turn.chordal_ripple[1],
        }
        for role, turn in _turns(rings).items()
    ]
    return TableExhibit(
        "chain",
        pd.DataFrame(rows),
        "The chain within a turn of the crank. Wrap: smallest angle over which it lies on the wheel. Chordal ripple:"
        " dip of chain speed within one tooth, 1 − cos(180°/teeth), because a chain is a polygon; it comes and goes"
        " with every tooth, so a turn's power does not see it.",
        {
            "take_up_mm": "taken up (mm)",
            "top_swing_mm": "top swings (mm)",
            "ring_wrap_deg": "wrap on ring (deg)",
            "sprocket_wrap_deg": "wrap on sprocket (deg)",
            "ripple_ring_pct": "ripple, ring (%)",
            "ripple_sprocket_pct": "ripple, sprocket (%)",
        },
        {"take_up_mm": 2, "top_swing_mm": 2, "ring_wrap_deg": 0, "sprocket_wrap_deg": 0}
        | {"ripple_ring_pct": 3, "ripple_sprocket_pct": 3},
    )


def chain(rings: RingComparison) -> list[str]:
    """Say what the chain does on the oval ring, and whether it would run without a tensioner."""
    drivetrain = rings.drivetrains["oval"]
    fixed, chainstay_m = tighten_fixed_drive(drivetrain)
    moved_mm = 1000 * (chainstay_m - drivetrain.chainstay_m)
    verdict = fixed.sentence(MOST_SAG_MM).removesuffix(f" {CAUTION}")
    return [
        follow_chain(drivetrain).sentence().removesuffix(f" {CAUTION}"),
        f"{verdict} The rear axle was moved by {show_number(moved_mm, 1, signed=True)} mm for it, until the chain is"
        " just taut at the tightest angle: the best that can be done.",
    ]


def chain_caution() -> str:
    """Defer to the makers."""
    return CAUTION


def tighten_fixed_drive(drivetrain: Drivetrain) -> tuple[FixedDrive, float]:
    """Return a drive of two wheels with the axle moved until the chain is just taut, and its chainstay.

    The chain is the one of an even number of links nearest to the loop, so the axle moves by less than a pitch.
    """
    longest_m = float(follow_chain(drivetrain).loop_m.max())
    links = 2 * round(longest_m / CHAIN_PITCH_M / 2)
    chain_m = links * CHAIN_PITCH_M

    def too_short(chainstay_m: float) -> float:
        return float(follow_chain(replace(drivetrain, chainstay_m=chainstay_m)).loop_m.max()) - chain_m

    near, far = drivetrain.chainstay_m - AXLE_TRAVEL_M, drivetrain.chainstay_m + AXLE_TRAVEL_M
    taut_m = float(scipy.optimize.brentq(too_short, near, far, xtol=1e-12))
    # A hair nearer, so that rounding does not leave the chain too short.
    taut_m -= 1e-9
    return fix_chain(replace(drivetrain, chainstay_m=taut_m), links), taut_m


def _turns(rings: RingComparison) -> dict[str, ChainTurn]:
    return {role: follow_chain(drivetrain) for role, drivetrain in rings.drivetrains.items()}
