"""Figures, tables and sentences that hold the prediction against published theory and trials."""

from __future__ import annotations

from dataclasses import replace

from analysis_lib.mechanics.published_effects import EFFECTS, PublishedEffect
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.figures.published_figures import effect_bands
from analysis_lib.reports.rider.rider_analysis import RiderAnalysis
from analysis_lib.reports.rider.rider_legs import stated_legs
from analysis_lib.reports.ring_mechanics.published_comparison import (
    ANGLES,
    ComparedEffect,
    compare_published,
    to_frame,
)
from analysis_lib.statistics.estimates import show_number

BODY_MASS_KG, CRANK_M = 75.0, 0.1725
"""Of nobody in particular, where a rider's own are not known; only joint speeds ask for legs here."""

KNOWN = ["source", "kind", "reported", "effort", "sample", "axis_ratio", "cadence_rpm"]
RANGES = ["published_pct", "published_low_pct", "published_high_pct"]
BANDS = ["predicted_low_pct", "predicted_high_pct", "in_phase_low_pct", "in_phase_high_pct"]


def published_for(
    analysis: RiderAnalysis, intensity: str, effects: tuple[PublishedEffect, ...] = EFFECTS
) -> list[ComparedEffect]:
    """Run the model with one rider's stroke at the ring and cadence of each published effect."""
    legs = stated_legs(BODY_MASS_KG, CRANK_M, angles=ANGLES)
    return compare_published(analysis.stroke.mean_Nm[intensity], legs, analysis.slope, effects)


def published_power_for(analysis: RiderAnalysis) -> list[ComparedEffect]:
    """The same with the stroke of the hardest intensity, for the published changes of power alone."""
    power = tuple(effect for effect in EFFECTS if effect.quantity == "power")
    return published_for(analysis, analysis.intensities[-1], power)


def sentences(compared: list[ComparedEffect]) -> list[str]:
    """Give a verdict in words for each published effect, and what all of them say together."""
    judged = [part for part in compared if part.cases]
    return [*(_one(part) for part in judged), _together(judged), _left_out(compared)]


def rider_sentence(compared: list[ComparedEffect]) -> str:
    """Say in one sentence where published effects lie to the band that this rider's stroke gives."""
    each = "; ".join(
        f"{_named(part)} {_percent(part.published.effect_pct)} against {_band(part)} predicted, {part.verdict}"
        for part in compared
        if part.published.quantity == "power"
    )
    return (
        "Held against published changes of power, each at its own ring and cadence, this rider's stroke and the likely"
        f" range of strokes give: {each}. Doubts and what is not compared: in the notebook 02_ring_and_power."
    )


def bands_exhibit(compared: list[ComparedEffect]) -> FigureExhibit:
    """Draw each published effect with its interval over the predicted band."""
    frame = to_frame([part for part in compared if part.cases])
    frame = frame.assign(label=[_label(part) for part in compared if part.cases])
    return FigureExhibit(
        "published_effects",
        effect_bands(frame),
        "Oval over round, %: published (dots with the interval that could be had; an arrow where only a direction is"
        " reported) over the band that mechanics predicts at the source's own ring and cadence. Dark: largest arm at"
        " the torque phase. Light: the mount not known, up to 45° away. A band spans assumptions and is no interval:"
        " they do not explain a dot beyond it.",
        "Range chart, one row a published effect: published value and interval over the predicted band. "
        + "; ".join(f"{_label(part)}: {part.verdict}" for part in compared if part.cases)
        + ".",
        frame,
    )


def published_table(compared: list[ComparedEffect]) -> TableExhibit:
    """Give what was readable of each published effect."""
    frame = to_frame(compared)[[*KNOWN, "interval_from", "doubts"]]
    return TableExhibit(
        "published_effects",
        frame,
        "Published effects of oval rings, theory and trials. A selection: those with a ring, a cadence or an"
        " interval to compare. Mean ± SD between riders; a range of axis ratios or cadences was taken where the"
        " source's own was not readable.",
        {"axis_ratio": "axis ratio", "cadence_rpm": "cadence (rpm)", "interval_from": "interval rests on"},
    )


