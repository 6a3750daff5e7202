"""The protocol of a study, frozen: what was declared before the data, and the checksums that hold it still.

A checksum proves that a file is what it was, not when it was written. Whoever needs the date registers the sum of
protocol.json with somebody who dates it: a registry, a repository, a journal.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.statistics.simulated_rings import SimulatedRings
from analysis_lib.statistics.simulation import SimulatedPlan
from analysis_lib.study.checks.readiness import check_placeholders
from analysis_lib.study.declared.protocol import PLAN_FOLDER
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.planning.allocation_list import conceal_allocation
from analysis_lib.study.planning.plan import StudyPlan, plan_study
from analysis_lib.study.planning.plan_power import power_table
from analysis_lib.study.planning.protocol_text import LEVEL, describe_analysis, write_protocol
from analysis_lib.study.planning.schedule import conceal_schedule
from analysis_lib.study.tables.contents import Contents, read_contents
from analysis_lib.study.tables.folder_writer import write_text
from analysis_lib.study.tables.named_folder import check_study_folder

PROTOCOL = "protocol.json"
SUMS = "SHA256SUMS"
OPEN_ALLOCATION = "allocation_open.csv"
OPEN_SCHEDULE = "schedule_open.csv"
FORMAT = "ring study protocol, version 1"

#: How things are called and shown is no part of what was promised.
_NOT_PROMISED = {"label", "order"}


@dataclass(frozen=True)
class FrozenProtocol:
    """A protocol as it was frozen.

    Attributes
    ----------
    folder : Path
    sha256 : str
        Of protocol.json, which names the sums of the allocation and the schedule.
    plan : StudyPlan
    trials_listed : int
        Trials that trials.csv held already; a protocol written after them promises nothing about them.
    """

    folder: Path
    sha256: str
    plan: StudyPlan
    trials_listed: int


@dataclass(frozen=True)
class ProtocolDraft:
    """A protocol as it would be frozen now; nothing is written yet.

    Attributes
    ----------
    contents : Contents
        What the folder says.
    plan : StudyPlan
    """

    contents: Contents
    plan: StudyPlan

    @property
    def folder(self) -> Path:
        """Where it would stand."""
        return self.contents.root / PLAN_FOLDER

    @property
    def trials_listed(self) -> int:
        """Trials that trials.csv holds already."""
        return len(self.contents.trial_ids)

    @property
    def text(self) -> str:
        """The protocol in words."""
        return write_protocol(self.plan, self.trials_listed)

    def check_free(self) -> None:
        """Refuse where a protocol or anything else stands in `plan` already."""
        _check_free(self.folder)

    def freeze(self) -> FrozenProtocol:
        """Write the folder `plan`, all files at once or none."""
        self.check_free()
        beside = Path(tempfile.mkdtemp(dir=self.contents.root, prefix=f".{PLAN_FOLDER}."))
        try:
            _write_files(beside, self)
            beside.chmod(0o755)
            if self.folder.exists():
                self.folder.rmdir()
            beside.rename(self.folder)
        except BaseException:
            shutil.rmtree(beside, ignore_errors=True)
            raise
        sha256 = sha256_of_file(self.folder / PROTOCOL)
        return FrozenProtocol(self.folder, sha256, self.plan, self.trials_listed)


def draft_protocol(root: Path) -> ProtocolDraft:
    """Plan the study of a folder, and write nothing.

    Raises
    ------
    Refusal
        When there is no such folder; what `plan_study` refuses.
    Refusals
        When study.toml or a whole table cannot be used, or study.toml is not filled in.
    """
    check_study_folder(root)
    contents, _ = read_contents(root)
    if unfilled := list(check_placeholders(contents)):
        raise Refusals(list(unfilled))
    plan = plan_study(contents.settings, tuple(str(rider) for rider in contents.riders["rider"]))
    return ProtocolDraft(contents, plan)


def freeze_protocol(root: Path) -> FrozenProtocol:
    """Plan the study of a folder and freeze its protocol in the folder `plan`, all files at once or none.

    Parameters
    ----------
    root : Path
        The study folder. Nothing outside its new folder `plan` is written.

    Raises
    ------
    Refusal
        A protocol or anything else stands in `plan` already; what `plan_study` refuses.
    Refusals
        When study.toml or a whole table cannot be used, or study.toml is not filled in.
    """
    return draft_protocol(root).freeze()


def describe_promises(settings: StudySettings) -> dict[str, Any]:
    """Gather everything of study.toml that a protocol promises, and the analysis that these pages make.

    The seed of the allocation is left out, so that the protocol may be shown to everybody before the study; the
    checksum of the open allocation list stands for it.

    Returns
    -------
    dict
        Of text, numbers, lists and dicts. Outcomes and intensities stand under their names.
    """
    said = settings.model_dump(mode="json", exclude={"recorders": True, "plan": {"allocation_seed"}})
    return {
        "question": said["study"]["question"],
        "seed": said["study"]["seed"],
        "rings": said["rings"],
        "drivetrain": said["drivetrain"],
        "sequences": said["design"]["sequences"],
        "intensities": _by_name(said["intensities"]),
        "outcomes": _by_name(said["outcomes"]),
        "rules": said["rules"],
        "metabolism": said["metabolism"],
        "plan": said["plan"],
        "analysis": {"method": describe_analysis(settings), "level": LEVEL},
    }


def sha256_of_file(path: Path) -> str:
    """Return a file's SHA-256 as hexadecimal digits."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _by_name(parts: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        part["name"]: {key: value for key, value in part.items() if key not in {"name", *_NOT_PROMISED}}
        for part in parts
    }


