"""Figures and tables on where an oval ring could sit for a rider."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.mounting_figures import criteria_panels, mounting_panels
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.statistics.estimates import show_level

LOSS_LABELS = {
    "arm at the torque phase": "Shortfall of arm (% of largest)",
    "crank speed": "SD of crank speed (% of mean)",
    "peak force": "Peak torque over mean",
    "dead centres": "Missing torque (% of mean)",
}
"""Axis label of each criterion; those in % are drawn and printed times 100."""

SHORT = {
    "arm at the torque phase": "arm",
    "crank speed": "speed",
    "peak force": "peak",
    "dead centres": "dead centres",
}


def criteria_exhibit(analysis: RiderAnalysis) -> FigureExhibit:
    """Draw every criterion over mount angle with its flat zone and the available mounts.

    The only mount of a ring is held against all angles; one of several against the best of them.
    """
    criteria = analysis.mounting.criteria
    curves, mounts = _in_shown_units(criteria.curves), _in_shown_units(criteria.mountings)
    only, squares = (
        _only_mount(analysis),
        "available mounts; filled: will do, no further than that from the best",
    )
    in_words = [
        f"{row.criterion}: best available {row.best_mount_deg:g} degrees, {row.verdict}"
        for row in criteria.verdicts.itertuples()
    ]
    if only is not None:
        held = only_mount_frame(analysis)
        mounts = mounts.assign(will_do=held["in_zone"].to_numpy())
        squares = "the only mount; filled: in that zone, so that no other angle would be better by as much as matters"
        in_words = [
            f"{row.criterion}: {'in' if row.in_zone else 'outside'} the zone" for row in held.itertuples()
        ]
    return FigureExhibit(
        "mount_criteria",
        criteria_panels(curves, mounts, LOSS_LABELS),
        f"Loss by each criterion against mount angle, smaller is better; band: {show_level(criteria.level)} interval"
        f" ({criteria.n_draws} draws). Shaded: no further from the lowest loss than matters."
        f" Squares: {squares}. 0° and 180° are the same.",
        "Four line charts of loss against mount angle, one a criterion; " + "; ".join(in_words) + ".",
        criteria.curves,
    )


def _only_mount(analysis: RiderAnalysis) -> float | None:
    """The ring's mount where it has one only."""
    available = analysis.mounting.available_mounts_deg
    return available[0] if len(available) == 1 else None


def only_mount_frame(analysis: RiderAnalysis) -> pd.DataFrame:
    """Return how far a ring's only mount is from the lowest loss of any angle, one row a criterion, in shown units."""
    criteria = analysis.mounting.criteria
    curves = _in_shown_units(criteria.curves)
    lowest = curves.loc[curves.groupby("criterion", sort=False)["loss"].idxmin()].set_index("criterion")
    rows = _in_shown_units(criteria.mountings)[["mount_deg", "criterion", "loss"]]
    rows = rows.join(
        lowest[["loss", "mount_deg"]].rename(columns={"mount_deg": "best_deg", "loss": "lowest"}), "criterion"
    )
    matters = criteria.verdicts.rename(columns={"smallest_that_matters": "regret"})[["criterion", "regret"]]
    rows = rows.assign(
        worse=rows["loss"] - rows["lowest"], matters=_in_shown_units(matters)["regret"].to_numpy()
    )
    return rows.assign(in_zone=rows["worse"] <= rows["matters"])


def _only_mount_table(analysis: RiderAnalysis) -> TableExhibit:
    frame = only_mount_frame(analysis).assign(
        in_zone=lambda rows: rows["in_zone"].map({True: "yes", False: "no"})
    )
    digits = {"mount_deg": 0 if (frame["mount_deg"] % 1 == 0).all() else 1, "best_deg": 0}
    return TableExhibit(
        "mounts",
        frame,
        "The ring's only mount against all angles, also those that its holes do not allow: loss by each criterion, in the"
        " unit of the figure, the lowest loss and its angle, by how much the mount is worse, what of that matters"
        " (conventions, no source), and whether it is in the shaded zone.",
        {
            "mount_deg": "mount (deg)",
            "lowest": "lowest loss",
            "best_deg": "at (deg)",
            "worse": "worse by",
            "in_zone": "in the zone",
        },
        digits | dict.fromkeys(("loss", "lowest", "worse"), 2) | {"matters": 2},
    )


