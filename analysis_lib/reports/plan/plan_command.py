"""The planning of a study folder on the command line: what must be known first, then the frozen protocol."""

from __future__ import annotations

import shlex
from pathlib import Path

from analysis_lib.study.declared.protocol import PLAN_FOLDER
from analysis_lib.study.planning.frozen_protocol import (
    PROTOCOL,
    FrozenProtocol,
    ProtocolDraft,
    draft_protocol,
)
from analysis_lib.study.planning.plan import StudyPlan
from analysis_lib.study.planning.plan_power import EQUIVALENCE, power_table
from analysis_lib.study.planning.protocol_text import describe_cautions, describe_size
from analysis_lib.study.template.template_numbers import numbers_still_the_template_s


def plan_folder(folder: Path, dry_run: bool = False) -> None:
    """Print what the planned riders can show, then freeze the protocol; a dry run prints the protocol and writes nothing.

    Raises
    ------
    Refusal, Refusals
        What `draft_protocol` refuses, and a protocol that is frozen already.
    """
    draft = draft_protocol(folder)
    if not dry_run:
        draft.check_free()
    _print(
        [*warn_of_power(draft.plan, dry_run), *map(str, numbers_still_the_template_s(draft.plan.settings))]
    )
    if dry_run:
        _print([draft.text, nothing_written(draft, str(folder))])
        return
    _print([*describe_size(draft.plan), "", *describe_cautions(draft.plan, draft.trials_listed), ""])
    _print(report_frozen(draft.freeze(), str(folder)))


def _print(lines: list[str]) -> None:
    if lines:
        print("\n".join(lines), flush=True)


def warn_of_power(plan: StudyPlan, dry_run: bool = False) -> list[str]:
    """Say before anything is frozen that the planned riders are too few; nothing where they are enough."""
    if plan.is_enough:
        return []
    tests = power_table(plan)
    recruit = tests.loc[tests["test"] != EQUIVALENCE, "recruit"].dropna()
    need = int(recruit.max()) if len(recruit) else 0
    more = f" By formula {need} must be recruited." if need > len(plan.riders) else ""
    then = "" if dry_run else " The protocol is frozen all the same, and says so."
    return [
        f"TOO LITTLE POWER: {len(plan.riders)} riders find the smallest effect that matters with a"
        f" power of {plan.simulated[-1].power:.2f}, where {plan.settings.planned.power:g} is wanted.{more}{then}"
    ]


def nothing_written(draft: ProtocolDraft, shown: str) -> str:
    """Say at the end of a dry run that nothing was written, and what to do; `shown` is the folder as the user gave it."""
    if (draft.folder / PROTOCOL).is_file():
        return f"nothing was written (--dry-run); {shown}/{PLAN_FOLDER} holds a frozen protocol already"
    return f"nothing was written (--dry-run); freeze it with: roundoval plan {shlex.quote(shown)}"


def report_frozen(frozen: FrozenProtocol, shown: str) -> list[str]:
    """Say what was written and what to do with it; `shown` is the folder as the user gave it."""
    place = f"{shown}/{PLAN_FOLDER}"
    return [
        f"frozen: {place}/protocol.md and protocol.json, SHA-256 {frozen.sha256}",
        "register that sum where somebody else dates it; on this machine it proves no date",
        "when a rider is enrolled, the sequence of the open list goes into riders.csv",
        f"for staff who meet riders: {place}/allocation_concealed.csv, schedule_concealed.csv",
        f"for whoever mounts the rings: {place}/allocation_open.csv, schedule_open.csv",
    ]
