"""Where the notebooks and the demo study are."""

from __future__ import annotations

from pathlib import Path

from analysis_lib.refusals import Refusal

PACKAGE = Path(__file__).resolve().parents[2]
PROJECT = PACKAGE.parent
DEMO_NAME = "lantern_hill"


def notebooks_folder() -> Path:
    """Return the folder of notebooks: beside the library in a checkout, inside it when installed."""
    for folder in (PROJECT / "notebooks", PACKAGE / "reports" / "notebooks"):
        if (folder / "03_rider_report.ipynb").is_file():
            return folder
    raise Refusal(
        "the notebooks",
        f"none beside {PACKAGE.name}/ nor inside it",
        "03_rider_report.ipynb and its fellows",
        "install the project again from a complete copy",
    )


def demo_folder() -> Path:
    """Return the committed demo study's folder; it is absent where the library was installed without it."""
    return PROJECT / "data_synthetic" / DEMO_NAME


def study_folder(study_dir: str) -> Path:
    """Return the folder that a notebook's ``study_dir`` parameter means; empty means the demo study."""
    return Path(study_dir) if study_dir else demo_folder()
