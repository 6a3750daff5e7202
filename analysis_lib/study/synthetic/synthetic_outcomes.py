"""The outcomes that synthetic studies declare."""

from __future__ import annotations

from typing import Any

#: Outcomes of every synthetic study, in the order of reports. The smallest effects that matter are those of a
#: time trial (about 2 % of power) and of the last digit a rider would notice; common practice, no source.
OUTCOMES: list[dict[str, Any]] = [
    {
        "name": "power_W",
        "label": "Power at fixed exertion",
        "unit": "W",
        "source": "signals",
        "better": "higher",
        "smallest_effect": 4.0,
        "primary": True,
    },
    {
        "name": "torque_phase_deg",
        "label": "Torque phase",
        "unit": "deg",
        "source": "signals",
        "better": "neither",
        "smallest_effect": 3.0,
    },
    {
        "name": "peak_torque_Nm",
        "label": "Peak torque of both legs",
        "unit": "N m",
        "source": "signals",
        "better": "neither",
        "smallest_effect": 2.0,
    },
    {
        "name": "hr_bpm",
        "label": "Heart rate",
        "unit": "beats/min",
        "source": "trials",
        "better": "lower",
        "smallest_effect": 3.0,
    },
    {
        "name": "rpe",
        "label": "Perceived exertion (6 to 20)",
        "unit": "",
        "source": "trials",
        "better": "lower",
        "smallest_effect": 1.0,
    },
    {
        "name": "comfort",
        "label": "Comfort (0 to 100)",
        "unit": "",
        "source": "trials",
        "better": "higher",
        "smallest_effect": 10.0,
    },
]

#: Outcomes of a synthetic study with gas exchange, at the intensities that are meant to be steady. The smallest effect
#: of gross efficiency is the smallest detectable one of published_repeatability.py; the others are about as large.
GAS_OUTCOMES: list[dict[str, Any]] = [
    {
        "name": "gross_efficiency_pct",
        "label": "Gross efficiency",
        "unit": "%",
        "source": "derived",
        "better": "higher",
        "smallest_effect": 0.6,
    },
    {
        "name": "metabolic_power_W",
        "label": "Metabolic power",
        "unit": "W",
        "source": "derived",
        "better": "neither",
        "smallest_effect": 25.0,
    },
    {
        "name": "delta_efficiency_pct",
        "label": "Delta efficiency",
        "unit": "%",
        "source": "derived",
        "better": "higher",
        "smallest_effect": 1.5,
    },
]
