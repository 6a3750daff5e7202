"""The uncertainty budget, against worked examples of the Guide and exact variances."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.signals.measurement_budget import (
    power_budget,
    torque_budget,
    torque_phase_budget,
)
from analysis_lib.signals.uncertainty import UncertainInput, propagate


def end_gauge():
    """JCGM 100:2008, annex H.1, end-gauge calibration; lengths in nm. Inputs of table H.1, typed from memory."""
    inputs = [
        UncertainInput("length of standard", 50_000_623, 25, 18, "nm"),
        UncertainInput("difference", 215, 9.7, 25.6, "nm"),
        UncertainInput("difference of expansion coefficients", 0, 0.58e-6, 50, "1/°C"),
        UncertainInput("temperature of the bed", -0.1, 0.41, math.inf, "°C"),
        UncertainInput("expansion coefficient of standard", 11.5e-6, 1.2e-6, math.inf, "1/°C"),
        UncertainInput("difference of temperatures", 0, 0.029, 2, "°C"),
    ]
    return propagate(
        "Length", "nm", lambda ls, d, da, theta, alpha, dt: ls + d - ls * (da * theta + alpha * dt), inputs
    )


class TestEndGauge:
    """JCGM 100:2008, H.1: l = 50.000 838 mm, u_c = 32 nm, 16 effective degrees of freedom, U₉₉ = 93 nm."""

    def test_value_and_uncertainty(self):
        budget = end_gauge()
        assert budget.value == pytest.approx(50_000_838, abs=0.5)
        assert budget.standard_uncertainty == pytest.approx(32, abs=0.5)
        assert math.floor(budget.df) == 16

    def test_contributions_of_table_h1(self):
        assert np.abs(end_gauge().contributions) == pytest.approx([25, 9.7, 2.9, 0, 0, 16.6], abs=0.1)

    def test_expanded_uncertainty(self):
        interval = end_gauge().interval(0.99)
        assert (interval.high - interval.low) / 2 == pytest.approx(93, abs=0.6)

    def test_second_order_terms_are_found_by_drawing(self):
        """H.1.7: with the second-order terms of δα·θ (11.7 nm) and α·δθ (1.7 nm) it is 34 nm.

        The Guide's normal inputs are drawn here: degrees of freedom set to infinity.
        """
        budget = end_gauge()
        inputs = [UncertainInput(p.name, p.value, p.standard_uncertainty) for p in budget.inputs]
        draws = propagate("Length", "nm", budget.model, inputs).monte_carlo(200_000, 1)
        assert draws.std() == pytest.approx(34, abs=0.5)


def test_products_add_their_relative_variances():
    """u²(P)/P² = u²(T)/T² + u²(n)/n² + u²(k)/k² for P = T·n/k (JCGM 100, 5.1.6), to first order."""
    budget = power_budget(
        UncertainInput("torque", 26.5, 0.265),
        UncertainInput("cadence", 90, 0.18),
        slope=UncertainInput("slope", 1.0, 0.02),
    )
    relative = math.sqrt(0.01**2 + 0.002**2 + 0.02**2)
    assert budget.value == pytest.approx(26.5 * 90 * 2 * math.pi / 60)
    assert budget.standard_uncertainty / budget.value == pytest.approx(relative, rel=1e-3)
    assert budget.monte_carlo(100_000, 2).std() == pytest.approx(budget.standard_uncertainty, rel=0.01)
    assert budget.to_frame()["share_pct"].sum() == pytest.approx(100)
    assert budget.to_frame().loc[3, "share_pct"] == pytest.approx(100 * 0.02**2 / relative**2, abs=0.1)


def test_welch_and_satterthwaite_of_two_equal_parts():
    """Two equal contributions with ν degrees of freedom each have 2ν together."""
    budget = propagate(
        "d", "", lambda a, b: a - b, [UncertainInput("a", 1, 0.3, 7), UncertainInput("b", 1, 0.3, 7)]
    )
    assert budget.df == pytest.approx(14)
    assert budget.standard_uncertainty == pytest.approx(0.3 * math.sqrt(2))


def test_an_input_that_outweighs_all_others_leaves_the_normal_interval():
    """Welch–Satterthwaite: 1/((1e-12)⁴/3) = 3e48 degrees of freedom; normal table: z of 95 % is 1.959964."""
    exact = UncertainInput("a", 0.0, 1.0, math.inf, "m")
    rough = UncertainInput("b", 0.0, 1e-12, 3, "m")
    budget = propagate("sum", "m", lambda a, b: a + b, [exact, rough])
    assert budget.df == pytest.approx(3e48)
    assert budget.interval().high == pytest.approx(1.959964, abs=5e-7)


def test_a_delay_shifts_the_phase_with_cadence():
    """10 ms at 90 rpm is 5.4°; an uncertainty of 2 ms is 1.08°, beside 1° of the angle's zero and 0.3° of turns."""
    budget = torque_phase_budget(
        UncertainInput("recorded", 107.2, 0.3),
        UncertainInput("cadence", 90, 0.0),
        UncertainInput("zero", 0.0, 1.0),
        UncertainInput("delay", 0.010, 0.002),
    )
    assert budget.value == pytest.approx(101.8)
    assert budget.standard_uncertainty == pytest.approx(math.sqrt(0.3**2 + 1.0**2 + 1.08**2))


def test_torque():
    """0.5 N m of zero and 1 % of slope at 20 N m."""
    budget = torque_budget(
        UncertainInput("t", 20.5, 0.0), UncertainInput("z", 0.5, 0.5), UncertainInput("k", 1.0, 0.01)
    )
    assert budget.value == pytest.approx(20.0)
    assert budget.standard_uncertainty == pytest.approx(math.hypot(0.5, 0.2), rel=1e-3)


def test_an_uncertainty_that_is_none_is_refused():
    for wrong in (-1.0, math.nan):
        with pytest.raises(Refusal, match="uncertainty of a"):
            propagate("q", "", lambda a: a, [UncertainInput("a", 1, wrong)])


def test_the_sentence_names_value_uncertainty_and_interval():
    sentence = propagate("Power", "W", lambda a: a, [UncertainInput("a", 200.0, 2.0)]).sentence()
    assert sentence == "Power: 200 W (standard uncertainty 2 W; 95% interval 196.1 to 203.9)."
