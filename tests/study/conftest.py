"""A tiny study folder, written by hand, that each test may spoil in its own way."""

from __future__ import annotations

import functools
import math
from pathlib import Path

import pytest

SETTINGS = """
[study]
name = "Tiny"
question = "Does the ring matter?"
seed = 7

[rings.round]
teeth = 50
axis_ratio = 1.0

[rings.oval]
teeth = 50
axis_ratio = 1.10
available_mounts_deg = [60.0, 75.0]

[drivetrain]
sprocket_teeth = 17
chainstay_m = 0.41
crank_inertial_load_kgm2 = 30.0

[[intensities]]
name = "hard"
label = "Hard"
order = 2

[[intensities]]
name = "easy"
label = "Easy"
order = 1

[[outcomes]]
name = "power_W"
label = "Power"
unit = "W"
source = "signals"
better = "higher"
smallest_effect = 4.0
primary = true

[[outcomes]]
name = "hr_bpm"
label = "Heart rate"
unit = "1/min"
source = "trials"
better = "lower"
smallest_effect = 3

[design]
sequences = { RO = ["round", "oval"], OR = ["oval", "round"] }

[recorders.crank]
kind = "csv"
crank_side = "right"
columns.time_s = { column = "t", unit = "s" }
columns.crank_deg = { column = "angle", unit = "deg" }
columns.torque_Nm = { column = "torque", unit = "N m" }
"""

RIDERS = """rider,sequence,mass_kg,crank_length_mm,age_band
R01,RO,70.5,172.5,30-39
R02,OR,,170,
"""

TRIALS = """\
trial,rider,visit,period,ring,mount_deg,intensity,environment,recorder,file,started_at,start_s,end_s,exclude,\
exclude_reason,hr_bpm
T1,R01,1,1,round,,easy,lab,crank,recordings/T1.csv,2026-03-02T09:00:00,,,no,,120
T2,R01,1,1,round,,hard,lab,crank,recordings/T2.csv,2026-03-02T09:10:00,1,9.5,,,150
T3,R01,1,2,oval,75,easy,lab,crank,recordings/T3.csv,2026-03-02T09:20:00,,,no,,121
T4,R01,1,2,oval,255,hard,lab,crank,recordings/T4.csv,2026-03-02T09:30:00,,,no,,151
T5,R02,1,1,oval,60,easy,lab,crank,recordings/T5.csv,2026-03-03T09:00:00,,,no,,118
T6,R02,1,1,oval,60,hard,lab,crank,recordings/T6.csv,2026-03-03T09:10:00,,,no,,149
T7,R02,1,2,round,,easy,lab,crank,recordings/T7.csv,2026-03-03T09:20:00,,,no,,119
T8,R02,1,2,round,,hard,lab,crank,recordings/T8.csv,2026-03-03T09:30:00,,,yes,chain dropped,
"""

ZERO_CHECKS = """recorder,checked_at,temperature_C,zero_left_Nm,zero_right_Nm,zero_total_Nm,note
crank,2026-03-02T08:55:00,18.0,,,0.5,
crank,2026-03-02T09:45:00,20.0,,,0.7,warm
crank,2026-03-03T08:55:00,18.5,,,0.4,
crank,2026-03-03 09:45:00,,,,0.6,
"""


class TinyStudy:
    """The folder and a way to change one of its files."""

    def __init__(self, root: Path):
        self.root = root
        for name, text in FILES.items():
            (root / name).write_text(text, encoding="utf-8")
        (root / "recordings").mkdir()
        for number in range(1, 9):
            (root / f"recordings/T{number}.csv").write_text(steady_recording(number), encoding="utf-8")

    def replace(self, file: str, old: str, new: str) -> None:
        text = (self.root / file).read_text(encoding="utf-8")
        assert text.count(old) >= 1, f"{old!r} is not in {file}"
        (self.root / file).write_text(text.replace(old, new, 1), encoding="utf-8")


FILES = {"study.toml": SETTINGS, "riders.csv": RIDERS, "trials.csv": TRIALS, "zero_checks.csv": ZERO_CHECKS}


@functools.cache
def steady_recording(number: int = 0) -> str:
    """Ten seconds at 60.917 rpm with a mean torque of 20.5 N m, its axis at 100 degrees, as a recorder writes.

    No two recordings are the same: each has micronewton metres of its own.
    """
    angles = [step * 7.31 % 360 for step in range(501)]
    torque = [20.5 + 10 * math.cos(2 * math.radians(angle - 100)) for angle in angles]
    rows = [f"{step / 50:.2f},{angles[step]:.2f},{torque[step]:.4f}{number:02d}" for step in range(501)]
    return "\n".join(["t,angle,torque", *rows, ""])


@pytest.fixture
def tiny(tmp_path: Path) -> TinyStudy:
    return TinyStudy(tmp_path)


@pytest.fixture(scope="module")
def tiny_once(tmp_path_factory) -> TinyStudy:
    """A tiny study for what a file's tests share; none of them changes it."""
    return TinyStudy(tmp_path_factory.mktemp("tiny"))
