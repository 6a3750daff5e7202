"""Published effects of oval rings beside the predicted band."""

import math

import numpy as np
import pytest
from scipy import stats

from analysis_lib.mechanics import steady_speed
from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.prediction import SAME_FORCE, SAME_JOINTS, predict_on_oval
from analysis_lib.mechanics.published_effects import EFFECTS, PublishedEffect
from analysis_lib.mechanics.ring import Ring
from analysis_lib.mechanics.stroke_slope import StrokeSlope, declare_slope
from analysis_lib.refusals import Refusal
from analysis_lib.reports.rider.rider_legs import stated_legs
from analysis_lib.reports.ring_mechanics import published_exhibits
from analysis_lib.reports.ring_mechanics.published_comparison import ANGLES, compare_published, with_ripple

ANGLE = np.arange(360) * 2 * math.pi / 360
TORQUE = 26.0 * (1 + 0.6 * np.cos(2 * (ANGLE - math.radians(100))))
LEGS = stated_legs(75.0, 0.1725, angles=ANGLES)


@pytest.fixture(scope="module")
def compared():
    return compare_published(TORQUE, LEGS, StrokeSlope())


def by_source(compared, source, quantity="power"):
    return next(
        part
        for part in compared
        if part.published.source.startswith(source) and part.published.quantity == quantity
    )


def test_intervals_that_were_derived_follow_from_what_is_printed():
    """Half-widths from p values and Student's t (scipy.stats), % of the round ring where the source gives W."""
    hintzy = next(effect for effect in EFFECTS if effect.source.startswith("Hintzy"))
    half_W = (362.6 - 338.8) / stats.t.ppf(1 - 0.0005, 9) * stats.t.ppf(0.975, 9)
    assert np.diff(hintzy.interval_pct)[0] / 2 == pytest.approx(100 * half_W / 338.8, abs=0.02)
    cordova = next(effect for effect in EFFECTS if effect.source.startswith("Córdova"))
    half = 4.5 / stats.t.ppf(1 - 0.11, 11) * stats.t.ppf(0.975, 11)
    assert cordova.interval_pct == pytest.approx((4.5 - half, 4.5 + half), abs=0.05)
    peiffer = next(effect for effect in EFFECTS if effect.source.startswith("Peiffer"))
    assert np.diff(peiffer.interval_pct)[0] / 2 == pytest.approx(
        2 * math.sqrt(2 / 9) * stats.t.ppf(0.975, 8), abs=0.05
    )


def test_the_theory_is_run_at_its_ring_and_cadence(compared):
    """On a chain of steady speed the crank runs as 1/h, so a stroke T₀ that loses k a rpm changes by −k⟨T₀(ω − ω₀)⟩.

    The ellipse of 1.29 with its largest arm at the torque phase, h² = a² cos² φ + b² sin² φ, at 90 rpm; torque
    falls to nothing at twice 122 rpm (Martin 1997), second harmonic 0.9 of the mean: the upper end.
    """
    away = ANGLE - math.radians(100)
    slowness = np.sqrt((1.29 * np.cos(away)) ** 2 + np.sin(away) ** 2)
    speed = 90.0 * slowness.mean() / slowness
    torque = 1 + 0.9 * np.cos(2 * away)
    expected = -100 * np.mean(torque * (speed - 90.0)) / (2 * 122.0 - 90.0)
    part = by_source(compared, "Rankin")
    # The chain's slope swings by half a degree as the arm changes: some hundredths of the effect.
    assert part.high_pct == pytest.approx(expected, rel=0.02)
    assert part.low_pct == 0.0
    assert (part.low_pct, part.high_pct) == (part.low_in_phase_pct, part.high_in_phase_pct)


def test_unchanged_force_and_joint_torques_change_no_power():
    drives = Drivetrain(Ring.round(52)), Drivetrain(Ring.ellipse(52, 1.24), mount_deg=40.0)
    legs = stated_legs(75.0, 0.1725).pair
    power = predict_on_oval(*drives, TORQUE, 90.0, legs=legs).summary.set_index("assumption")["power_W"]
    assert power[SAME_FORCE] == pytest.approx(26.0 * 90.0 * 2 * math.pi / 60)
    assert power[SAME_JOINTS] == pytest.approx(power[SAME_FORCE], rel=1e-9)


