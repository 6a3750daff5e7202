"""An empty study folder, to be filled in."""

from __future__ import annotations

from pathlib import Path

from analysis_lib.study.outcomes.quantity_guide import describe_quantities
from analysis_lib.study.tables.datapackage import write_empty_package
from analysis_lib.study.tables.folder_writer import claim_folder, write_table, write_text
from analysis_lib.study.tables.rows import CALIBRATIONS, RIDERS, TRIALS, ZERO_CHECKS, TableKind
from analysis_lib.study.template.template_numbers import TEMPLATE


def write_template(directory: Path | str) -> Path:
    """Write an empty study folder: a commented study.toml, the tables' headers, and their columns described.

    They are described in words, as a README, and as a Data Package.

    Parameters
    ----------
    directory : Path or str
        New or empty folder.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    Refusal
        For a folder that holds something.
    """
    root = claim_folder(Path(directory))
    write_text(root / "study.toml", TEMPLATE.read_text(encoding="utf-8"))
    for kind in (RIDERS, TRIALS, ZERO_CHECKS, CALIBRATIONS):
        write_table(root, kind, [])
    write_text(root / "README.md", describe_tables())
    write_empty_package(root)
    return root


def describe_tables() -> str:
    """Describe every column of every table, as a README for whoever fills them in."""
    parts = [_INTRODUCTION]
    for kind, about in _ABOUT.items():
        rows = [_describe_column(kind, column) for column in kind.known_columns]
        parts.append(
            "\n".join(
                [
                    f"## {kind.file}\n\n{about}\n",
                    "| column | unit | empty cell | what it is |",
                    "|---|---|---|---|",
                    *rows,
                ]
            )
        )
    parts += [_QUANTITIES, describe_quantities(), _two_periods(), _DESCRIPTOR]
    return "\n\n".join(parts) + "\n"


def _two_periods() -> str:
    """Write the tables of one rider who rides each ring once, as text that can be copied."""
    blocks = [_TWO_PERIODS]
    for kind, rows in _EXAMPLE.items():
        lines = [",".join(kind.columns)]
        lines += [",".join(row.get(column, "") for column in kind.columns) for row in rows]
        blocks.append(f"`{kind.file}`:\n\n" + "\n".join(f"    {line}" for line in lines))
    return "\n\n".join(blocks)


def _describe_column(kind: TableKind, column: str) -> str:
    described = kind.column_schema(column)
    empty = "allowed" if kind.may_be_empty(column) else "no"
    if column not in kind.columns:
        empty = "allowed; the column may be left out"
    what = described["description"] + (f", as {_MOMENT}" if kind.column_type(column) == "datetime" else "")
    return f"| {column} | {described.get('unit', '')} | {empty} | {what} |"


_MOMENT = "2026-03-02T09:14:00"


_ABOUT = {
    RIDERS: "One row a rider. Pseudonyms only: names and birthdays have no place in this folder.",
    TRIALS: (
        "One row a trial: one rider, one period, one ring, one intensity. Add a column for each outcome that "
        'study.toml declares with source = "trials"; an empty cell there is a missing value. '
        'What has no unit, such as a score of exertion, has unit = "" or unit = "1" in study.toml. A trial that '
        "was not ridden needs no row; with one (exclude = yes, why in exclude_reason, no file) the pages say why. "
        "Another meter's mean power of the same trials may stand in a column of its own: "
        "notebook 07 compares it with the recorder."
    ),
    ZERO_CHECKS: (
        "One row for each look at the unloaded recorder: crank free, no foot on the pedals. Look before and "
        "after each block of trials; half a newton metre of zero torque is 5 W at 90 rpm. Where pedal forces are "
        "recorded, add the columns of the forces that the recorder maps and write what they show with no foot on the "
        "pedals: it is taken off before the forces count as torque. Where only a tangential force is recorded, "
        "`zero_left_Nm` and `zero_right_Nm` will do as well, as that force times the crank length."
    ),
    CALIBRATIONS: (
        "Optional: delete it if nothing was calibrated. One row a load, in the order in which the loads were applied, "
        "going up and down again, at least three loads of a channel at one time. The slope is divided out of every "
        "trial that follows; one that differs from 1 by more than 10 % needs `calibration_override = true`."
    ),
}

_QUANTITIES = """## Quantities of the recordings

An outcome of `study.toml` with `source = "signals"` has one of these names and its unit. What a recorder does not tell,
such as the share of a leg where only the total is recorded, has no value."""

_TWO_PERIODS = """## Two periods, filled in

With `sequences = { RO = ["round", "oval"], OR = ["oval", "round"] }`, one intensity `easy` and one recorder `crank`,
rider A1 of the sequence RO has these rows; a rider of OR has the rings the other way round."""

_RIDDEN = {"rider": "A1", "visit": "1", "intensity": "easy", "environment": "ergometer", "recorder": "crank"}
_EXAMPLE: dict[TableKind, list[dict[str, str]]] = {
    RIDERS: [{"rider": "A1", "sequence": "RO", "mass_kg": "70.5", "crank_length_mm": "172.5"}],
    TRIALS: [
        {
            "trial": "A1-1",
            "period": "1",
            "ring": "round",
            "file": "recordings/A1-1.csv",
            "started_at": "2026-03-02T09:14:00",
            **_RIDDEN,
        },
        {
            "trial": "A1-2",
            "period": "2",
            "ring": "oval",
            "mount_deg": "70",
            "file": "recordings/A1-2.csv",
            "started_at": "2026-03-02T09:44:00",
            **_RIDDEN,
        },
    ],
    ZERO_CHECKS: [
        {
            "recorder": "crank",
            "checked_at": f"2026-03-02T{time}:00",
            "temperature_C": warm,
            "zero_left_Nm": left,
            "zero_right_Nm": right,
        }
        for time, warm, left, right in (("09:05", "20.5", "0.2", "-0.1"), ("10:05", "21.5", "0.3", "-0.1"))
    ],
}

_DESCRIPTOR = """## datapackage.json

Optional: nothing needs it, and a folder without it is as good. It describes the same columns for other programs (a Data
Package of the Frictionless Standards); where it is there, what it demands of your own columns is checked too."""

_INTRODUCTION = """# A ring study

1. Fill in `study.toml`; its notes explain each key. Its last table, `[plan]`, is what the study is planned on.
2. Run `roundoval plan --dry-run` on this folder to see what the planned riders can show, then `roundoval plan`: it draws
   the allocation and freezes the protocol in `plan/`, before the first rider is enrolled.
3. Ride, and fill in the tables as you go: a rider of `riders.csv` gets the sequence of `plan/allocation_open.csv`. They are
   comma-separated text in UTF-8 with decimal points; keep all columns. Dates and times are those of the lab's clock as
   `2026-03-02T09:14:00`, without a time zone: set the sheet's cells to text first.
4. Put the recordings, as the recorder wrote them, into `recordings/`. Nothing ever changes them.
5. Run `roundoval check` until it lists no problem. Cautions and notes stop nothing; a recording beyond mending is left out
   in `trials.csv` by exclude = yes, with why in exclude_reason.
6. Run `roundoval report` for the pages."""
