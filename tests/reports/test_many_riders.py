"""A study of a thousand riders has pages that can be read: figures and tables do not grow without bound."""

import re

import numpy as np
import pandas as pd
from matplotlib.colors import to_rgb

from analysis_lib.reports.exhibits.exhibit import SHOWN_ROWS, FigureExhibit, TableExhibit
from analysis_lib.reports.figures.effect_figures import paired_panels
from analysis_lib.reports.figures.individual_figures import rider_effects
from analysis_lib.reports.figures.mounting_figures import Rose, phase_roses
from analysis_lib.reports.figures.quality_figures import OVERVIEW_COLOURS, measure_panels, quality_strip
from analysis_lib.reports.figures.style import MANY

PAPER_MM = 297 - 2 * 20
"""An A4 sheet between margins of 20 mm (ISO 216)."""
COLUMNS = ["easy P1", "easy P2", "hard P1", "hard P2"]
RNG = np.random.default_rng(1)


def _strip(riders):
    names = [f"R{number:04d}" for number in range(riders)]
    cells = pd.DataFrame(
        [(name, column) for name in names for column in COLUMNS], columns=["rider", "column"]
    )
    cells = cells.assign(state="kept", text="40")
    cells.loc[[5, 6, 30], "state"] = ["not used", "caution", "caution"]
    return quality_strip(cells, "rider", COLUMNS)


def _effects(riders):
    effect = np.sort(RNG.normal(size=riders))
    frame = pd.DataFrame({"rider": [f"R{number:04d}" for number in range(riders)], "effect": effect})
    ends = {"low": effect - 5, "high": effect + 5, "low_pooled": effect - 2, "high_pooled": effect + 2}
    return rider_effects(frame.assign(**ends, shrunken=effect / 2), 0.0, 1.0, "Effect (W)")


def _svg(figure):
    return FigureExhibit("figure", figure, "caption", "alt").svg()


def test_figures_of_a_row_a_rider_stay_on_one_sheet():
    for draw in (_strip, _effects):
        assert draw(1000).get_figheight() * 25.4 <= PAPER_MM
        few, many = draw(12), draw(1000)
        assert len(few.axes[0].get_yticklabels()) == 12
        assert len(many.axes[0].get_yticklabels()) <= MANY


def test_a_thousand_riders_leave_figures_of_some_hundred_kilobytes():
    trials = pd.DataFrame(
        {"rider": [f"R{number:04d}" for number in np.arange(12_000) // 12], "state": "used"}
    )
    trials["power_W"] = RNG.normal(size=len(trials))
    pairs = pd.DataFrame({"intensity": "easy", "round": RNG.normal(size=1000), "oval": RNG.normal(size=1000)})
    figures = {
        "strip": _strip(1000),
        "riders": _effects(1000),
        "dots": measure_panels(trials, {"power_W": "Power (W)"}),
        "pairs": paired_panels(pairs, "power", "W"),
        "rose": phase_roses([Rose("easy", RNG.normal(90, 8, 1000), 90.0, 89.0, 91.0)]),
    }
    sizes = {name: len(_svg(figure)) / 1000 for name, figure in figures.items()}
    assert max(sizes.values()) < 700, sizes


def test_the_strip_of_many_riders_draws_neighbours_alike_as_one_block_and_loses_none():
    bars = _strip(1000).axes[0].patches
    assert len(bars) == len(COLUMNS) + 2 * 3  # each odd cell parts a column in two and stands between
    assert sum(bar.get_height() for bar in bars) == 1000 * len(COLUMNS)


def test_states_of_the_strip_are_told_apart_without_colour():
    """Relative luminance by WCAG 2.2; its criterion 1.4.11 asks for contrasts of 3 : 1 between parts of a picture."""

    def luminance(colour):
        linear = [
            part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in to_rgb(colour)
        ]
        return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))

    kept, caution, lost = (luminance(OVERVIEW_COLOURS[state]) for state in ("kept", "caution", "not used"))
    assert (caution + 0.05) / (lost + 0.05) >= 3
    assert (kept + 0.05) / (lost + 0.05) >= 3
    assert (kept + 0.05) / (caution + 0.05) >= 1.4


def test_a_long_table_shows_its_first_rows_and_says_where_all_are(tmp_path):
    frame = pd.DataFrame({"rider": [f"R{number:04d}" for number in range(1000)], "power_W": 200.0})
    table = TableExhibit("riders", frame, "Riders.")
    html = table.html()
    assert len(re.findall("<tr id=", html)) == SHOWN_ROWS
    assert f"Shown are the first {SHOWN_ROWS} of 1000 rows" in html
    assert "R0999" not in html and "R0999" not in table._repr_mimebundle_()["text/plain"]
    table.save(tmp_path)
    assert len(pd.read_csv(tmp_path / "riders.csv")) == 1000
    short = TableExhibit("riders", frame.head(SHOWN_ROWS), "Riders.").html()
    assert "Shown are" not in short and len(re.findall("<tr id=", short)) == SHOWN_ROWS
