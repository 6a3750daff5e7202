"""The same effect by every analysis that could have been chosen, so that a reader sees whether the choice matters."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.intensity_labels import NO_LABELS
from analysis_lib.reports.files.once import once
from analysis_lib.reports.study.doubtful_rings import effect_on_sure_rings
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.statistics.crossover import RingEffect, ring_mixed_model
from analysis_lib.statistics.equivalence import Word, judge
from analysis_lib.statistics.estimates import Estimate, show_number
from analysis_lib.statistics.relabelling import RelabellingTest, relabelling_test
from analysis_lib.statistics.ring_model import RingModel
from analysis_lib.statistics.trial_table import OVERALL
from analysis_lib.study.declared.protocol import Outcome

PRIMARY = "primary: riders' contrasts"
RELABELLED = "relabelling"
MIXED = "mixed model"
MIXED_BY_INTENSITY = "mixed model, by intensity"
FIXED = "fixed riders"
FIRM = "primary, without cautions"
SURE = "primary, without doubtful rings"
COLUMNS = [
    "analysis",
    "intensity",
    "estimate",
    "se",
    "df",
    "low",
    "high",
    "low90",
    "high90",
    "p",
    "n",
    "verdict",
    "smallest_p",
]
CANNOT_DECIDE = "cannot decide"
"""In place of a verdict that a test could not have given, whatever the ring did; it counts neither for nor against."""

LEVEL = 0.05
"""Of the test against zero, as `equivalence.judge` takes it."""

BY_INTENSITY = ("rider", "rider:ring", "rider:period", "rider:intensity", "rider:ring:intensity")


@dataclass(frozen=True)
class SisterAnalyses:
    """One outcome by several analyses.

    Attributes
    ----------
    outcome : Outcome
    frame : DataFrame
        One row an analysis and intensity: ``analysis, intensity, estimate, se, df, low, high, low90, high90,
        p, n, verdict, smallest_p``; se and df are missing for the relabelling test, which has none, and smallest_p, how
        small p can be, for all others.
    refused : dict of analysis to str
        Analyses that these data cannot carry, and why.
    notes : dict of analysis to str
        Variance components, the floor of p, and what else belongs to one analysis.
    """

    outcome: Outcome
    frame: pd.DataFrame
    refused: dict[str, str]
    notes: dict[str, str]

    def moves(self) -> pd.DataFrame:
        """The frame with how far each estimate lies from the primary one, ``moved``, and in its errors, ``moved_se``."""
        primary = self.frame[self.frame["analysis"] == PRIMARY].set_index("intensity")
        there = primary.reindex(self.frame["intensity"])
        moved = (self.frame["estimate"] - there["estimate"].to_numpy()).abs()
        errors = pd.Series(there["se"].to_numpy(), self.frame.index)
        return self.frame.assign(moved=moved, moved_se=moved / errors.where(errors > 0))

    @property
    def overall(self) -> pd.DataFrame:
        """The rows for the mean over intensities, the primary analysis first."""
        return self.frame[self.frame["intensity"] == OVERALL].reset_index(drop=True)

    def split(self, intensity: object = OVERALL) -> dict[str, str]:
        """Return each verdict at one intensity with the analyses that give it, the primary one's first.

        An analysis that cannot decide is in none of them.
        """
        here = self.frame[self.frame["intensity"] == intensity]
        here = here[here["verdict"] != CANNOT_DECIDE]
        words = here.groupby("verdict", sort=False)["analysis"].agg(_in_quotes)
        return {str(word): names for word, names in words.items()}

    def hanging(self) -> list[object]:
        """Return the single intensities at which the verdict hangs on the analysis."""
        singles = [name for name in dict.fromkeys(self.frame["intensity"]) if name != OVERALL]
        return [name for name in singles if len(self.split(name)) > 1]

    def farthest(self) -> pd.Series:
        """The overall row whose estimate lies farthest from the primary one."""
        gaps = (self.overall["estimate"] - self.overall["estimate"].iloc[0]).abs()
        return self.overall.iloc[int(gaps.argmax())]

    def agreement_sentence(self) -> str:
        """Say whether all analyses give one verdict, and how far apart their estimates are."""
        overall = self.overall
        primary, far = overall.iloc[0], self.farthest()
        apart = abs(far["estimate"] - primary["estimate"])
        unit = f" {self.outcome.difference_unit}" if self.outcome.difference_unit else ""
        spread = "no estimate moves by a hundredth of the primary one's standard error"
        if apart > 0.01 * primary["se"]:
            spread = (
                f"the estimate farthest from the primary one ({far['analysis']}) differs from it by"
                f" {show_number(apart, 2)}{unit}, {show_number(apart / primary['se'], 2)} of its standard error"
            )
        words = self.split()
        deciding = int((overall["verdict"] != CANNOT_DECIDE).sum())
        if len(overall) == 1:
            return "No other analysis could be made, so agreement cannot be judged."
        if len(words) == 1:
            those = f"All {deciding} analyses" + (" that can decide" if deciding < len(overall) else "")
            return f"{those} say {next(iter(words))}; {spread}."
        return (
            f"The analyses do not agree on the verdict ({_in_words(words)}), so it hangs on the choice; the primary"
            f" analysis is the same whatever the data show and stands, with that doubt. {spread[0].upper()}{spread[1:]}."
        )

    def undeciding_sentence(self) -> str:
        """Say that relabelling cannot decide where riders can be dealt out in too few ways; else nothing."""
        short = self.frame[self.frame["verdict"] == CANNOT_DECIDE]
        if short.empty:
            return ""
        low, high = (
            show_number(value, 2) for value in (short["smallest_p"].min(), short["smallest_p"].max())
        )
        return (
            "Relabelling cannot decide here: so few riders can be dealt out in so few ways that its p is never below"
            f" {low}{f' to {high}' if high != low else ''}, however large the effect. It counts neither for the verdict nor"
            " against it."
        )

    def single_sentences(self, labels: Mapping[str, str] = NO_LABELS) -> list[str]:
        """Name the single intensities at which the verdict hangs on the analysis, by their labels."""
        return [
            f"At {labels.get(str(name), str(name))} the verdict hangs on the analysis ({_in_words(self.split(name))}),"
            " before any adjustment for having looked at every intensity: nothing firm can be said there."
            for name in self.hanging()
        ]

    def fixed_against_mixed_sentence(self) -> str:
        """Say whether holding riders fixed and drawing them at random agree."""
        rows = self.overall.set_index("analysis").to_dict("index")
        if not {MIXED, FIXED} <= set(rows):
            return ""
        fixed, mixed = rows[FIXED], rows[MIXED]
        apart = abs(fixed["estimate"] - mixed["estimate"])
        same = fixed["verdict"] == mixed["verdict"] and apart < 0.5 * max(fixed["se"], mixed["se"])
        unit = f" {self.outcome.difference_unit}" if self.outcome.difference_unit else ""
        verdicts = f"verdicts {fixed['verdict']} and {mixed['verdict']}"
        if fixed["verdict"] == mixed["verdict"]:
            verdicts = f"both {mixed['verdict']}"
        return (
            f"Fixed riders and the mixed model {'agree' if same else 'do not agree'}:"
            f" {show_number(fixed['estimate'], 2, signed=True)} and {show_number(mixed['estimate'], 2, signed=True)}{unit},"
            f" standard errors {show_number(fixed['se'], 2)} and"
            f" {show_number(mixed['se'], 2)}, {verdicts}. Agreement here means one verdict and estimates within half a"
            " standard error."
        )


def _in_words(split: Mapping[str, str]) -> str:
    return "; ".join(f"{word} by {names}" for word, names in split.items())


def _in_quotes(names: pd.Series) -> str:
    """List analyses by their names, which may hold commas."""
    return ", ".join(f"“{name}”" for name in names)


@once
def sister_analyses(analysis: StudyAnalysis, outcome: Outcome) -> SisterAnalyses:
    """Analyse one outcome in every declared way; an analysis that is refused keeps its reason.

    Raises
    ------
    Refusal
        When the primary analysis itself cannot be made.
    """
    table, label, unit = analysis.outcome_table(outcome), outcome.label, outcome.difference_unit
    notes: dict[str, str] = {}
    refused: dict[str, str] = {}

    def relabelled() -> pd.DataFrame:
        tests = {
            name: relabelling_test(table, label, name, analysis.study.settings.study.seed, unit)
            for name in frame_order
        }
        notes[RELABELLED] = f"{tests[OVERALL].method}."
        return _relabelled_rows(tests, primary.estimates, outcome.smallest_effect)

    def mixed(name: str, **options) -> pd.DataFrame:
        model = ring_mixed_model(table, label, unit=unit, **options)
        notes[name] = _describe_model(model, analysis.study.settings.intensity_label)
        return _rows(name, model.estimates, outcome.smallest_effect)

    def fixed() -> pd.DataFrame:
        return _rows(FIXED, analysis.fixed_riders(outcome).estimates, outcome.smallest_effect)

    def without(name: str, effect: RingEffect | None) -> pd.DataFrame:
        if effect is None:
            return pd.DataFrame(columns=COLUMNS)
        return _rows(name, effect.estimates, outcome.smallest_effect)

    primary = analysis.effect(outcome)
    frame_order = list(primary.estimates)
    ways: dict[str, Callable[[], pd.DataFrame]] = {
        RELABELLED: relabelled,
        MIXED: lambda: mixed(MIXED),
        MIXED_BY_INTENSITY: lambda: mixed(
            MIXED_BY_INTENSITY, random_terms=BY_INTENSITY, residual_by_intensity=True
        ),
        FIXED: fixed,
        FIRM: lambda: without(FIRM, analysis.effect_without_caution(outcome)),
        SURE: lambda: without(SURE, effect_on_sure_rings(analysis, outcome)),
    }
    frames = [_rows(PRIMARY, primary.estimates, outcome.smallest_effect)]
    for name, analyse in ways.items():
        try:
            frames.append(analyse())
        except Refusal as refusal:
            refused[name] = str(refusal)
    made = [frame for frame in frames if not frame.empty]
    return SisterAnalyses(outcome, pd.concat(made, ignore_index=True), refused, notes)


def _describe_model(model: RingModel, called: Callable[[object], str]) -> str:
    """Name the variance components; a residual of one intensity by what pages call that."""
    names = {term: ": ".join(map(called, term.split(": "))) for term in model.variance_components}
    parts = ", ".join(f"{names[term]} {value:.3g}" for term, value in model.variance_components.items())
    notes = " ".join(model.notes)
    for term, name in names.items():
        notes = notes.replace(term, name)
    return f"variance components {parts}. {notes}".strip()


def _rows(name: str, estimates: dict[object, Estimate], smallest_effect: float) -> pd.DataFrame:
    rows = []
    for intensity, e in estimates.items():
        wide, narrow = e.interval(0.95), e.interval(0.90)
        word = judge(e, smallest_effect).word
        ends = (wide.low, wide.high, narrow.low, narrow.high)
        rows.append((name, intensity, e.value, e.se, e.df, *ends, e.p, e.n, word, np.nan))
    return pd.DataFrame(rows, columns=COLUMNS)


def _relabelled_rows(
    tests: Mapping[object, RelabellingTest], primary: Mapping[object, Estimate], smallest_effect: float
) -> pd.DataFrame:
    rows = []
    for intensity, test in tests.items():
        wide, narrow = test.interval(0.95), test.interval(0.90)
        word = _word_beside(test, judge(primary[intensity], smallest_effect).word, smallest_effect)
        ends = (wide.low, wide.high, narrow.low, narrow.high)
        rows.append(
            (
                RELABELLED,
                intensity,
                test.estimate,
                np.nan,
                np.nan,
                *ends,
                test.p,
                test.n,
                word,
                test.smallest_p,
            )
        )
    return pd.DataFrame(rows, columns=COLUMNS)


def _word_beside(test: RelabellingTest, primary: Word, smallest_effect: float) -> str:
    """Return the test's verdict, or that it cannot decide: where neither the primary word nor a difference was in reach."""
    word, narrow = test.verdict(smallest_effect), test.interval(0.90)
    rules_out = math.isfinite(narrow.low) and math.isfinite(narrow.high)
    in_reach = rules_out if primary == "equivalent" else test.smallest_p < LEVEL
    return word if in_reach or word != "undecided" else CANNOT_DECIDE
