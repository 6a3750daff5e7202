"""Plans of several oval rings, from study.toml to the frozen protocol and the deviations from it."""

from __future__ import annotations

import json
import math
from collections import Counter

import pandas as pd
import pytest
from test_plan import empty_trials, with_plan
from test_settings import ride_two_mounts

from analysis_lib.refusals import Refusal
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.planning.frozen_protocol import freeze_protocol
from analysis_lib.study.planning.plan import RingsPlan, plan_study
from analysis_lib.study.planning.plan_power import (
    ALL_RINGS,
    EQUIVALENCE,
    power_curve,
    power_table,
    sizes_by_spread,
)
from analysis_lib.study.planning.protocol_deviations import compare_with_protocol
from analysis_lib.study.planning.protocol_text import write_protocol

EIGHTEEN = {"riders = 12": "riders = 18"}


def planned(tiny, change=None, sequences='"williams"') -> RingsPlan:
    ride_two_mounts(tiny, sequences)
    plan = plan_study(with_plan(tiny, EIGHTEEN if change is None else change))
    assert isinstance(plan, RingsPlan)
    return plan


def test_power_table_holds_one_ring_against_round(tiny):
    plan = planned(tiny)
    table = power_table(plan)
    assert list(table["test"]) == [ALL_RINGS, EQUIVALENCE, EQUIVALENCE]
    row = table.iloc[0]
    # Enough, and no multiple of the six sequences below it is
    n = int(row["riders_needed"])
    assert n % 6 == 0
    assert plan.power_for(4.0, n) >= 0.8 > plan.power_for(4.0, n - 6)
    assert plan.contrast_sd == pytest.approx(math.sqrt(2 * 16))
    assert plan.power_for(plan.detectable_effect, 18) == pytest.approx(0.8, abs=1e-6)
    # Too many ways to deal 18 riders: one of 9999 random ones and the one that happened
    assert plan.relabelling_floor == pytest.approx(1e-4)
    assert abs(plan.simulated[-1].power - row["power_all_ride"]) < 4 * plan.simulated[-1].power_se


def test_curves_grow_with_riders_and_sizes_with_spread(tiny):
    plan = planned(tiny)
    curve = power_curve(plan)
    assert curve["formula"].is_monotonic_increasing
    assert ((curve["simulated"] - curve["formula"]).abs() < 0.02 + 4 * curve["se"]).all()
    sizes = sizes_by_spread(plan)
    assert sizes["difference"].is_monotonic_increasing


def test_schedule_lets_every_rider_know_every_ring_and_balances_intensities(tiny):
    plan = planned(tiny, EIGHTEEN | {"exclusions": "riders_a_block = 6\nexclusions"})
    assert plan.riders_by_sequence == dict.fromkeys(plan.settings.design.sequences, 3)
    first = plan.schedule[plan.schedule["ride"] == "familiarisation"]
    assert (first.groupby("rider")["ring"].nunique() == 3).all()
    trials = plan.schedule[plan.schedule["ride"] == "trial"]
    assert (trials.groupby("rider")["ring"].nunique() == 3).all()
    leads = trials[trials["place"] == 1].drop_duplicates("rider")["intensity"]
    assert Counter(leads) == {"easy": 9, "hard": 9}
    orders = trials.groupby(["rider", "period"])["intensity"].agg(" then ".join).reset_index()
    assert (orders.groupby("rider")["intensity"].agg(set).map(len) == 1).all()


def test_poor_orders_are_warned_of(tiny):
    cyclic = (
        '{ A = ["round", "early", "late"], B = ["early", "late", "round"], C = ["late", "round", "early"] }'
    )
    plan = planned(tiny, sequences=cyclic)
    # Each ring follows one other only; Williams's 2.5 for three rings: Jones & Kenward 2014, ch. 4
    designs = plan.designs().set_index("design")
    assert designs.loc["Williams", "with_carry_over"] == pytest.approx(2.5)
    assert designs.loc["this study", "with_carry_over"] > 2 * designs.loc["Williams", "with_carry_over"]
    assert "Williams" in plan.design_variance.warning
    assert plan.design_variance.warning in write_protocol(plan)


