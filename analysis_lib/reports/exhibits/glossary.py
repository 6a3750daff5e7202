"""What the words of a page mean, for a reader who did not grow up with them."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from analysis_lib.reports.exhibits.exhibit import TableExhibit

MEANINGS = {
    "crank angle": "Of the right crank from top dead centre, growing in the pedalling direction; 0° and 360° are one"
    " point.",
    "dead centres": "Top and bottom of the turn, where the legs drive least.",
    "lever arm": "Distance from the crank axle to the line of the chain. More arm turns the same chain force into more"
    " torque, and slows the crank where the chain runs steadily.",
    "mount angle": "From the right crank arm to the oval ring's longest axis, in the pedalling direction; 0° and 180°"
    " are the same.",
    "torque phase": "The angle around which the driving torque of both legs is centred; as both legs push in turn, 0°"
    " and 180° are the same.",
    "crank inertial load": "How hard the crank's speed is to change: the moving mass, or the flywheel, as felt at the"
    " crank (kg·m²).",
    "criterion, regret": "A criterion says what a mount should make small. Its regret is by how much a mount is worse"
    " than the best available one.",
    "zero torque": "What a recorder reads while nothing loads the crank; it is measured and taken off.",
    "standard uncertainty": "The standard deviation that a value has from a stated cause.",
    "95 % interval": "Values that the data leave open; a method that holds the true value in 95 of 100 studies.",
    "90 % interval": "The same for the question whether an effect is too small to matter, which is asked in both"
    " directions at 5 % each.",
    "smallest effect that matters": "A difference that study.toml declares worth having; a smaller one counts as none.",
    "equivalent": "An effect as large as the smallest that matters is ruled out, in either direction.",
    "difference": "The 95 % interval excludes zero; whether the effect is large enough to matter is said beside it.",
    "undecided": "Neither of both: the data leave room for no effect and for one that matters.",
    "sequence, period": "Riders ride the rings in different orders (sequences); each ring's turn in the order is a period.",
    "contrast": "A rider's mean on one ring less the same rider's mean on another; the unit of the analysis.",
    "se, SD, df": "Standard error of an estimate; standard deviation of values; degrees of freedom, which grow with"
    " riders and not with trials.",
    "p, p against zero": "If there were nothing to find, how often chance alone would give as large an effect. It says"
    " nothing of an effect's size.",
    "p against effects that large": "If the effect were just as large as the smallest that matters, how often chance alone"
    " would give one as small as was found; below 5 %, an effect that large is ruled out. The larger p of two tests, one"
    " a direction.",
    "adjusted, Holm, all at once": "Allowing for having looked at several intensities or rings, where one is more likely"
    " to stand out by chance.",
    "primary": "The outcome and the analysis that were named to answer the question; all others describe or check.",
}

OF_A_RIDER = (
    "crank angle",
    "dead centres",
    "lever arm",
    "mount angle",
    "torque phase",
    "crank inertial load",
    "criterion, regret",
    "zero torque",
    "standard uncertainty",
    "95 % interval",
    "smallest effect that matters",
)
OF_A_STUDY = (
    "equivalent",
    "difference",
    "undecided",
    "smallest effect that matters",
    "95 % interval",
    "90 % interval",
    "sequence, period",
    "contrast",
    "se, SD, df",
    "p, p against zero",
    "p against effects that large",
    "adjusted, Holm, all at once",
    "primary",
    "torque phase",
)

OF_BOUNDS_ALONE = tuple(word for word in OF_A_STUDY if word != "p against effects that large")
"""Of pages on which intervals alone rule effects out."""


def explain(words: Sequence[str]) -> TableExhibit:
    """Return a table of words and what they mean.

    >>> explain(["dead centres"]).frame.iloc[0]["meaning"]
    'Top and bottom of the turn, where the legs drive least.'
    """
    frame = pd.DataFrame({"word": list(words), "meaning": [MEANINGS[word] for word in words]})
    return TableExhibit("words", frame, "What the words of this page mean.")
