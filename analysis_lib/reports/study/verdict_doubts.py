"""What weakens or overturns a verdict, in a short sentence each, for those who read no farther than the answer."""

from __future__ import annotations

from collections.abc import Callable

from analysis_lib.reports.study.answer_cautions import below_floor
from analysis_lib.reports.study.sister_analyses import LEVEL, PRIMARY, sister_analyses
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.crossover import RingEffect
from analysis_lib.statistics.estimates import show_count
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.checks.folder import Study
from analysis_lib.study.declared.problems import listed
from analysis_lib.study.declared.protocol import PLAN_FOLDER, Outcome
from analysis_lib.study.planning.frozen_protocol import PROTOCOL
from analysis_lib.study.planning.protocol_reading import read_protocol


def verdict_doubts(analysis: StudyAnalysis, outcome: Outcome) -> list[str]:
    """Say whether the verdict hangs on the analysis, and whether it may have been chosen after the data were seen."""
    return [*hanging_sentences(analysis, outcome), *protocol_sentences(analysis.study)]


def hanging_sentences(analysis: StudyAnalysis, outcome: Outcome) -> list[str]:
    """Say where other analyses of the same data give other verdicts; nothing where none does."""
    sisters, called = sister_analyses(analysis, outcome), analysis.study.settings.intensity_label
    others = [f"{word} by {names}" for word, names in sisters.split().items() if f"“{PRIMARY}”" not in names]
    places = list(map(called, sisters.hanging()))
    words = [f"The verdict hangs on the analysis: {'; '.join(others)}."] if others else []
    if places:
        words.append(f"At {listed(places)} the verdict hangs on the analysis{' too' if others else ''}.")
    return words


def protocol_sentences(study: Study) -> list[str]:
    """Say that no protocol was frozen before the data, which alone would show what was declared beforehand."""
    path = study.root / PLAN_FOLDER / PROTOCOL
    frozen = read_protocol(path)
    if frozen is not None and not frozen["trials_listed_when_frozen"]:
        return []
    what = "No protocol was frozen before the data"
    if frozen is not None:
        listed_then = show_count(frozen["trials_listed_when_frozen"], "trial")
        what = f"The protocol was frozen when {listed_then} were listed already"
    elif path.exists():
        what = "The frozen protocol cannot be read"
    return [f"{what}: nothing shows that outcome and smallest effect were chosen beforehand."]


def intensity_verdicts(analysis: StudyAnalysis, outcome: Outcome, effect: RingEffect) -> list[str]:
    """The verdict at each of several intensities by itself, and which differences Holm's adjustment leaves."""
    table = effect.verdicts(outcome.smallest_effect)
    single = table[table["intensity"] != OVERALL]
    if len(single) < 2:
        return []
    below = set(below_floor(analysis, outcome)["intensity"])
    called = analysis.study.settings.intensity_label
    each = ", ".join(
        f"{called(row.intensity)} {row.verdict}{' (but see the floor)' if str(row.intensity) in below else ''}"
        for row in single.itertuples()
    )
    different = single.loc[single["verdict"] == "difference", "intensity"]
    left = _after_holm(effect, list(different), called)
    return [f"Each intensity by itself, not adjusted for looking at several: {each}.{left}"]


def _after_holm(effect: RingEffect, different: list[object], called: Callable[[object], str]) -> str:
    """Say which differences are left once p is adjusted as the protocol's analysis says."""
    if not different:
        return ""
    adjusted = effect.holm().set_index("intensity")["p_holm"].to_dict()
    left = [name for name in different if adjusted[name] < LEVEL]
    what = "that difference is" if len(different) == 1 else "all of these differences are"
    if not left:
        what = "no difference is"
    elif len(left) < len(different):
        what = f"a difference at {listed(map(called, left))} alone is"
    return f" Adjusted for that (Holm), {what} left."
