"""Calibrations, a zero that follows temperature, and slow turns, from the study folder to the trial's result."""

from __future__ import annotations

import math

import numpy as np
import pytest

from analysis_lib.refusals import Refusal
from analysis_lib.study.checks.folder import open_study
from analysis_lib.study.corrections.trial_budget import trial_budgets

SPEED_RAD_S = math.radians(7.31 * 50)  # of the tiny study's recordings
GRAVITY = 9.80665  # standard gravity, 3rd CGPM 1901
LOADS_KG = [0, 5, 10, 15, 20, 15, 10, 5, 0]


def write_calibration(
    tiny, slope=1.02, noise_Nm=0.0, when="2026-03-01T10:00:00", channel="total", recorder="crank"
):
    """Masses on a level crank of 170 mm, going up and down; readings are 0.4 + slope x applied."""
    rng = np.random.default_rng(3)
    path = tiny.root / "calibrations.csv"
    lines = (
        [] if path.is_file() else ["recorder,calibrated_at,channel,crank_deg,mass_kg,arm_mm,reading_Nm,note"]
    )
    for mass in LOADS_KG:
        reading = 0.4 + slope * mass * GRAVITY * 0.17 + noise_Nm * rng.standard_normal()
        lines.append(f"{recorder},{when},{channel},90,{mass},170,{reading:.6f},")
    with path.open("a", encoding="utf-8") as file:
        file.write("\n".join([*lines, ""]))


