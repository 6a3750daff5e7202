"""Figures, tables and sentences on the work of the joints, and how it lies to published shares and moments."""

from __future__ import annotations

import pandas as pd

from analysis_lib.mechanics.joint_work import joint_work
from analysis_lib.mechanics.published_joints import MEASURED_AT_31_RPM, compare_joint_loads
from analysis_lib.mechanics.radial_force import JointLoadRange
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.joint_figures import joint_share_bands
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.rider_legs import StatedLegs
from analysis_lib.reports.ring_mechanics.ring_joints import right_leg_Nm
from analysis_lib.statistics.estimates import show_number

ANOTHER_STROKE = "another stroke or another leg than the stated one"
WHY_OUTSIDE = {
    ("net work", "ankle", ""): "the foot's pitch is stated and the same at every cadence",
    (
        "positive work",
        "hip",
        "flexion",
    ): "it lifts the leg, the more the less this stroke brakes in the upstroke",
    ("positive work", "knee", "flexion"): "it pulls in the upstroke, where the radial force is least known",
    ("peak moment", "knee", "extension"): "a figure recalled with little certainty",
    ("moment per force", "knee", "flexion"): "one rider, whose knee stays nearer to the line of the force",
    (
        "moment per force",
        "ankle",
        "extension",
    ): "it is the level distance from ankle to pedal, which is stated",
    ("effectiveness", "", ""): "riders do not spare their joints to the last",
}

OPEN_DATA = "open data"
NAMED = {"light_push": "light push", "heavy_push": "heavy push", "least_moments": "least moments"}


def work_table(loads: JointLoadRange) -> TableExhibit:
    """Give net work by joint, by stroke and by what muscles shorten or are stretched, under each radial force."""
    frames = []
    for case in loads.cases:
        work = joint_work(case.loads)
        frame = work.frame.assign(net_pct=100 * work.frame["net_J"] / work.pedal_J)
        frame.insert(0, "radial_force", case.name)
        frames.append(frame)
    frame = pd.concat(frames, ignore_index=True)
    return TableExhibit(
        "joint_work",
        frame,
        f"Work of the right leg's joints in a turn on the round ring, {joint_work(loads.cases[0].loads).pedal_J:.1f} J on"
        " the pedal. Extension, flexion: what the net moment does (at the ankle plantar- and dorsiflexion). Positive:"
        " muscles shorten; negative: they are stretched. Net work of all joints adds up to that on the pedal, whatever"
        " the radial force.",
        {
            "radial_force": "radial force",
            "positive_J": "positive (J)",
            "negative_J": "negative (J)",
            "downstroke_J": "downstroke (J)",
            "upstroke_J": "upstroke (J)",
            "net_J": "net (J)",
            "net_pct": "net (% of pedal)",
        },
        dict.fromkeys(("positive_J", "negative_J", "downstroke_J", "upstroke_J", "net_J"), 1)
        | {"net_pct": 0},
    )


def compare_with_published(analysis: RiderAnalysis, intensity: str, legs: StatedLegs) -> pd.DataFrame:
    """Run the rider's right leg at the power and cadence of each published figure; see `compare_joint_loads`.

    Raises
    ------
    Refusal
        Where the right leg's own torque was not measured, or its ups and downs rule out the range.
    """
    return compare_joint_loads(legs.path, legs.segments, right_leg_Nm(analysis, intensity))


def share_sentences(frame: pd.DataFrame) -> list[str]:
    """Say how many published figures lie inside the range, which do not and why, and what the measured table does."""
    inside, near = frame["verdict"] == "inside", frame["verdict"].str.endswith("within its SD")
    rest = frame[~inside]
    each = "; ".join(f"{_label(row)} ({row['verdict']}): {_why(row)}" for row in rest.to_dict("records"))
    return [
        (
            f"Of {len(frame)} published figures {int(inside.sum())} lie inside the range of the plausible radial forces,"
            f" {int(near.sum())} beside it by less than their SD and {int((~inside & ~near).sum())} outside."
        ),
        *([f"Not inside, and what could part them: {each}."] if len(rest) else []),
        _ends_of_range(frame),
        _measured_table(),
    ]


