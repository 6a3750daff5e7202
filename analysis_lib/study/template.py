"""An empty study folder, to be filled in."""

from __future__ import annotations

from pathlib import Path

from analysis_lib.study.datapackage import write_empty_package
from analysis_lib.study.folder_writer import claim_folder, write_table, write_text
from analysis_lib.study.rows import CALIBRATIONS, RIDERS, TRIALS, ZERO_CHECKS, TableKind

TEMPLATE = Path(__file__).parent / "template_files" / "study.toml"


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
    return "\n\n".join(parts) + "\n"


def _describe_column(kind: TableKind, column: str) -> str:
    described = kind.column_schema(column)
    empty = "allowed" if kind.may_be_empty(column) else "no"
    if column not in kind.columns:
        empty = "allowed; the column may be left out"
    return f"| {column} | {described.get('unit', '')} | {empty} | {described['description']} |"


_ABOUT = {
    RIDERS: "One row a rider. Pseudonyms only: names and birthdays have no place in this folder.",
    TRIALS: (
        "One row a trial: one rider, one period, one ring, one intensity. Add a column for each outcome that "
        'study.toml declares with source = "trials"; an empty cell there is a missing value. A trial that '
        "was not ridden has no row."
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

_INTRODUCTION = """# A ring study

1. Fill in `study.toml`; its notes explain each key.
2. Fill in the tables. They are comma-separated text in UTF-8 with decimal points; keep all columns.
3. Put the recordings, as the recorder wrote them, into `recordings/`. Nothing ever changes them.
4. Run `roundoval check` on this folder until it has nothing left to say."""