class TestCalibration:
    def test_the_slope_is_divided_out_after_the_zero_and_said(self, tiny):
        write_calibration(tiny)
        result = open_study(tiny.root).load_trial("T1")
        zeroed = 20.5 - (0.5 + 0.2 * 305 / 3000)  # the line between the checks at 5 s, see test_folder
        assert result.value("power_W") == pytest.approx(zeroed / 1.02 * SPEED_RAD_S, rel=1e-4)
        (said,) = [said for said in result.assumptions if "calibration slope" in said]
        assert "Torque of total was divided by its calibration slope 1.0200" in said
        assert "9 loads up to 33.3 N·m" in said  # 20 kg · 9.80665 · 0.17 m
        assert "linearity 0.00 % of the range, hysteresis 0.00 %" in said

    def test_a_large_correction_needs_a_declared_override(self, tiny):
        write_calibration(tiny, slope=1.25)
        with pytest.raises(Refusal, match="within 10 % of 1") as caught:
            open_study(tiny.root).load_trial("T1")
        assert (caught.value.scope, caught.value.trial) == ("trial", "T1")
        assert caught.value.remedy.endswith("set calibration_override = true for the recorder in study.toml")
        tiny.replace(
            "study.toml", 'crank_side = "right"', 'crank_side = "right"\ncalibration_override = true'
        )
        result = open_study(tiny.root).load_trial("T1")
        assert result.value("mean_torque_Nm") == pytest.approx(
            (20.5 - 0.5 - 0.2 * 305 / 3000) / 1.25, rel=1e-4
        )

    def test_the_last_one_before_the_trial_counts_and_one_after_it_is_said(self, tiny):
        write_calibration(tiny, slope=1.05, when="2026-02-01T10:00:00")
        write_calibration(tiny, slope=1.02, when="2026-03-02T12:00:00")
        study = open_study(tiny.root)
        assert any("slope 1.0500" in said for said in study.load_trial("T1").assumptions)
        assert any("slope 1.0200" in said for said in study.load_trial("T5").assumptions)
        (tiny.root / "calibrations.csv").unlink()
        write_calibration(tiny, when="2026-03-02T12:00:00")
        assert any(
            "only after the trial" in said for said in open_study(tiny.root).load_trial("T1").assumptions
        )

    def test_its_standard_error_enters_the_budget_unless_one_is_declared(self, tiny):
        write_calibration(tiny, noise_Nm=0.2)
        study = open_study(tiny.root)
        recorder = study.settings.recorders["crank"]
        # Standard error of a slope: noise / √Σ(x − mean)², here within the scatter of 7 degrees of freedom.
        applied = np.array(LOADS_KG) * GRAVITY * 0.17
        expected = 100 * 0.2 / math.sqrt(np.sum((applied - applied.mean()) ** 2)) / 1.02
        assert recorder.slope_uncertainty_pct == pytest.approx(expected, rel=0.6)
        result = study.load_trial("T1")
        part = trial_budgets(result, recorder)["power"].to_frame().set_index("input")["contribution"]
        assert part["calibration slope"] == pytest.approx(
            result.value("power_W") * recorder.slope_uncertainty_pct / 100, rel=1e-3
        )
        tiny.replace(
            "study.toml", 'crank_side = "right"', 'crank_side = "right"\nslope_uncertainty_pct = 0.7'
        )
        assert open_study(tiny.root).settings.recorders["crank"].slope_uncertainty_pct == 0.7

    def test_its_temperature_tells_how_far_the_slope_may_have_moved(self, tiny):
        """Checks at 18 and 20 °C around T1, whose recorder records no temperature; calibrated at 15 °C, then at 25 °C."""
        write_calibration(tiny)
        assert "from_calibration_degC" not in open_study(tiny.root).load_trial("T1").quality
        path = tiny.root / "calibrations.csv"
        text = path.read_text(encoding="utf-8")
        for warm, away in ((15, 5.0), (25, 7.0)):
            lines = text.splitlines()
            warmed = [f"{lines[0]},temperature_C", *(f"{line},{warm}" for line in lines[1:])]
            path.write_text("\n".join(warmed), encoding="utf-8")
            study = open_study(tiny.root)
            quality = study.load_trial("T1").quality
            assert (quality["recorder_temperature_C"], quality["from_calibration_degC"]) == (19.0, away)
            assert study.settings.recorders["crank"].calibrated_at_degC == warm
        tiny.replace("study.toml", 'crank_side = "right"', 'crank_side = "right"\ncalibrated_at_degC = 18.5')
        path.unlink()
        assert open_study(tiny.root).load_trial("T1").quality["from_calibration_degC"] == 1.5

    def test_its_fingerprint_changes_with_it_and_with_nothing_else(self, tiny):
        without = open_study(tiny.root).known.fingerprint()
        write_calibration(tiny)
        once, again = (open_study(tiny.root).known.fingerprint() for _ in range(2))
        assert once == again != without
        (tiny.root / "calibrations.csv").unlink()
        write_calibration(tiny, slope=1.03)
        assert open_study(tiny.root).known.fingerprint() not in (once, without)

    def test_torque_beyond_the_largest_load_carries_a_caution(self, tiny):
        write_calibration(tiny)
        assert not any("beyond" in said for said in open_study(tiny.root).load_trial("T1").cautions)
        text = (tiny.root / "calibrations.csv").read_text(encoding="utf-8")
        fewer = [line for line in text.splitlines() if ",15," not in line and ",20," not in line]
        (tiny.root / "calibrations.csv").write_text("\n".join(fewer), encoding="utf-8")
        (said,) = [said for said in open_study(tiny.root).load_trial("T1").cautions if "beyond" in said]
        assert "beyond the 16.7 N·m to which it was calibrated" in said

    @pytest.mark.parametrize(
        ("more", "words"),
        [({"channel": "left"}, "a channel of crank: total"), ({"channel": "both"}, "column channel")],
    )
    def test_faults_of_the_table_stop_the_trials_of_their_recorder(self, tiny, more, words):
        write_calibration(tiny, **more)
        study = open_study(tiny.root)
        found = [problem for problem in study.errors if "calibrations.csv" in str(problem)]
        assert found and {problem.scope for problem in found} == {"trial"}
        assert all(words in str(problem) or "column channel" in str(problem) for problem in found)
        with pytest.raises(Refusal, match=r"calibrations\.csv"):
            study.load_trial("T1")

    def test_faults_of_a_recorder_that_nobody_knows_are_the_study_s(self, tiny):
        write_calibration(tiny, recorder="krank")
        study = open_study(tiny.root)
        (problem,) = [problem for problem in study.errors if "calibrations.csv" in str(problem)]
        assert problem.scope == "study" and "did you mean 'crank'" in str(problem)


