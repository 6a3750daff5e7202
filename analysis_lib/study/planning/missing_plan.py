"""What to add to a study.toml that has no plan yet: the keys, and published figures to think about."""

from __future__ import annotations

from pydantic.fields import FieldInfo

from analysis_lib.refusals import Refusal
from analysis_lib.study.declared.protocol import Plan
from analysis_lib.study.declared.settings import FILE, StudySettings
from analysis_lib.study.outcomes.published_repeatability import repeatability_sentences

_EXAMPLES = {
    "riders": "16",
    "within_rider_sd": "<number>",
    "within_rider_sd_source": '"<pilot, or paper and page>"',
    "dropout": "0.1",
    "washout_hours": "48.0",
    "allocation_seed": "<whole number>",
}


def ask_for_plan(settings: StudySettings) -> Refusal:
    """Say in one line which table and keys are missing, and what was published about the primary outcome."""
    outcome = settings.primary_outcome
    remedy = (
        "take the # away before [plan] and its keys at the end of study.toml, as `roundoval new` wrote it, and fill them in"
        f" ({', '.join(_required())}). {' '.join(line.strip(' -') for line in suggest_spread(settings))}"
    )
    wanted = f"what the study is planned on; the primary outcome is {outcome.name} ({outcome.unit_shown or 'score'})"
    return Refusal(FILE, "no [plan] table", wanted, remedy)


def needed_keys() -> list[str]:
    """Write out the table that a study.toml needs for a plan, a line a key."""
    required = _required().items()
    return ["[plan]", *(f"{name} = {_EXAMPLES[name]}  # {field.description}" for name, field in required)]


def _required() -> dict[str, FieldInfo]:
    return {name: field for name, field in Plan.model_fields.items() if field.is_required()}


def suggest_spread(settings: StudySettings) -> list[str]:
    """List published spreads of the primary outcome as labelled suggestions; none of them is ever chosen here."""
    outcome = settings.primary_outcome
    targets = [part.target_power_W for part in settings.intensities if part.target_power_W is not None]
    at = max(targets) if outcome.name == "power_W" and targets else None
    found = repeatability_sentences(outcome.name, at)
    if not found:
        return [
            f"No published repeatability of {outcome.label} is at hand: take within_rider_sd from a pilot"
            " of your own riders."
        ]
    return [
        f"Published repeatability of {outcome.label}, as suggestions only (other riders, other laboratories):",
        *(f"  - {sentence}" for sentence in found),
    ]
