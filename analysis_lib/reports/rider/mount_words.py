"""Sentences on where an oval ring could sit for a rider."""

from __future__ import annotations

from analysis_lib.mechanics.mount_criteria import ANY, ONE, UNDECIDED
from analysis_lib.reports.rider.mount_exhibits import only_mount_frame
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.rider_mounting import RiderMounting
from analysis_lib.statistics.estimates import show_number

USUAL = "arm at the torque phase"
CHOICE = (
    "The mount usually stays the same as power rises from about 310 to 460 W (common practice, no source); the table by"
    " intensity shows whether it does here.",
    "Comfort and the rider's own preference may override the figures between neighbouring mounts (common practice, no"
    " source).",
)
"""What practice says where there are mounts to choose from."""


def verdict(mounting: RiderMounting) -> str:
    """Say which of the available mounts will do; of one there is nothing to choose."""
    if len(available := mounting.available_mounts_deg) == 1:
        return f"The ring has one mount only, {_angles(available)}, so there is nothing to choose."
    found = mounting.verdict
    angles = _angles(found.mounts_deg)
    if found.verdict == UNDECIDED:
        return (
            "Not decided: by no criterion do these recordings tell the available mounts apart. Record more turns, on"
            f" more than one day{_or_angle(mounting)}."
        )
    besides = f" Not decided by {_and(found.undecided)}." if found.undecided else ""
    if found.verdict == ANY:
        return f"Any of these mounts will do by every criterion: {angles}.{besides}"
    if found.verdict == ONE:
        return f"This one: the mount at {angles} is the only one that will do by every criterion.{besides}"
    return (
        f"{_by_usual(mounting)}. No mount will do by every criterion. What will do: {_wanted_by_each(mounting)}. No"
        f" criterion has been shown to predict performance.{besides}"
    )


def _or_angle(mounting: RiderMounting) -> str:
    """What else may decide: more turns do not lessen what the crank angle leaves open."""
    return ", and find where the crank angle is zero more closely" if mounting.angle.total_deg > 0 else ""


def _by_usual(mounting: RiderMounting) -> str:
    usual = "The usual rule puts the oval's largest lever arm where this rider's torque is centred"
    rows = mounting.criteria.verdicts
    mounts = rows.loc[rows["criterion"] == USUAL, "mounts_deg"].iloc[0]
    if not mounts:
        return f"{usual}; by it the recordings do not decide"
    which = "the mount" if len(mounts) == 1 else "the mounts"
    return f"{usual}; for that, {which} at {_angles(mounts)} will do"


def mounting(analysis: RiderAnalysis) -> list[str]:
    """Say what stands behind `verdict` and how little hangs on it."""
    mounting = analysis.mounting
    return [
        _neighbours(mounting) if len(mounting.available_mounts_deg) > 1 else _only_mount(analysis),
        *mounting.sentences(),
        *_recorded_on_oval(analysis),
        *(CHOICE if len(mounting.available_mounts_deg) > 1 else ()),
        (
            "The evidence for tuning the angle at all is thin: nearly all published crossovers of submaximal riding found"
            " no effect of the ring itself."
        ),
    ]


def _wanted_by_each(mounting: RiderMounting) -> str:
    parts = []
    for row in mounting.criteria.verdicts.to_dict("records"):
        if row["verdict"] == UNDECIDED or row["criterion"] == USUAL:
            continue
        all_of_them = len(row["mounts_deg"]) == len(mounting.available_mounts_deg)
        parts.append(f"by {row['criterion']}, {'any' if all_of_them else _angles(row['mounts_deg'], 'or')}")
    return "; ".join(parts)


def _neighbours(mounting: RiderMounting) -> str:
    """What sitting one mount away from the usual criterion's best costs."""
    rows = mounting.criteria.mountings
    rows = rows[rows["criterion"] == USUAL].sort_values("mount_deg").reset_index(drop=True)
    best = int(rows["loss"].argmin())
    beside = [place for place in (best - 1, best + 1) if 0 <= place < len(rows)]
    costs = _and(
        f"{show_number(100 * float(rows['regret'][place]), 1)} % (at {rows['mount_deg'][place]:g}°)"
        for place in beside
    )
    return (
        f"One mount away from {rows['mount_deg'][best]:g}° the arm at the torque phase is shorter by {costs}"
        " of the largest arm."
    )


def _only_mount(analysis: RiderAnalysis) -> str:
    """By which criteria another angle than the only mount would do better by as much as matters."""
    frame = only_mount_frame(analysis)
    inside, outside = (frame.loc[frame["in_zone"] == found, "criterion"].tolist() for found in (True, False))
    mount = _angles(analysis.mounting.available_mounts_deg)
    start = f"The ring has one mount only, {mount}, so there is nothing to choose."
    none = f" By {_and(inside)} no other angle would be better by as much as matters." if inside else ""
    some = f" By {_and(outside)} another angle would be, which this ring does not allow." if outside else ""
    return f"{start}{none}{some}"


def _recorded_on_oval(analysis: RiderAnalysis) -> list[str]:
    names = analysis.only_on_oval
    if not names:
        return []
    start = f"At {_and(names)} the stroke was recorded on the oval ring itself"
    if analysis.legs_if_known is None or not analysis.ridden_mounts_deg:
        return [
            f"{start}, which shifts the torque phase. It is not corrected, because riders.csv lacks the body mass or"
            " crank length, or trials.csv the mount, that a correction needs."
        ]
    return [
        f"{start}. It was carried to the round ring on the assumption that the torque of the joints is the same at"
        f" every angle: {analysis.legs.sentence()}"
    ]


def _angles(mounts_deg: list[float], last: str = "and") -> str:
    return _and((f"{mount:g}°" for mount in mounts_deg), last)


def _and(words, last: str = "and") -> str:
    """Join words as a sentence does.

    >>> _and(["55°", "70°", "85°"])
    '55°, 70° and 85°'
    """
    listed = list(words)
    return f" {last} ".join([", ".join(listed[:-1]), listed[-1]]) if len(listed) > 1 else "".join(listed)
