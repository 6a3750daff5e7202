"""What became of every listed trial: used, used with caution, or left out and by which rule."""

from __future__ import annotations

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.study.study_analysis import StudyAnalysis
from analysis_lib.reports.trials.far_cells import far_sentences
from analysis_lib.reports.trials.power_exhibits import power_doubts
from analysis_lib.reports.trials.rider_trials import BEFOREHAND, BY_RULE, CAUTION, NOT_USED, USED
from analysis_lib.reports.trials.scale_exhibits import scale_doubts
from analysis_lib.reports.trials.shape_words import first_shape_doubts
from analysis_lib.reports.trials.turned_words import first_turn_doubts
from analysis_lib.reports.trials.unread_cells import unread_sentences
from analysis_lib.statistics.estimates import show_count
from analysis_lib.study.declared.trial_rules import RULES

NOT_DECLARED = "not declared"


def listed_trials(analysis: StudyAnalysis) -> pd.DataFrame:
    """Return every row of trials.csv with its state: those of riders who could not be analysed are not used.

    Of these an excluded trial keeps its own reason; the others share the rider's.
    """
    trials = analysis.study.trials
    lost = trials[trials["rider"].isin(list(analysis.left_out))]
    if lost.empty:
        return analysis.trials
    riders = "rider: " + lost["rider"].map(dict(analysis.left_out))
    reasons = riders.mask(lost["exclude"], BEFOREHAND + lost["exclude_reason"])
    sequences = analysis.study.riders.set_index("rider")["sequence"]
    rings = {name: analysis.study.settings.ring_label(name) for name in analysis.study.settings.rings}
    lost = lost.assign(
        state=NOT_USED,
        reason=reasons,
        sequence=lost["rider"].map(sequences),
        intensity=lost["intensity"].astype(str),
        ring=lost["ring"].map(rings),
    )
    return pd.concat([analysis.trials, lost], ignore_index=True)


def excluded_riders(analysis: StudyAnalysis) -> list[str]:
    """Return the riders who are not analysed because every one of their listed trials is excluded."""
    trials = analysis.study.trials
    lost = trials[trials["rider"].isin(list(analysis.left_out))]
    return [str(rider) for rider, here in lost.groupby("rider") if here["exclude"].all()]


def answer(analysis: StudyAnalysis) -> list[str]:
    """Say for how many riders the recordings are complete enough for the question, then what became of the trials."""
    trials = listed_trials(analysis)
    used = trials[trials["state"] != NOT_USED]
    wanted = trials["ring"].nunique() * len(analysis.intensities)
    held = used[["rider", "ring", "intensity"]].drop_duplicates().groupby("rider").size()
    riders = [str(rider) for rider in analysis.study.riders["rider"]]
    short = [rider for rider in riders if held.get(rider, 0) < wanted]
    who = f"; {', '.join(short)} {'does' if len(short) == 1 else 'do'} not" if short else ""
    return [
        *first_turn_doubts(analysis.trials),
        *first_shape_doubts(analysis.study.settings, analysis.trials),
        *scale_doubts(analysis),
        *power_doubts(analysis),
        f"{len(riders) - len(short)} of {show_count(len(riders), 'rider')} have a usable trial on every ring at every"
        f" intensity{who}. Whether a complete recording is also a true one, the sections below help to judge.",
        *state_sentences(analysis),
    ]


def state_sentences(analysis: StudyAnalysis) -> list[str]:
    """Say how many trials are used, used with caution and not used."""
    trials = listed_trials(analysis)
    states = trials["state"].value_counts()
    planned = len(analysis.study.riders) * len(analysis.intensities) * analysis.study.settings.periods
    return [
        (
            f"{show_count(planned, 'trial')} planned and {len(trials)} listed: {states.get(USED, 0)} used,"
            f" {states.get(CAUTION, 0)} used with caution, {states.get(NOT_USED, 0)} not used."
        ),
        (
            "A trial is left out beforehand with its reason, by a rule declared in study.toml, or because its recording"
            " cannot be used; never by its result."
        ),
        *unread_sentences(analysis.study),
        *far_sentences(analysis.study),
    ]


def causes_table(analysis: StudyAnalysis) -> TableExhibit:
    """Count the trials that each rule and each fault left out, those that left out none among them."""
    trials = listed_trials(analysis)
    lost = trials[trials["state"] == NOT_USED]
    reason = lost["reason"].fillna("")
    usable = lost["usable"].astype(bool) if "usable" in lost else pd.Series(True, lost.index)
    by_rule, beforehand = reason.str.startswith(BY_RULE), reason.str.startswith(BEFOREHAND)
    rules = analysis.study.settings.rules
    rows = [("exclude = yes in trials.csv", "", int((beforehand & ~by_rule).sum()))]
    for name in RULES:
        bound = getattr(rules, name)
        here = int((by_rule & reason.str.contains(name, regex=False)).sum())
        rows.append((name, NOT_DECLARED if bound is None else f"{bound:g}", here))
    other = ~by_rule & ~beforehand
    rows.append(("a fault in the study's tables", "", int((other & ~usable).sum())))
    rows.append(("a recording that cannot be used", "", int((other & usable).sum())))
    return TableExhibit(
        "causes",
        pd.DataFrame(rows, columns=["cause", "bound", "trials"]),
        "Trials not used, by what left them out: declared beforehand, by a rule of study.toml with its bound, or by a"
        " fault. The same rules hold for every rider and ring.",
        {"cause": "left out by"},
    )


def exclusions_table(analysis: StudyAnalysis) -> TableExhibit:
    """List the trials that are not used, each with the rule or the fault."""
    trials = listed_trials(analysis)
    frame = trials.loc[trials["state"] == NOT_USED, ["rider", "trial", "reason"]].reset_index(drop=True)
    return TableExhibit(
        "exclusions",
        frame,
        f"The {len(frame)} listed trials that are not used, each with the declared rule it breaks or the"
        " fault of its recording.",
    )


def cautions_table(analysis: StudyAnalysis) -> TableExhibit:
    """List the trials that are used with caution, each with what speaks against it."""
    trials = analysis.trials
    frame = trials.loc[trials["state"] == CAUTION, ["rider", "trial", "ring", "reason"]]
    return TableExhibit(
        "cautions",
        frame.reset_index(drop=True),
        f"The {len(frame)} trials that are used with caution: few turns, a side, an angle, a mount, a ring's shape, a scale"
        " of torque or a power that looks wrong, a recorder's own assumption. The study's page says what its result is"
        " without them.",
        {"reason": "caution"},
    )