def test_the_band_is_the_same_where_every_ride_is_solved_by_newton(compared, monkeypatch):
    """Two ways to the same equations: no ride on an oval ring settles in one pass."""
    together = by_source(compared, "Hintzy")
    monkeypatch.setattr(steady_speed, "MOST_PASSES", 1)
    (alone,) = compare_published(TORQUE, LEGS, StrokeSlope(), (together.published,))
    assert (alone.low_pct, alone.high_pct) == pytest.approx((together.low_pct, together.high_pct), rel=1e-10)


def test_a_rider_without_slope_gains_nothing_and_a_steep_one_more():
    theory = (EFFECTS[0],)
    flat, steep = (
        compare_published(TORQUE, LEGS, declare_slope(lost, "here"), theory)[0] for lost in (0.0, 2.0)
    )
    plain = compare_published(TORQUE, LEGS, StrokeSlope(), theory)[0]
    assert (flat.low_pct, flat.high_pct) == pytest.approx((0.0, plain.high_pct), abs=1e-9)
    assert steep.high_pct > 2 * plain.high_pct
    assert flat.cases == 3 * 3 * 2 and plain.cases == 3 * 2 * 2


def test_pedal_speed_is_met_and_extension_is_slower_in_phase(compared):
    """Leong, Elmer and Martin 2022: 78 and 75 rpm match; hip and knee extend slower on 1.24."""
    speeds = [part for part in compared if part.published.quantity == "pedal speed"]
    assert [part.verdict for part in speeds] == ["inside", "inside"]
    for joint in ("hip", "knee"):
        part = by_source(compared, "Leong", f"{joint} extension speed")
        assert part.low_in_phase_pct < part.high_in_phase_pct < 0 < part.high_pct
        assert part.verdict == "either direction is predicted"


def test_ripple_is_that_of_the_second_harmonic_alone():
    stroke = 20.0 * (1 + 0.3 * np.cos(2 * ANGLE - 1.0) + 0.1 * np.sin(ANGLE) + 0.05 * np.cos(4 * ANGLE))
    wanted = stroke + 20.0 * 0.4 * np.cos(2 * ANGLE - 1.0)
    assert with_ripple(stroke, 0.7) == pytest.approx(wanted)


@pytest.mark.parametrize(
    ("effect", "interval", "direction", "band", "verdict"),
    [
        (2.0, None, 0, (0, 3), "inside"),
        (4.0, None, 0, (0, 3), "above"),
        (-1.0, (-3, 1), 0, (0, 3), "below, its interval meets the band"),
        (-1.0, (-1.5, -0.5), 0, (0, 3), "below"),
        (None, None, -1, (-3, -1), "the same direction"),
        (None, None, -1, (1, 3), "the other direction"),
        (None, None, -1, (-1, 3), "either direction is predicted"),
        (None, None, 0, (-1, 3), "not compared"),
    ],
)
def test_verdicts(effect, interval, direction, band, verdict):
    published = PublishedEffect(
        "A", "trial", "power", "", "", "", effect_pct=effect, interval_pct=interval, direction=direction
    )
    assert published.verdict(*band) == verdict
    with pytest.raises(Refusal, match="low to high"):
        published.verdict(1, -1)


def test_words_and_tables_hold_every_effect(compared):
    words = " ".join(published_exhibits.sentences(compared))
    assert "Hintzy & Horvais 2016" in words and "Not compared" in words
    assert " -" not in words and " -" not in published_exhibits.rider_sentence(compared)
    assert len(published_exhibits.published_table(compared).frame) == len(EFFECTS)
    judged = [part for part in compared if part.cases]
    assert len(published_exhibits.verdict_table(compared).frame) == len(judged)
    exhibit = published_exhibits.bands_exhibit(compared)
    assert len(exhibit.figure.axes[0].get_yticks()) == len(judged)
    # What stands from memory says so.
    assert all(effect.doubts for effect in EFFECTS)
    assert "from memory" in EFFECTS[0].doubts