def _check_free(folder: Path) -> None:
    if (folder / PROTOCOL).is_file():
        raise Refusal(
            f"{PLAN_FOLDER}/{PROTOCOL}",
            f"a protocol frozen with SHA-256 {sha256_of_file(folder / PROTOCOL)}",
            "a study without one",
            "keep it, and let the study's page list every change since; a study that starts afresh gets a"
            " folder of its own",
        )
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise Refusal(f"{PLAN_FOLDER}/", "something in it", "a new or empty folder", "move it elsewhere")


def _write_files(folder: Path, draft: ProtocolDraft) -> None:
    plan, settings = draft.plan, draft.contents.settings
    tables = {
        OPEN_ALLOCATION: plan.allocation,
        "allocation_concealed.csv": conceal_allocation(plan.allocation),
        OPEN_SCHEDULE: plan.schedule,
        "schedule_concealed.csv": conceal_schedule(plan.schedule),
        "power.csv": power_table(plan),
        "simulated.csv": _simulated_table(plan),
        "designs.csv": plan.designs(),
    }
    for name, table in tables.items():
        write_text(folder / name, _as_csv(table))
    protocol = {
        "format": FORMAT,
        "study": settings.study.name,
        "promised": describe_promises(settings),
        "trials_listed_when_frozen": draft.trials_listed,
        "sha256": {name: sha256_of_file(folder / name) for name in (OPEN_ALLOCATION, OPEN_SCHEDULE)},
    }
    text = json.dumps(protocol, indent=1, sort_keys=True, ensure_ascii=False) + "\n"
    write_text(folder / PROTOCOL, text)
    write_text(folder / "protocol.md", draft.text)
    sums = [f"{sha256_of_file(path)}  {path.name}" for path in sorted(folder.iterdir())]
    write_text(folder / SUMS, "\n".join(sums) + "\n")


def _simulated_table(plan: StudyPlan) -> pd.DataFrame:
    rows = [
        {
            "true_effect": found.effect,
            "riders": found.riders,
            "studies": found.studies,
            "zero_excluded": found.power,
            "zero_excluded_se": found.power_se,
            **found.verdicts,
            "coverage": found.coverage,
            "mean_riders_analysed": found.mean_riders,
            "not_analysable": found.not_analysable,
            **_found_of_rings(found),
        }
        for found in plan.simulated
    ]
    return pd.DataFrame(rows)


def _found_of_rings(found: SimulatedPlan) -> dict[str, float]:
    if not isinstance(found, SimulatedRings):
        return {}
    return {"found_any_ring": found.found_any, "found_all_rings": found.found_all}


def _as_csv(table: pd.DataFrame) -> str:
    return table.to_csv(index=False, float_format="%.10g", lineterminator="\n")
