"""Write data_synthetic/validation/coverage.csv: what the analyses do in simulated studies of 6 to 20 riders.

Run from the project's folder; it takes about twelve minutes. The simulations are those of the long tests, same seeds.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import pandas as pd

PROJECT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(PROJECT / "tests" / "statistics"))

from long_run_rates import (  # noqa: E402
    CONTRAST_WORLDS,
    RIDERS,
    adjusted_curve_rates,
    axial_coverage,
    contrast_rates,
    curve_rates,
    random_field_rates,
    relabelling_rates,
    repeat_coverage,
    ring_effect_rates,
)
from rings_intensity_long_run import (  # noqa: E402
    DEALT,
    FEWER,
    dealt_otherwise_error,
    interaction_error,
    overall_and_trend,
    repeat_rates,
)
from rings_intensity_long_run import STUDIES as OVER_INTENSITIES_STUDIES  # noqa: E402
from rings_intensity_long_run import WORLDS as OVER_INTENSITIES  # noqa: E402
from rings_long_run import WORLDS as RINGS_WORLDS  # noqa: E402
from rings_long_run import rings_rates  # noqa: E402
from test_mixed_long_run import STUDIES, WORLDS, simulate  # noqa: E402

TARGET = PROJECT / "data_synthetic" / "validation" / "coverage.csv"
MOST_STUDIED = ("riders differ", "riders differ, cells missing")
FEWER_STUDIES = 400
PERIODS = "period effect of 2 SD"
COLUMNS = ["analysis", "riders", "studies", "type_1_error", "promised_error", "coverage", "promised_coverage"]


def rows_for(riders: int) -> list[tuple]:
    """All analyses at one number of riders."""
    parts = (primary_rows, curve_rows, other_rows, mixed_rows, rings_rows)
    return [row for part in parts for row in part(riders)]


def primary_rows(riders: int) -> list[tuple]:
    """The t on riders' contrasts in several worlds, and the relabelling test."""
    worlds = {"": ring_effect_rates(riders)}
    worlds |= {f", {name}": contrast_rates(riders, name) for name in CONTRAST_WORLDS}
    rows: list[tuple] = [
        (f"primary t on riders' contrasts{name}", riders, t.runs, t.rejected, 0.05, t.covered, 0.95)
        for name, t in worlds.items()
    ]
    found = relabelling_rates(riders)
    return [*rows, ("relabelling test", riders, found.runs, found.rejected, 0.10, found.covered, 0.90)]


def curve_rows(riders: int) -> list[tuple]:
    """Bands and thresholds of whole curves."""
    (plain, pointwise), (adjusted, not_adjusted) = curve_rates(riders), adjusted_curve_rates(riders)
    field = random_field_rates(riders)
    rows = [
        (name, riders, rates.runs, rates.rejected, 0.05, rates.covered, 0.95)
        for name, rates in (
            ("curve band, sign flips", plain),
            (f"curve band, {PERIODS}, adjusted", adjusted),
            ("curve threshold, random field", field),
        )
    ]
    unadjusted = (
        f"curve band, {PERIODS}, not adjusted", riders, adjusted.runs, not_adjusted, 0.05, 1 - not_adjusted, 0.95,
    )  # fmt: skip
    warning = (
        "warning: mean ± 2 SE at each angle", riders, plain.runs, math.nan, math.nan, pointwise, 0.95,
    )  # fmt: skip
    return [*rows, unadjusted, warning]


def other_rows(riders: int) -> list[tuple]:
    """Intervals of axes and of what two trials a rider say of repeatability."""
    held = {"axial mean, concentration 10": (3000, axial_coverage(riders, 10))}
    held |= {f"two trials a rider: {name}": (500, share) for name, share in repeat_coverage(riders).items()}
    return [(name, riders, runs, math.nan, math.nan, share, 0.95) for name, (runs, share) in held.items()]


def mixed_rows(riders: int) -> list[tuple]:
    """The mixed model in several worlds; with variances of its own by ring, Satterthwaite, and a rider intercept alone."""
    rows = []
    for name, world in WORLDS.items():
        studies = STUDIES if name in MOST_STUDIED else FEWER_STUDIES
        held, alarms = simulate(riders, world, seed=1, studies=studies)
        rows.append(_ring_effect_row(f"mixed model, {name}", riders, held, studies))
        interaction = f"mixed model, ring × intensity, {name}"
        rows.append((interaction, riders, studies, alarms, 0.05, math.nan, math.nan))
    missing, unequal = "riders differ, cells missing", "riders differ, oval trials vary more, cells missing"
    others = {
        f"mixed model, {unequal}, variance by ring": (
            unequal,
            {"seed": 2, "own_variances": True, "studies": FEWER_STUDIES},
        ),
        f"mixed model, {missing}, Satterthwaite": (
            missing,
            {"seed": 1, "df_method": "satterthwaite", "studies": FEWER_STUDIES},
        ),
        "warning: rider intercept alone": (
            "riders differ",
            {"seed": 3, "rider_only": True, "df_method": "satterthwaite", "studies": STUDIES},
        ),
    }
    for name, (world, how) in others.items():
        held, _ = simulate(riders, WORLDS[world], **how)
        rows.append(_ring_effect_row(name, riders, held, how["studies"]))
    return rows


def rings_rows(riders: int) -> list[tuple]:
    """Three rings at one number of riders: any of them found without an effect, all intervals holding at once.

    At one intensity, over three, and ridden there and back.
    """
    rows = []
    for name in RINGS_WORLDS:
        found = rings_rates(riders, name)
        analysis = f"three rings at once, {name}"
        rows.append((analysis, riders, found.studies, found.found_any, 0.05, found.coverage, 0.95))
    for name in OVER_INTENSITIES:
        for part, found in overall_and_trend(riders, name).items():
            analysis = f"three rings, {part} of three intensities, {name}"
            studies = OVER_INTENSITIES_STUDIES
            rows.append((analysis, riders, studies, found.found_any, 0.05, found.coverage, 0.95))
        alarms = interaction_error(riders, name)
        rows.append(
            (f"three rings, ring × intensity, {name}", riders, FEWER, alarms, 0.05, math.nan, math.nan)
        )
        twice = repeat_rates(riders, name)
        analysis = f"three rings ridden twice, {name}"
        rows.append((analysis, riders, twice.studies, twice.found_any, 0.05, twice.coverage, 0.95))
    name = "riders differ"
    alarms = dealt_otherwise_error(riders, name)
    rows.append((f"three rings dealt otherwise, {name}", riders, DEALT, alarms, 0.05, math.nan, math.nan))
    return rows


def _ring_effect_row(name: str, riders: int, held: float, studies: int) -> tuple:
    """A constant added to every oval trial moves the interval by it, so zero is rejected where the truth is missed."""
    return (name, riders, studies, 1 - held, 0.05, held, 0.95)


def write_table() -> None:
    """Simulate and write the table, one row an analysis and number of riders."""
    frame = pd.DataFrame([row for riders in RIDERS for row in rows_for(riders)], columns=COLUMNS)
    promised = frame["promised_error"].fillna(1 - frame["promised_coverage"])
    frame["simulation_se"] = (promised * (1 - promised) / frame["studies"]) ** 0.5
    frame = frame.sort_values("analysis", kind="stable")
    TARGET.parent.mkdir(exist_ok=True)
    frame.to_csv(TARGET, index=False, float_format="%.4f", lineterminator="\n")
    print(frame.to_string(index=False))


if __name__ == "__main__":
    write_table()
