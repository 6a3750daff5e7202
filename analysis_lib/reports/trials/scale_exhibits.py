"""Is the torque's scale the one that study.toml says? What the gases and the power asked for tell of every recorder."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.exhibits.notebook_page import Tone
from analysis_lib.reports.trials.other_ring import first_ring_doubts
from analysis_lib.reports.trials.power_exhibits import power_doubts, power_tables
from analysis_lib.reports.trials.scale_cautions import scale_checks
from analysis_lib.reports.trials.shape_exhibits import shape_tables
from analysis_lib.reports.trials.shape_words import first_shape_doubts, shape_meter_doubts
from analysis_lib.reports.trials.trials_at_hand import TrialsAtHand
from analysis_lib.reports.trials.turned_exhibits import turn_tables
from analysis_lib.reports.trials.turned_words import first_turn_doubts, meter_doubts
from analysis_lib.signals.plausibility import FAINTEST_POWER_W
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.doubts.scale_check import ASKED, FAINT, GASES, OTHERS, ScaleCheck
from analysis_lib.study.doubts.torque_scale import (
    DELTA_EFFICIENCY_PCT,
    SPREAD_OF_ONE_PCT,
    UNLOADED_W,
    recorders_in_doubt,
)

UNTOLD = (
    "Nothing outside the recordings tells whether torque has the right scale: that takes gas exchange at three trials of a"
    " recorder, or a power that was asked for (target_power_W). A wrong unit could pass unseen; look at unit and scale in"
    " study.toml, and calibrate with hung masses."
)


def first_doubts(analysis: TrialsAtHand) -> list[str]:
    """Say before a study's answer what it must not be relied on for: exchanged rings, wrong mounts or shapes, a scale."""
    return [
        *first_ring_doubts(analysis.trials),
        *first_turn_doubts(analysis.trials),
        *first_shape_doubts(analysis.study.settings, analysis.trials),
        *scale_doubts(analysis),
        *power_doubts(analysis),
    ]


def meter_cautions(analysis: TrialsAtHand) -> list[str]:
    """Say why what a meter would show is not to be relied on: mounts or shapes that recordings contradict; else nothing."""
    return [*meter_doubts(analysis.trials), *shape_meter_doubts(analysis.study.settings, analysis.trials)]


def scale_doubts(analysis: TrialsAtHand) -> list[str]:
    """Name each recorder whose torque scale is in doubt, and what follows from that."""
    return [
        f"Not to be relied on as it stands: {part.sentence()} If the scale is wrong, torque and power of its trials, and"
        " differences in them, are wrong in the same proportion."
        for part in recorders_in_doubt(scale_checks(analysis))
    ]


def scale_sentences(analysis: TrialsAtHand) -> list[str]:
    """Say which recorders' scales are in doubt, or that none is, or that nobody could know."""
    checks = scale_checks(analysis)
    weak = [part.sentence() for part in checks if part.is_weak]
    judged = [part for part in checks if not part.trial and not part.is_weak]
    if not judged:
        return [UNTOLD, *weak]
    sound = [part for part in judged if not part.in_doubt]
    apart = sum(bool(part.trial) for part in checks)
    words = [part.sentence() for part in recorders_in_doubt(checks)]
    words += [
        f"{part.recorder}: {part.by} speaks for its scale, within what gases and targets can tell; a fault of less than a"
        " tenth or two hides in it."
        for part in sound
    ]
    return [*words, *weak, *([f"{show_count(apart, 'trial')} of theirs stand apart."] if apart else [])]


def tone_of_scales(analysis: TrialsAtHand) -> Tone:
    """Return the tone of `scale_sentences`: a caution unless every judged scale is sound."""
    checks = scale_checks(analysis)
    return "caution" if not checks or any(part.in_doubt or part.is_weak for part in checks) else "plain"


def scale_tables(analysis: TrialsAtHand) -> list[TableExhibit]:
    """The table of what tells of the scales, where anything does; then those of power, mounts and shapes, where any are."""
    checks = scale_checks(analysis)
    if not checks:
        return _further_tables(analysis)
    rows = [
        {
            "recorder": part.recorder,
            "judged": part.trial or "all together",
            "by": part.by,
            "trials": part.n,
            "found_pct": part.found_pct,
            "low_pct": part.low_pct,
            "high_pct": part.high_pct,
            "power_W": part.power_W,
            "other": part.other,
            "other_pct": part.other_pct,
            "verdict": "weak evidence" if part.is_weak else "in doubt" if part.in_doubt else "plausible",
        }
        for part in checks
    ]
    frame = pd.DataFrame(rows)
    if not any(part.by in (FAINT, OTHERS) for part in checks):
        frame = frame.drop(columns=["power_W", "other", "other_pct"])
    return [
        TableExhibit(
            "torque_scale",
            frame,
            "Does torque have the scale that study.toml says? Recorders (median over trials) and trials apart"
            f" (bounds {SPREAD_OF_ONE_PCT:g} % wider). {_how(checks)}",
            {
                **{
                    "found_pct": "found (%)",
                    "low_pct": "from (%)",
                    "high_pct": "to (%)",
                    "power_W": "power (W)",
                },
                **{"other": "other recorder", "other_pct": "of its power (%)"},
            },
            dict.fromkeys(("found_pct", "low_pct", "high_pct", "power_W", "other_pct"), 1),
        ),
        *_further_tables(analysis),
    ]


def _further_tables(analysis: TrialsAtHand) -> list[TableExhibit]:
    return [*power_tables(analysis), *turn_tables(analysis.trials), *shape_tables(analysis)]


def _how(checks: list[ScaleCheck]) -> str:
    low, high = (
        f"{delta:g} · (1 − {unloaded:g} W/M)"
        for delta, unloaded in zip(DELTA_EFFICIENCY_PCT, reversed(UNLOADED_W), strict=True)
    )
    gases = (
        f"Gross efficiency at metabolic power M: bounds {low} to {high} % (American College of Sports Medicine's equation,"
        " from memory; means of Leirdal & Ettema 2011 lie inside)."
    )
    asked = "Power asked for: bounds halfway to pounds-force foot in place of N·m."
    faint = f"Least power: of {FAINTEST_POWER_W:g} W."
    others = "Other recorder: riders' means, median over intensities."
    kinds = {part.by for part in checks}
    told = ((GASES, gases), (ASKED, asked), (FAINT, faint), (OTHERS, others))
    return " ".join(text for kind, text in told if kind in kinds)
