"""Published crossover trials as trial tables, with the treatment under study in the place of the oval ring."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

SHARED_DATA = Path(__file__).resolve().parents[3] / "shared" / "data" / "worked"

# Formoterol against salbutamol, peak expiratory flow (L/min) of 13 children. Senn, Cross-over Trials in Clinical
# Research, 2nd ed. 2002, ch. 3; also the AB/BA example of the TTEST chapter of the SAS/STAT manual.
FORMOTEROL_FIRST = [(310, 270), (310, 260), (370, 300), (410, 390), (250, 210), (380, 350), (330, 365)]
SALBUTAMOL_FIRST = [(370, 385), (310, 400), (380, 410), (290, 320), (260, 340), (90, 220)]

# Dry nights of 14 in enuresis, drug against placebo. Hills & Armitage, Br J Clin Pharmacol 1979;8:7.
DRUG_FIRST = [
    (8, 5), (14, 10), (8, 0), (9, 7), (11, 6), (3, 5), (6, 0), (0, 0), (13, 12),
    (10, 2), (7, 5), (13, 13), (8, 10), (7, 7), (9, 0), (10, 6), (2, 2),
]  # fmt: skip
PLACEBO_FIRST = [
    (12, 11), (6, 8), (13, 9), (8, 8), (8, 9), (4, 8), (8, 14), (2, 4), (8, 13), (9, 7), (7, 10), (7, 6),
]  # fmt: skip

# Areas under the curve, reference and test formulation. Chow & Liu, Design and Analysis of Bioavailability and
# Bioequivalence Studies, ch. 3.
REFERENCE_FIRST = [
    (74.675, 73.675), (96.4, 93.25), (101.95, 102.125), (79.05, 69.45), (79.05, 69.025), (85.95, 68.7),
    (69.725, 59.425), (86.275, 76.125), (112.675, 114.875), (99.525, 116.25), (89.425, 64.175), (55.175, 74.575),
]  # fmt: skip
TEST_FIRST = [
    (74.825, 37.35), (86.875, 51.925), (81.675, 72.175), (92.7, 77.5), (50.45, 71.875), (66.125, 94.025),
    (122.45, 124.975), (99.075, 85.225), (86.35, 95.925), (49.925, 67.1), (42.7, 59.425), (91.725, 114.05),
]  # fmt: skip

# Haemoglobin change. Grizzle, Biometrics 1965;21:467; data as in the SAS sample library, CHANGEOV.
GRIZZLE_A_FIRST = [(0.2, 1.0), (0.0, -0.7), (-0.8, 0.2), (0.6, 1.1), (0.3, 0.4), (1.5, 1.2)]
GRIZZLE_B_FIRST = [
    (1.3, 0.9), (-2.3, 1.0), (0.0, 0.6), (-0.8, -0.3), (-0.4, -1.0), (-2.9, 1.7), (-1.9, -0.3), (-2.9, 0.9),
]  # fmt: skip

# Forced expiratory volume in one second (L) of 17 asthmatics. Patel 1983, as in Jones & Kenward, Design and Analysis of
# Cross-Over Trials, p. 55 (from memory; the effect and both tests come out as published).
PATEL_A_FIRST = [
    (1.28, 1.33), (1.60, 2.21), (2.46, 2.43), (1.41, 1.81), (1.40, 0.85), (1.12, 1.20), (0.90, 0.90), (2.41, 2.79),
]  # fmt: skip
PATEL_B_FIRST = [
    (3.06, 1.38), (2.68, 2.10), (2.60, 2.32), (1.48, 1.30), (2.08, 2.34), (2.72, 2.48), (1.94, 1.11), (3.35, 3.23),
    (1.16, 1.25),
]  # fmt: skip

# A two-way crossover of 12 subjects whose whole analysis of variance of the logarithms was printed in R-bloggers,
# 3 November 2013.
LOG_TEST_FIRST = [
    (28.39, 35.44), (33.36, 33.40), (24.29, 24.65), (28.61, 31.77), (59.49, 65.29), (42.30, 37.01),
]  # fmt: skip
LOG_REFERENCE_FIRST = [
    (39.86, 49.42), (32.75, 36.78), (34.97, 34.81), (45.44, 45.54), (27.87, 28.23), (24.26, 25.71),
]  # fmt: skip


def two_periods(oval_first, round_first, intensity="one"):
    """Lay out two groups of pairs (period 1, period 2) as a trial table with the value column y."""
    rows = []
    for label, rings, pairs in (
        ("OR", ("oval", "round"), oval_first),
        ("RO", ("round", "oval"), round_first),
    ):
        for number, pair in enumerate(pairs):
            for period, (ring, y) in enumerate(zip(rings, pair, strict=True), start=1):
                rows.append((f"{label}{number:02d}", label, period, ring, intensity, float(y)))
    return pd.DataFrame(rows, columns=["rider", "sequence", "period", "ring", "intensity", "y"])


def read_shared(name):
    """Read a larger published or simulated table that is not part of the project; skip when it is not there."""
    path = SHARED_DATA / name
    if not path.exists():
        pytest.skip(f"{name} is not in {SHARED_DATA.parent.name}/{SHARED_DATA.name} beside the project")
    return pd.read_csv(path)


def twelve_riders():
    """A simulated ABBA/BAAB study, 12 riders, three intensities, 17 of 144 trials missing."""
    return read_shared("xover12.csv").rename(columns={"subject": "rider"})
