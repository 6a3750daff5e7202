"""Rules that exclude a whole trial."""

import pytest

from analysis_lib.study.declared.protocol import Rules
from analysis_lib.study.declared.trial_rules import broken_rule

QUALITY = {
    "kept_turns": 60,
    "dropped_turns": 20,
    "incomplete_turns": 2,
    "zero_drift_left_Nm": -0.8,
    "zero_drift_right_Nm": 0.1,
}


@pytest.mark.parametrize(
    ("rules", "words"),
    [
        (Rules(), ""),
        (Rules(exclude_below_turns=60), ""),
        (Rules(exclude_below_turns=61), "60 kept turns"),
        (Rules(exclude_above_dropped_pct=25.0), ""),  # 20 of 80 whole turns: the two ends are no whole turns
        (Rules(exclude_above_dropped_pct=24.0), "25 % of the whole turns"),
        (Rules(exclude_above_zero_drift_Nm=0.8), ""),
        (Rules(exclude_above_zero_drift_Nm=0.7), "moved by 0.80 N·m"),
    ],
)
def test_a_rule_excludes_only_beyond_its_bound(rules, words):
    said = broken_rule(QUALITY, rules)
    assert words in said
    assert bool(said) == bool(words)


def test_a_trial_without_zero_checks_has_no_drift_to_break_a_rule():
    assert broken_rule({"kept_turns": 50, "dropped_turns": 2}, Rules(exclude_above_zero_drift_Nm=0.1)) == ""