class TestZeroModel:
    def test_a_zero_that_follows_temperature_is_taken_off(self, tiny):
        """Checks at 18, 20, 22 and 26 °C read 0.1 N m a degree more; the trial warms from 20 to 24 °C."""
        tiny.replace(
            "study.toml",
            "[recorders.crank]",
            '[rules]\nzero_model = "temperature"\n[recorders.crank]\n'
            'columns.temperature_C = { column = "warmth", unit = "degC" }',
        )
        header = "recorder,checked_at,temperature_C,zero_left_Nm,zero_right_Nm,zero_total_Nm,note"
        checks = [("08:30", 18), ("08:40", 26), ("08:55", 20), ("09:30", 22), ("09:45", 19)]
        lines = [f"crank,2026-03-02T{at}:00,{warm},,,{1 + 0.1 * (warm - 20):.3f}," for at, warm in checks]
        (tiny.root / "zero_checks.csv").write_text("\n".join([header, *lines]), encoding="utf-8")
        rows = (tiny.root / "recordings/T1.csv").read_text(encoding="utf-8").splitlines()
        warmed = [f"{row},{20 + 4 * number / 500:.4f}" for number, row in enumerate(rows[1:])]
        (tiny.root / "recordings/T1.csv").write_text(
            "\n".join([rows[0] + ",warmth", *warmed]), encoding="utf-8"
        )
        result = open_study(tiny.root).load_trial("T1")
        assert result.value("mean_torque_Nm") == pytest.approx(
            20.5 - (1 + 0.1 * 2), abs=0.01
        )  # 22 °C on average
        assert any("fit of all zero checks on temperature" in said for said in result.assumptions)

    def test_too_few_checks_are_refused(self, tiny):
        tiny.replace(
            "study.toml", "[recorders.crank]", '[rules]\nzero_model = "temperature"\n[recorders.crank]'
        )
        with pytest.raises(Refusal, match="at least 3 checks with their time and temperature"):
            open_study(tiny.root).load_trial("T1")


class TestSlowTurn:
    def write(self, tiny, offset_deg, declared="", noise_Nm=0.1):
        """15 N m of gravity over one turn in 12 s, the recorded angle ahead by `offset_deg`; its noise is seeded."""
        tiny.replace(
            "study.toml",
            'crank_side = "right"',
            f'crank_side = "right"\n{declared}\n'
            'slow_turns = [{ file = "slow.csv", channel = "total", mass_on = "left" }]',
        )
        true = np.linspace(0, 370, 600)
        torque = (
            0.6
            + 15 * np.sin(np.radians(true + 180))
            + noise_Nm * np.random.default_rng(5).standard_normal(600)
        )
        table = np.column_stack([np.arange(600) * 0.02, (true + offset_deg) % 360, torque])
        np.savetxt(tiny.root / "slow.csv", table, "%.6f", ",", header="t,angle,torque", comments="")

    def test_an_offset_that_is_not_taken_off_is_a_caution_and_enters_the_budget(self, tiny):
        self.write(tiny, 3.0)
        study = open_study(tiny.root)
        (said,) = [said for said in study.load_trial("T1").cautions if "slow turn" in said]
        assert "at 3.0" in said or "at 2.9" in said
        assert "no offset is taken off" in said
        # Delta method, see test_crank_angle_sources: 0.1/15 rad · √(2/600).
        se = math.degrees(0.1 / 15 * math.sqrt(2 / 600))
        assert study.settings.recorders["crank"].angle_zero_uncertainty_deg == pytest.approx(se, rel=0.1)

    def test_an_offset_that_is_taken_off_is_an_assumption(self, tiny):
        self.write(tiny, 3.0, "angle_offset_deg = 3.0")
        result = open_study(tiny.root).load_trial("T1")
        assert not any("slow turn" in said for said in result.cautions)
        assert any("an angle_offset_deg of 3° is taken off" in said for said in result.assumptions)
        assert result.value("torque_phase_deg") == pytest.approx(97, abs=0.05)

    def test_one_that_cannot_be_read_is_a_note_and_stops_nothing(self, tiny):
        self.write(tiny, 3.0, noise_Nm=60.0)
        study = open_study(tiny.root)
        assert any("a torque that gravity explains" in str(note) for note in study.notes)
        assert study.load_trial("T1").value("power_W") > 100
        (tiny.root / "slow.csv").unlink()
        assert any("slow.csv" in str(note) for note in open_study(tiny.root).notes)
