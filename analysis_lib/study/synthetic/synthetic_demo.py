"""The plan of the demo study, Lantern Hill: what is put into it, and what goes wrong."""

from __future__ import annotations

from analysis_lib.study.declared.protocol import Metabolism, Plan
from analysis_lib.study.synthetic.synthetic_plan import (
    FaultyTrial,
    LeftOut,
    NotRidden,
    OtherOrder,
    SyntheticStudy,
)
from analysis_lib.study.synthetic.virtual_gases import GasPlan, SpoiledGases

PROTOCOL = Plan(
    riders=12,
    within_rider_sd=4.0,
    within_rider_sd_source=(
        "2 % of 200 W, as in 20-km time trials a week apart (Clark, Paton & O'Brien 2014, J Sci Cycling)"
    ),
    dropout=0.1,
    washout_hours=0.5,
    washout_reason="changing the ring takes as long, and no effort is maximal",
    allocation_seed=20260075,
    response_sd=1.0,
    periods_a_visit=2,
    smallest_effect_source="about 2 % of power; common practice, no source",
    exclusions=["the rider stopped before the end", "the recorder was not started"],
)

GASES = GasPlan(
    rules=Metabolism(equation="brockway", steady_change_pct=5.0),
    exchange_ratio={"easy": 0.86, "steady": 0.92, "hard": 0.995},
    drift_pct={"easy": 0.0, "steady": 1.0, "hard": 4.5},
    spoiled=(SpoiledGases(3, 2, "steady", "analyser drifted"), SpoiledGases(8, 1, "easy", "not measured")),
)

UNUSABLE = "R09-P3-hard"
"""The trial that nobody can use, on purpose: a channel is saturated throughout."""

LANTERN_HILL = SyntheticStudy(
    name="Lantern Hill",
    question="At a fixed perceived exertion, does an oval ring (axis ratio 1.13) change power?",
    seed=20260302,
    riders=12,
    sequences={"ROOR": ("round", "oval", "oval", "round"), "ORRO": ("oval", "round", "round", "oval")},
    spider_riders=(11,),
    rules={"exclude_below_turns": 20},
    not_ridden=(NotRidden(7, 4), NotRidden(2, 3, "hard"), NotRidden(10, 2, "easy")),
    left_out=(LeftOut(4, 1, "hard", "chain dropped during the effort"),),
    faults=(
        FaultyTrial(9, 2, "steady", "left channel stuck"),
        FaultyTrial(9, 2, "hard", "left channel stuck"),
        FaultyTrial(9, 3, "hard", "left channel saturated"),
    ),
    protocol=PROTOCOL,
    gases=GASES,
    other_orders=(OtherOrder(6, 3, ("easy", "steady", "hard")),),
    ended=True,
)
