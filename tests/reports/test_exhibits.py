"""Exhibits carry caption and alternative text, escape what they are given and draw the same bytes twice."""

import re

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from analysis_lib.reports.exhibits.counts_in_words import say_counts_after
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.exhibits.numbers import format_cell, write_csv
from analysis_lib.reports.figures.quality_figures import STATE_MARKS
from analysis_lib.reports.figures.style import FURTHER_LOOKS, LOOKS, in_house_style, new_figure
from analysis_lib.statistics.estimates import show_number


@in_house_style
def _figure():
    figure, (axes,) = new_figure()
    axes.fill_between([0, 1], [0, 1], [1, 2])
    axes.plot([0, 1], [0, 1], label="a")
    axes.set_clip_on(True)
    axes.legend()
    return figure


def _exhibit(**changes):
    words = {"name": "x", "figure": _figure(), "caption": "A <b> caption", "alt": 'A "quoted" line chart'}
    return FigureExhibit(**(words | changes))


def test_the_same_figure_gives_the_same_bytes():
    one, two = _exhibit(), _exhibit()
    assert one.svg() == two.svg()
    assert one.png() == two.png()
    assert b"<dc:date>" not in one.svg()


def test_a_figure_is_drawn_once_for_both_files(tmp_path, monkeypatch):
    drawn, draw = [], Figure.draw
    monkeypatch.setattr(
        Figure, "draw", lambda figure, renderer: (drawn.append(renderer), draw(figure, renderer))
    )
    exhibit = _exhibit()
    exhibit.save(tmp_path)
    exhibit.svg(), exhibit.svg(), exhibit.png()
    assert len(drawn) == 1


def test_a_figure_that_is_only_shown_has_the_same_svg():
    both = _exhibit()
    assert both.png() and both.svg() == _exhibit().svg()


def test_a_figure_is_self_contained_and_escaped():
    html = _exhibit().html()
    assert 'alt="A &quot;quoted&quot; line chart"' in html
    assert "A &lt;b&gt; caption" in html
    assert "http" not in re.sub(r"base64,[A-Za-z0-9+/=]+", "", html)


def test_saving_writes_both_pictures_and_the_numbers(tmp_path):
    _exhibit(data=pd.DataFrame({"a": [1.5]})).save(tmp_path / "deep" / "folder")
    assert sorted(path.name for path in (tmp_path / "deep" / "folder").iterdir()) == [
        "x.csv",
        "x.png",
        "x.svg",
    ]


def test_a_table_has_caption_and_scopes_and_escapes_cells():
    frame = pd.DataFrame({"rider": ["<script>"], "power_W": [201.23456], "n": [3], "gone": [np.nan]})
    html = TableExhibit("t", frame, "Cap", {"power_W": "Power (W)"}, {"power_W": 1}).html()
    assert '<caption id="caption-t"><span class="words">Cap</span></caption>' in html
    assert '<th scope="col" class="number">Power (W)</th>' in html
    assert '<th scope="row" class="whole">&lt;script&gt;</th>' in html
    assert '<td class="number" data-value="~201.23456">201.2</td>' in html
    assert '<td class="number">–</td>' in html


def test_columns_of_numbers_stand_right_and_a_column_without_a_word_is_left_out():
    frame = pd.DataFrame(
        {"trial": ["a", "b"], "period": [1, 2], "by": ["x", 3], "note": ["", None], "sd": np.nan}
    )
    frame["period"] = frame["period"].astype("Int64")
    html = TableExhibit("t", frame, "Cap").html()
    assert html.count('class="number"') == 6  # period and sd: the head and two rows each
    assert '<th scope="col">by</th>' in html
    assert "note" not in html
    assert '<td class="number">–</td>' in html


def test_a_long_reason_is_set_as_a_sentence():
    html = TableExhibit("t", pd.DataFrame({"trial": ["a"], "reason": ["one more word " * 8]}), "Cap").html()
    assert '<td class="sentence">' in html


def test_lettering_keeps_its_size_on_a_phone():
    html = _exhibit().html()
    assert re.search(
        r'<div class="picture-frame" tabindex="0" [^>]*><img style="width:\d+%;min-width:[\d.]+rem"', html
    )


def test_negative_numbers_have_a_true_minus_and_nothing_is_a_dash():
    assert format_cell(-1.25, 2) == "−1.25"
    assert format_cell(None) == "–"
    assert format_cell(True) == "yes"
    assert format_cell(1.0e-7) == "1e−07"


def test_what_subtracting_equal_numbers_leaves_is_nothing():
    left = 0.26 - 0.11 - 0.15  # 2.8e-17 in binary fractions
    assert left != 0
    assert (
        format_cell(left) == format_cell(-left) == show_number(left) == show_number(left, signed=True) == "0"
    )
    assert format_cell(-2.5e-9) == show_number(-2.5e-9) == "−2.5e−09"


def test_no_p_value_is_printed_as_zero():
    frame = pd.DataFrame(
        {"x": ["a", "b"], "p": [1e-9, 0.0432], "p_holm": [np.nan, 1.0], "slope_p": [0.0004, 0.5]}
    )
    html = TableExhibit("t", frame, "Cap", digits={"p": 2}).html()
    assert html.count("&lt; 0.001") == 2
    assert ">0.043<" in html
    assert ">–<" in html


def test_csv_keeps_ten_digits_and_never_starts_a_formula(tmp_path):
    write_csv(tmp_path / "t.csv", pd.DataFrame({"who": ["=1+1", "R01"], "x": [1 / 3, np.nan]}))
    assert (tmp_path / "t.csv").read_text() == "who,x\n'=1+1,0.3333333333\nR01,\n"


def test_states_and_rings_are_told_apart_without_colour():
    states = [STATE_MARKS[name] for name in ("kept", "caution", "not used")]
    assert len(set(states)) == 3
    looks = [(str(look.line), look.marker) for look in (LOOKS["round"], *FURTHER_LOOKS)]
    assert len({line for line, _ in looks}) == len({marker for _, marker in looks}) == len(looks)


def test_counts_of_many_parts_are_given_from_which_to_which_where_a_caption_would_grow_too_long():
    words = " ".join(["word"] * 50)
    counts = {f"Intensity {place}, ring oval": 1 + place % 2 for place in range(6)}
    assert say_counts_after(words, "Trials", counts) == f"{words} Trials: 1 to 2."
    assert say_counts_after(words, "Trials", dict.fromkeys(counts, 2)) == f"{words} Trials: 2 in each."
    few = dict(list(counts.items())[:2])
    assert say_counts_after("Mean.", "Trials", few) == (
        "Mean. Trials: Intensity 0, ring oval 1, Intensity 1, ring oval 2."
    )