def _ends_of_range(frame: pd.DataFrame) -> str:
    """Which end of the range the published net shares are nearer to."""
    net = frame[(frame["quantity"] == "net work") & (frame["joint"] != "ankle")]
    middle = (net["published_low"] + net["published_high"]) / 2
    nearer = (middle - net["least_moments"]).abs() < (middle - net["heavy_push"]).abs()
    return (
        f"A downward push alone would have the hip do nearly all and the knee take up work; {int(nearer.sum())} of"
        f" {len(net)} published shares of hip and knee lie nearer to the radial force of least joint moments. The range is"
        " wide because a workless force decides how the joints share the work: torque alone cannot tell the shares."
    )


def _measured_table() -> str:
    hip, knee, ankle = (show_number(share, 0) for share in MEASURED_AT_31_RPM.values())
    return (
        "The one public table of both components at hand (Park and Caldwell 2021, 31 rpm, 35 W a leg) gives, through this"
        f" chain with the stated leg of 75 kg, hip {hip}, knee {knee} and ankle {ankle} %: outside the published shares"
        " too, though its torque is no smaller than at 120 W and 60 rpm. Weight and inertia of the leg are not the reason,"
        " each moves a share by less than 8 points. The direction of the force is: from 30 to 165° it points within 9°"
        " of straight down, so it passes in front of the knee for most of the stroke, whose flexors then brake its"
        " extension. Riders of the published tables push forward more."
    )


def share_table(frame: pd.DataFrame) -> TableExhibit:
    """Set every published figure beside what the chain gives under each radial force."""
    shown = frame.assign(
        figure=[_quantity(row) for row in frame.to_dict("records")],
        at=[f"{row.power_W:.0f} W, {row.cadence_rpm:.0f} rpm" for row in frame.itertuples()],
    )
    columns = [
        "source",
        "at",
        "figure",
        "unit",
        "published_low",
        "published_high",
        "spread",
        *NAMED,
        "verdict",
        "doubts",
    ]
    return TableExhibit(
        "published_joint_loads",
        shown[columns],
        "Published shares, moments and effectiveness of seated cycling beside this rider's stroke, scaled to their power"
        " and cadence and led through the stated legs under three radial forces. Plausibility only. Effectiveness is"
        " compared for the force of least moments alone; the pushes were made to have theirs.",
        {"published_low": "published", "published_high": "to", "spread": "SD", **NAMED},
        dict.fromkeys(("published_low", "published_high", "spread", *NAMED), 1),
    )  # fmt: skip


def share_exhibit(frame: pd.DataFrame) -> FigureExhibit:
    """Draw the published shares over the predicted range."""
    rows = frame[frame["unit"].str.startswith("%")].reset_index(drop=True)
    rows = rows.assign(label=[_label(row) for row in rows.to_dict("records")])
    inside = int((rows["verdict"] == "inside").sum())
    return FigureExhibit(
        "joint_shares",
        joint_share_bands(rows),
        "Shares of the joints in the work (%). Bars: range of this rider's stroke at each source's power and cadence, from"
        " the radial force of least joint moments (open circle) to a steady downward push. Dots: published, with SD"
        " where there is one; two dots joined: the hip without and with what the upper body passes on. Look for dots"
        " beyond the bars.",
        f"Range chart of {len(rows)} published shares of work over the predicted ranges; {inside} lie inside.",
        rows,
    )


def _why(row: dict) -> str:
    return WHY_OUTSIDE.get((row["quantity"], row["joint"], row["action"]), ANOTHER_STROKE)


def _quantity(row: dict) -> str:
    return ", ".join(part for part in (row["quantity"], f"{row['joint']} {row['action']}".strip()) if part)


def _label(row: dict) -> str:
    opened = row["source"].startswith(OPEN_DATA)  # the table has the file's name
    source = OPEN_DATA if opened else row["source"].split(",")[0]
    return f"{source}, {row['cadence_rpm']:.0f} rpm, {_quantity(row)}"