def mounts_table(analysis: RiderAnalysis) -> TableExhibit:
    """Give each available mount's probability of being best and the bound of its regret, by criterion."""
    if _only_mount(analysis) is not None:
        return _only_mount_table(analysis)
    criteria = analysis.mounting.criteria
    shown = _in_shown_units(criteria.mountings)
    frame = pd.DataFrame({"mount_deg": criteria.mountings["mount_deg"].unique()})
    headings: dict[str, str] = {}
    digits = {"mount_deg": 0 if (frame["mount_deg"] % 1 == 0).all() else 1}
    for criterion, rows in shown.groupby("criterion", sort=False):
        short, label = SHORT[str(criterion)], LOSS_LABELS[str(criterion)]
        unit = " (%)" if "%" in label else ""
        frame[f"best_{short}"] = 100 * rows["probability_best"].to_numpy()
        frame[f"regret_{short}"] = rows["regret_high"].to_numpy()
        headings |= {
            f"best_{short}": f"{short}: best (% of draws)",
            f"regret_{short}": f"{short}: regret{unit}",
        }
        digits |= {f"best_{short}": 0, f"regret_{short}": 2}
    return TableExhibit(
        "mounts",
        frame,
        "How often each available mount is the best of them, and its regret: by how much its loss exceeds the"
        f" best one's, one-sided {show_level(criteria.level)} bound, in the unit of the figure. A mount will do where the"
        " regret is no more than "
        + ", ".join(
            _matters(row["criterion"], row["smallest_that_matters"])
            for row in criteria.verdicts.to_dict("records")
        )
        + " (conventions, no source).",
        headings,
        digits,
    )


def intensity_table(analysis: RiderAnalysis) -> TableExhibit:
    """Give torque phase, wanted mount and, of several, the best available mount of every criterion by intensity."""
    best = analysis.mounting.criteria.best_by_intensity.set_index("criterion").T
    best.columns = [f"best_{SHORT[str(name)]}" for name in best.columns]
    advice = analysis.mount_advice
    phases = pd.concat([advice.by_intensity, _overall_row(advice)], ignore_index=True)
    only = _only_mount(analysis) is not None
    frame = phases if only else phases.merge(best, how="left", left_on="intensity", right_index=True)
    headings = {name: f"best by {name.removeprefix('best_')}" for name in best.columns}
    return TableExhibit(
        "mounting",
        frame,
        "By intensity and over all of them: torque phase and the mount angle that meets it, with intervals"
        f"{'' if only else ', and the available mount with the least loss by each criterion'}. Angles are axes: 0° and 180°"
        " are the same.",
        headings,
        dict.fromkeys(frame.columns[1:], 1),
    )


def wanted_mount_exhibit(analysis: RiderAnalysis) -> FigureExhibit:
    """Draw the mount that each intensity asks for against the available mounts."""
    advice = analysis.mount_advice
    phases = pd.concat([advice.by_intensity, _overall_row(advice)], ignore_index=True)
    centre = advice.overall_mount_deg
    drawn = pd.DataFrame(
        {
            "intensity": phases["intensity"],
            "mount_deg": _near(phases["mount_deg"], centre),
            "low_deg": _near(phases["mount_deg"], centre) - (phases["mount_deg"] - phases["mount_low_deg"]),
            "high_deg": _near(phases["mount_deg"], centre) + (phases["mount_high_deg"] - phases["mount_deg"]),
        }
    )
    mounts = pd.DataFrame(
        {
            "mount_deg": _near(advice.probabilities["mount_deg"], centre),
            "probability": advice.probabilities["probability_nearest"],
        }
    ).sort_values("mount_deg")
    wanted = (
        "the mount angle that would put the largest lever arm at the torque phase, with"
        f" {show_level(advice.level)} interval ({advice.n_draws} draws), and the"
    )
    several = (
        f"Left: {wanted} available mounts (dotted). Right: how often each available mount is the nearest."
    )
    caption = several if len(mounts) > 1 else f"{wanted[0].upper()}{wanted[1:]} only mount (dotted)."
    beside = " beside a bar chart of probabilities; nearest" if len(mounts) > 1 else "; the only"
    return FigureExhibit(
        "mounting",
        mounting_panels(drawn, mounts),
        f"{caption} The draws hold {advice.holds}{'; the answer says what they lack' if advice.lacks else ''}.",
        f"Interval plot of wanted mount angles by intensity{beside} mount {advice.nearest_mount_deg:g} degrees.",
        drawn,
    )


def _in_shown_units(frame: pd.DataFrame) -> pd.DataFrame:
    """Losses in % where their label says so."""
    factor = frame["criterion"].map({name: 100 if "%" in label else 1 for name, label in LOSS_LABELS.items()})
    losses = [name for name in ("loss", "low", "high", "regret", "regret_high") if name in frame]
    return frame.assign(**{name: frame[name] * factor for name in losses})


def _matters(criterion: str, smallest: float) -> str:
    in_percent = "%" in LOSS_LABELS[criterion]
    return f"{SHORT[criterion]} {100 * smallest:g} %" if in_percent else f"{SHORT[criterion]} {smallest:g}"


def _overall_row(advice) -> pd.DataFrame:
    low, high = advice.overall_mount_interval_deg
    phase_low, phase_high = advice.overall_phase_interval_deg
    row = {
        "intensity": "overall",
        "torque_phase_deg": advice.overall_phase_deg,
        "torque_phase_low_deg": phase_low,
        "torque_phase_high_deg": phase_high,
        "mount_deg": advice.overall_mount_deg,
        "mount_low_deg": low,
        "mount_high_deg": high,
    }
    return pd.DataFrame([row])


def _near(angles_deg: pd.Series, centre_deg: float) -> pd.Series:
    """Move axes by half turns to the stretch around `centre_deg`, so that neighbours are drawn side by side."""
    return (angles_deg - centre_deg + 90) % 180 - 90 + centre_deg
