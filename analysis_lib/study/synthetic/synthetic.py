"""Synthetic studies: a whole study folder whose truth is known.

Everything follows from the mechanics and from virtual riders. The effect of the oval ring is put in as a
factor on the rider's torque; no result is written down beforehand.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from analysis_lib.statistics.designs import williams_design
from analysis_lib.study.declared.settings import FILE
from analysis_lib.study.declared.toml_text import write_toml
from analysis_lib.study.planning.frozen_protocol import freeze_protocol
from analysis_lib.study.planning.schedule import TRIAL
from analysis_lib.study.synthetic.study_truth import TRUTH_FILE, StudyTruth, read_truth, write_json
from analysis_lib.study.synthetic.synthetic_demo import LANTERN_HILL
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES, SyntheticStudy, VirtualOval
from analysis_lib.study.synthetic.virtual_visits import Deal, visit_laboratory
from analysis_lib.study.tables.datapackage import write_package
from analysis_lib.study.tables.folder_writer import claim_folder, write_table, write_text
from analysis_lib.study.tables.rows import RIDERS, TRIALS, ZERO_CHECKS

PLAN_FILE = "generator.json"

README = """# {name}

A synthetic study: no rider in it is a person. `study.toml` and the tables are those of any study folder.
Beside them stand `generator.json`, everything that was put in, and `truth.json`, everything that followed
from it by chance: each rider's torque profile and ring effect, the zero torque of each visit, and the true
power of each trial. The analysis reads neither of the two.
"""

OF_THE_PROTOCOL = """
`plan/` is the protocol, frozen before the first trial. The allocation and the schedule in it were ridden, but for
what went wrong.
"""


def write_study(directory: Path | str, plan: SyntheticStudy) -> StudyTruth:
    """Write a synthetic study: the folder, its truth and its plan.

    Parameters
    ----------
    directory : Path or str
        New or empty folder.
    plan : SyntheticStudy

    Returns
    -------
    StudyTruth
        Also written as truth.json, beside generator.json, which holds the plan. The same plan gives the
        same bytes.

    Raises
    ------
    Refusal
        For a folder that holds something.
    """
    root = claim_folder(Path(directory))
    settings = plan.settings().model_dump(exclude_defaults=True)
    write_text(root / FILE, write_toml(settings) + "\n")
    deals = _freeze(plan, root) if plan.protocol else [Deal(sequence, {}) for sequence in _allocate(plan)]
    records = [visit_laboratory(plan, number, deal, root) for number, deal in enumerate(deals, start=1)]
    write_table(root, RIDERS, [record.rider for record in records])
    write_table(root, TRIALS, [row for record in records for row in record.trials])
    write_table(root, ZERO_CHECKS, [row for record in records for row in record.zero_checks])
    write_json(root / PLAN_FILE, plan.as_dict())
    write_json(root / TRUTH_FILE, [record.truth for record in records])
    more = OF_THE_PROTOCOL if plan.protocol else ""
    write_text(root / "README.md", README.format(name=plan.name) + more)
    write_package(root)
    return read_truth(root)


def write_demo(directory: Path | str) -> StudyTruth:
    """Write the demo study, Lantern Hill: an invented laboratory with twelve riders and the usual mishaps."""
    return write_study(directory, LANTERN_HILL)


def small_study(
    directory: Path | str, riders: int = 4, duration_s: float = 12.0, **changes: Any
) -> StudyTruth:
    """Write a small, quick study without mishaps.

    Parameters
    ----------
    directory : Path or str
    riders : int
    duration_s : float
        Length of a recording, which is analysed whole but for its first second.
    **changes
        Any field of SyntheticStudy, such as ``seed`` or ``faults``.

    Returns
    -------
    StudyTruth
    """
    quiet: dict[str, Any] = {
        "name": "Small study",
        "spider_riders": (),
        "protocol": None,
        "gases": None,
        "other_orders": (),
        "not_ridden": (),
        "left_out": (),
        "faults": (),
        "rules": {},
        "ended": False,
    }
    return write_study(
        directory,
        replace(
            LANTERN_HILL, **{**quiet, "riders": riders, "duration_s": duration_s, "start_s": 1.0, **changes}
        ),
    )


SEVERAL_RINGS = ("round", "oval", "strong")
ONE_RIDERS_SEED = 7


def small_rings_study(
    directory: Path | str, riders: int = 6, duration_s: float = 6.0, **changes: Any
) -> StudyTruth:
    """Write a small, quick study of three rings in Williams's orders, at two intensities and without mishaps.

    The ring "strong" has the axis ratio 1.25 and twice the effect of the ring "oval".

    Parameters
    ----------
    directory : Path or str
    riders : int
        A multiple of six gives every order to equally many.
    duration_s : float
        Length of a recording.
    **changes
        Any field of SyntheticStudy.
    """
    several: dict[str, Any] = {
        "name": "Small study of three rings",
        "question": "At a fixed perceived exertion, does either of two oval rings change power?",
        "sequences": williams_design(SEVERAL_RINGS),
        "further_ovals": (VirtualOval("strong", 1.25, 70.0, effect=2.0),),
        "intensities": DEMO_INTENSITIES[::2],
    }
    return small_study(directory, riders, duration_s, **{**several, **changes})


def small_rider_study(directory: Path | str, duration_s: float = 6.0, **changes: Any) -> StudyTruth:
    """Write a small, quick study of one rider: twelve periods, the first ring of each pair of them drawn by lot.

    Parameters
    ----------
    directory : Path or str
    duration_s : float
        Length of a recording.
    **changes
        Any field of SyntheticStudy.
    """
    pairs = np.random.default_rng(ONE_RIDERS_SEED).permuted([["round", "oval"]] * 6, axis=1)
    alone: dict[str, Any] = {
        "name": "Small study of one rider",
        "question": "At a fixed perceived exertion, does an oval ring change this rider's power?",
        "sequences": {"drawn": tuple(str(ring) for ring in pairs.ravel())},
        "lot": "pairs",
        "period_effects": (0.0,) * 12,
        "intensities": DEMO_INTENSITIES[::2],
    }
    return small_study(directory, 1, duration_s, **{**alone, **changes})


def _freeze(plan: SyntheticStudy, root: Path) -> list[Deal]:
    """Freeze the protocol of a folder without trials, and read off what it deals each rider."""
    for kind in (RIDERS, TRIALS, ZERO_CHECKS):
        write_table(root, kind, [])
    frozen = freeze_protocol(root).plan
    rides = frozen.schedule[frozen.schedule["ride"] == TRIAL]
    deals = []
    for number, row in enumerate(frozen.allocation.itertuples(), start=1):
        own = rides[rides["rider"] == row.rider]
        orders = {int(str(period)): list(here["intensity"]) for period, here in own.groupby("period")}
        orders |= {part.period: list(part.intensities) for part in plan.other_orders if part.rider == number}
        deals.append(Deal(str(row.sequence), orders))
    return deals


def _allocate(plan: SyntheticStudy) -> list[str]:
    """Randomise riders to sequences in blocks that hold each sequence once."""
    rng = np.random.default_rng([plan.seed, 0])
    names = list(plan.sequences)
    blocks = [rng.permutation(names) for _ in range(-(-plan.riders // len(names)))]
    return [str(name) for block in blocks for name in block][: plan.riders]