THERE_AND_BACK = (
    '{ A = ["round", "early", "late", "late", "early", "round"], B = ["early", "late", "round", "round", "late", "early"],'
    ' C = ["late", "round", "early", "early", "round", "late"] }'
)


def test_rings_ridden_there_and_back_are_planned_as_they_are_analysed(tiny):
    plan = planned(
        tiny, EIGHTEEN | {"within_rider_sd = 4.0": "within_rider_sd = 4.0\nresponse_sd = 3.0"}, THERE_AND_BACK
    )
    # Each ring twice: 2 (16/2 + 9/2); 18 riders, three means each, two shares of periods (three pairs) and two rings
    assert plan.contrast_sd == pytest.approx(math.sqrt(2 * (8 + 4.5)))
    table = power_table(plan)
    simulated = plan.simulated[-1]
    assert abs(simulated.power - table.iloc[0]["power_all_ride"]) < 4 * simulated.power_se
    assert simulated.mean_riders == pytest.approx(18)


@pytest.mark.parametrize(
    ("change", "sequences", "words"),
    [
        ({"riders = 12": "riders = 5"}, '"williams"', "6 or more"),
        (
            EIGHTEEN,
            '{ A = ["round", "early", "late", "round"], B = ["late", "early", "round", "late"] }',
            "do not tell all rings from periods",
        ),
        (EIGHTEEN, '{ A = ["round", "early"], B = ["early", "round"] }', "every ring"),
        (EIGHTEEN, '{ A = ["round", "early", "late"] }', "do not tell all rings from periods"),
    ],
)
def test_plans_that_their_analysis_cannot_carry_are_refused(tiny, change, sequences, words):
    ride_two_mounts(tiny, sequences)
    settings = with_plan(tiny, change)
    with pytest.raises(Refusal, match=words):
        plan_study(settings)


def test_a_frozen_protocol_names_the_analysis_and_the_deviations(tiny):
    ride_two_mounts(tiny, '"williams"')
    with_plan(tiny, EIGHTEEN)
    empty_trials(tiny)
    tiny.replace("riders.csv", "R01,RO", "R01,ABC")
    tiny.replace("riders.csv", "R02,OR", "R02,BCA")
    frozen = freeze_protocol(tiny.root)
    promised = json.loads((frozen.folder / "protocol.json").read_text(encoding="utf-8"))["promised"]
    assert promised["rings"]["late"]["mount_deg"] == 75.0
    assert "Dunnett" in promised["analysis"]["method"]
    text = (frozen.folder / "protocol.md").read_text(encoding="utf-8")
    assert "Dunnett" in text
    assert "for any in" in text
    concealed = pd.read_csv(frozen.folder / "allocation_concealed.csv")
    assert list(concealed) == ["rider", "label"]
    assert "ring" not in pd.read_csv(frozen.folder / "schedule_concealed.csv")
    allocated = pd.read_csv(frozen.folder / "allocation_open.csv").set_index("rider")["sequence"]
    tiny.replace("study.toml", "mount_deg = 60.0", "mount_deg = 75.0")
    said = [deviation.sentence() for deviation in compare_with_protocol(open_study(tiny.root))]
    assert any(line.startswith("rings.early.mount_deg: planned 60.0; found 75.0") for line in said)
    wrong = [rider for rider, ridden in (("R01", "ABC"), ("R02", "BCA")) if allocated[rider] != ridden]
    assert [line.split(":")[0] for line in said if line.startswith("Rider R")] == [
        f"Rider {r}" for r in wrong
    ]


def test_check_understands_mounts_and_orders(tiny):
    ride_two_mounts(tiny, '{ RO = ["round", "early"], OR = ["early", "round"] }')
    for old, new in (
        ("round,,easy", "round,,easy"),
        ("oval,75,easy", "early,60,easy"),
        ("oval,255", "early,255"),
    ):
        tiny.replace("trials.csv", old, new)
    for _ in range(2):
        tiny.replace("trials.csv", "oval,60", "early,60")
    said = [str(problem) for problem in open_study(tiny.root).problems]
    assert any("none with late" in line for line in said)
    # 255 degrees is 75, a hole of the ring, but not the mount that the entry fixes
    assert [
        line for line in said if "mount_deg" in line and "T4" in line and "one of 60 for ring early" in line
    ]
    assert not [line for line in said if "T3" in line and "mount_deg" in line]
