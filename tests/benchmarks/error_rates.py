"""Write data_synthetic/validation/coverage.csv: what the analyses do in simulated studies of 6 to 20 riders.

Run from the project's folder; it takes some minutes. The simulations are those of the long tests, same seeds.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import pandas as pd

PROJECT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(PROJECT / "tests" / "statistics"))

from long_run_rates import RIDERS, axial_coverage, curve_rates, relabelling_rates, ring_effect_rates  # noqa: E402
from rings_long_run import WORLDS as RINGS_WORLDS  # noqa: E402
from rings_long_run import rings_rates  # noqa: E402
from test_mixed_long_run import STUDIES, WORLDS, simulate  # noqa: E402

TARGET = PROJECT / "data_synthetic" / "validation" / "coverage.csv"
COLUMNS = ["analysis", "riders", "studies", "type_1_error", "promised_error", "coverage", "promised_coverage"]


def rows_for(riders: int) -> list[tuple]:
    """All analyses at one number of riders."""
    effect, relabelled = ring_effect_rates(riders), relabelling_rates(riders)
    curves, pointwise = curve_rates(riders)
    nan = math.nan
    rows: list[tuple] = [
        ("primary t on riders' contrasts", riders, effect.runs, effect.rejected, 0.05, effect.covered, 0.95),
        ("relabelling test", riders, relabelled.runs, relabelled.rejected, 0.10, relabelled.covered, 0.90),
        ("curve band, sign flips", riders, curves.runs, curves.rejected, 0.05, curves.covered, 0.95),
        ("warning: mean ± 2 SE at each angle", riders, curves.runs, nan, nan, pointwise, 0.95),
        ("axial mean, concentration 10", riders, 3000, nan, nan, axial_coverage(riders, 10), 0.95),
    ]
    for name in ("riders differ", "riders differ, cells missing"):
        held, alarms = simulate(riders, WORLDS[name], seed=1)
        rows.append(_ring_effect_row(f"mixed model, {name}", riders, held))
        interaction = f"mixed model, ring × intensity, {name}"
        rows.append((interaction, riders, STUDIES, alarms, 0.05, nan, nan))
    held, _ = simulate(riders, WORLDS["riders differ"], seed=3, rider_only=True, df_method="satterthwaite")
    rows.append(_ring_effect_row("warning: rider intercept alone", riders, held))
    return rows + rings_rows(riders)


def rings_rows(riders: int) -> list[tuple]:
    """Three rings at one number of riders: any of them found without an effect, all intervals holding at once."""
    rows = []
    for name in RINGS_WORLDS:
        found = rings_rates(riders, name)
        analysis = f"three rings at once, {name}"
        rows.append((analysis, riders, found.studies, found.found_any, 0.05, found.coverage, 0.95))
    return rows


def _ring_effect_row(name: str, riders: int, held: float) -> tuple:
    """A constant added to every oval trial moves the interval by it, so zero is rejected where the truth is missed."""
    return (name, riders, STUDIES, 1 - held, 0.05, held, 0.95)


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
