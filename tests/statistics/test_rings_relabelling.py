"""Several rings under sequences dealt otherwise, against every deal by plain least squares, and against the F test."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pandas as pd
import pytest
from test_rings_intensity import LOST, RINGS, ridden

from analysis_lib.refusals import Refusal
from analysis_lib.statistics.rings import rings_effect
from analysis_lib.statistics.rings_relabelling import relabel_rings


@pytest.mark.parametrize("lost", [(), ((1, 3, "easy"), (4, 2, "easy"))])
def test_every_deal_by_plain_least_squares(lost):
    table = ridden(RINGS[:3], riders=6, levels=("easy",), lost=lost)
    test = relabel_rings(rings_effect(table, "y", RINGS[:3]))
    rode = table.drop_duplicates("rider").set_index("rider")["sequence"]
    order = table.drop_duplicates(["sequence", "period"]).pivot(
        index="sequence", columns="period", values="ring"
    )
    seen = table.dropna(subset=["y"])
    rider, period = (pd.factorize(seen[name])[0] for name in ("rider", "period"))
    beside = np.column_stack([np.eye(6)[rider], np.eye(3)[period]])
    y, left = seen["y"].to_numpy(), []
    for deal in permutations(order.index.get_indexer(rode)):
        ring = pd.factorize(order.to_numpy()[np.array(deal)[rider], period])[0]
        design = np.column_stack([beside, np.eye(3)[ring]])
        left.append(((y - design @ np.linalg.lstsq(design, y, rcond=None)[0]) ** 2).sum())
    assert test.exact and len(test.squares) == 720
    # The first permutation is the order that was ridden; as much explained is as little left over
    assert test.p == pytest.approx(np.mean(np.array(left) <= left[0] * (1 + 1e-9)), abs=1e-12)
    # Exchanging the names of rings throughout leaves what they explain as it is: 3! of the 720
    assert test.smallest_p == pytest.approx(6 / 720)


def test_random_deals_come_close_to_the_f_test_and_follow_the_seed():
    table = ridden(riders=16, levels=("easy", "hard"), lost=LOST, seed=9)
    flat = table.assign(y=np.random.default_rng(3).normal(size=len(table)))
    effect = rings_effect(flat, "y", RINGS)
    for name, f_test in effect.omnibus().items():
        test = relabel_rings(effect, name, seed=1)
        assert not test.exact
        assert test.p == pytest.approx(f_test.p, abs=0.05)
        assert test.smallest_p == 1 / 10_000
    assert relabel_rings(effect, seed=1).p == relabel_rings(effect, seed=1).p
    strong = rings_effect(table, "y", RINGS)
    assert relabel_rings(strong).p < 0.001
    assert "random 9999 allocations" in relabel_rings(strong).sentence()


def test_period_effects_and_riders_levels_change_nothing():
    table = ridden(RINGS[:3], riders=6, levels=("easy",))
    level = table["rider"].map({f"R{i:02d}": 50.0 * i for i in range(6)})
    moved = table.assign(y=table["y"] + 9.0 * table["period"] ** 2 + level)
    tests = [relabel_rings(rings_effect(one, "y", RINGS[:3])) for one in (table, moved)]
    assert tests[0].p == tests[1].p
    assert tests[1].squares == pytest.approx(tests[0].squares, rel=1e-6)


def test_refusals():
    table = ridden(RINGS[:3], riders=6, levels=("easy",))
    effect = rings_effect(table, "y", RINGS[:3])
    with pytest.raises(Refusal, match="a label of the table"):
        relabel_rings(effect, "hard")
    unlisted = table[(table["sequence"] != "ABC") | (table["period"] < 3)]
    with pytest.raises(Refusal, match="sequence ABC without a trial in some period"):
        relabel_rings(rings_effect(unlisted, "y", RINGS[:3]))
