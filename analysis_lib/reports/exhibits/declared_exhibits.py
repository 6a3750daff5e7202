"""What was fixed before any number of a page was seen: rules of study.toml, level, bins and draws."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.exhibits.number_links import DECLARED, SMALLEST_EFFECT
from analysis_lib.study.declared.protocol import Rules
from analysis_lib.study.declared.settings import StudySettings
from analysis_lib.study.planning.protocol_text import LEVEL, unit_after

BINS = 360


def declared_table(settings: StudySettings, draws: int = 0) -> TableExhibit:
    """List what was declared, so that sentences about it lead to a row as those about results do.

    Parameters
    ----------
    settings : StudySettings
        Its rules stand under their names in study.toml, the smallest effects under their outcomes.
    draws : int
        Bootstrap draws of the page; 0 for a page without any.
    """
    rows: list[tuple[str, float, str]] = [
        (
            f"{SMALLEST_EFFECT}{_in_unit(unit_after(outcome))}: {outcome.label}",
            float(outcome.smallest_effect),
            "a smaller one counts as none",
        )
        for outcome in settings.outcomes
    ]
    rows += [
        ("interval", LEVEL, "level of intervals and bands, where a sentence does not say another"),
        (
            "verdict interval",
            1 - 0.1 / max(len(settings.oval_rings), 1),
            "level of the interval that must lie inside ± the smallest effect for a verdict of equivalent",
        ),
        ("one-degree bins", BINS, "of a turn, over which torque is averaged"),
    ]
    rows += [("draws", draws, "of the mean turn, by bootstrap")] if draws else []
    for name, rule in Rules.model_fields.items():
        value = getattr(settings.rules, name)
        if isinstance(value, int | float) and not isinstance(value, bool):
            rows.append((name, float(value), str(rule.description)))
    return TableExhibit(
        DECLARED,
        pd.DataFrame(rows, columns=["declared", "value", "meaning"]),
        "What was fixed beforehand: by study.toml, and by the program. Names with _ are keys of [rules] in study.toml and"
        " end in their unit.",
    )


def _in_unit(unit: str) -> str:
    return f" ({unit.strip()})" if unit else ""