def verdict_table(compared: list[ComparedEffect]) -> TableExhibit:
    """Set each published effect beside the predicted band, with the verdict."""
    judged = to_frame([part for part in compared if part.cases])
    frame = judged[["source", "quantity", "axis_ratio", *RANGES, *BANDS, "cases", "verdict"]]
    return TableExhibit(
        "published_verdicts",
        frame,
        "Published effect and its interval beside the predicted band, % of the round ring. Any mount: up to 45° from"
        " the torque phase, but for the theory, which chose its best; cases: sets of assumptions spanned.",
        {
            "axis_ratio": "axis ratio",
            "published_pct": "published (%)",
            "published_low_pct": "from (%)",
            "published_high_pct": "to (%)",
            "predicted_low_pct": "predicted from (%)",
            "predicted_high_pct": "to (%), any mount",
            "in_phase_low_pct": "in phase from (%)",
            "in_phase_high_pct": "to (%), in phase",
        },
        dict.fromkeys([*RANGES, *BANDS], 1),
    )


def rider_table(compared: list[ComparedEffect]) -> TableExhibit:
    """The same for a rider's page: the changes of power alone, and the band over any mount."""
    table = verdict_table(compared)
    return replace(
        table,
        frame=table.frame.drop(
            columns=["quantity", "axis_ratio", "in_phase_low_pct", "in_phase_high_pct", "cases"]
        ),
        caption="Published changes of power and their intervals beside the predicted band, % of the round ring. Mounts up"
        " to 45° from the torque phase, but for the theory, which chose its best.",
        headings=table.headings | {"predicted_high_pct": "to (%)"},
    )


def _one(part: ComparedEffect) -> str:
    effect = part.published
    reported = effect.result if effect.effect_pct is None else _percent(effect.effect_pct)
    interval = ""
    if effect.interval_pct is not None and not effect.interval_from.startswith("rounding"):
        low, high = (_percent(end) for end in effect.interval_pct)
        interval = f" ({low} to {high}: {effect.interval_from})"
    return f"{_label(part)}: {reported}{interval}; predicted {_band(part)}: {part.verdict}{_by(part)}."


def _by(part: ComparedEffect) -> str:
    """How far the published value lies beyond the band, in words; the band in phase where the mount decides."""
    effect = part.published
    if effect.effect_pct is None:
        low, high = part.low_in_phase_pct, part.high_in_phase_pct
        return (
            f" over unknown mounts; in phase {_percent(low)} to {_percent(high)}, {effect.verdict(low, high)}"
        )
    beyond = max(effect.effect_pct - part.high_pct, part.low_pct - effect.effect_pct)
    return f" (by {show_number(beyond, 2)} points)" if beyond > 0 else ""


def _together(judged: list[ComparedEffect]) -> str:
    power = [part for part in judged if part.published.quantity == "power"]
    inside = sum(part.verdict == "inside" for part in power)
    beyond = [_named(part) for part in power if part.verdict in ("above", "below")]
    verb = "lies" if len(beyond) == 1 else "lie"
    rest = f" {' and '.join(beyond)} {verb} beyond the band, interval and all." if beyond else ""
    return (
        f"Of {len(power)} published changes of power {inside} lie inside the band.{rest} Inside means that mechanics"
        " with a torque that falls with speed would do, not that it is the cause; intervals that hold the band and"
        " zero alike decide nothing. What lies above may be the rider, chance, a meter misled by the ring, or a slope"
        " or stroke beyond those assumed."
    )


def _left_out(compared: list[ComparedEffect]) -> str:
    left = [part.published for part in compared if not part.cases]
    if not left:
        return ""
    each = "; ".join(f"{effect.result} ({_short(effect.source)})" for effect in left)
    return f"Not compared here, because the torque of both legs does not predict it: {each}."


def _label(part: ComparedEffect) -> str:
    effect = part.published
    low, high = effect.axis_ratio
    ring = f"{low:g}" if low == high else "ring not known"
    return f"{_short(effect.source)}, {effect.quantity}, {ring}"


def _named(part: ComparedEffect) -> str:
    effect = part.published
    low, high = effect.axis_ratio
    ring = f" at {low:g}" if low == high else ""
    return f"{_short(effect.source)} ({effect.kind}, {effect.quantity}{ring})"


def _short(source: str) -> str:
    return source.split(",")[0] if "Leong" not in source else "Leong et al. 2022"


def _band(part: ComparedEffect) -> str:
    return f"{_percent(part.low_pct)} to {_percent(part.high_pct)}"


def _percent(value: float | None) -> str:
    return f"{show_number(float('nan') if value is None else value, 1, signed=True)} %"
