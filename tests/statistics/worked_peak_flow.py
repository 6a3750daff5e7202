"""Peak flow of 17 subjects by two meters, the worked example of two papers."""

from __future__ import annotations

import pandas as pd

# Bland & Altman, Lancet 1986;i:307, table: peak expiratory flow of 17 subjects (L/min), two readings by each
# meter.
PEFR = pd.DataFrame(
    {
        "wright": [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427],
        "wright2": [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421],
        "mini": [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451],
        "mini2": [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443],
    }
)
