"""Numbers in sentences link to the row that holds them, and to no other."""

import re
from html import escape

import pandas as pd
import pytest
from markupsafe import Markup
from said_numbers import with_plain_blanks

from analysis_lib.reports.exhibits.exhibit import TableExhibit
from analysis_lib.reports.exhibits.number_links import link_numbers
from analysis_lib.reports.pages.pages import index_body, linked_answer

LINK = re.compile(r'<a class="row" href="#([^"]+)">(.*?)</a>')
EFFECT = TableExhibit(
    "effect",
    pd.DataFrame(
        {
            "intensity": ["easy", "hard", "overall"],
            "estimate": [0.2123, 2.3251, 1.0904],
            "low": [-1.2876, -0.2049, -0.3951],
            "p": [0.7601, 0.1272, 0.00004],
            "share": [0.40, 0.45, 0.34],
            "n": [12, 12, 11],
        }
    ),
    "An effect",
)
MOUNTS = TableExhibit("mounts", pd.DataFrame({"mount": [55.0, 70.0], "loss": [0.82, 0.0]}), "Mounts")


def _links(sentence, *tables, rows_of="", before=""):
    named = f' data-rows-of="{rows_of}"' if rows_of else ""
    body = f'{before}<p class="said"{named}>{sentence}</p>{"".join(table.html() for table in tables)}'
    return [(text, place) for place, text in LINK.findall(with_plain_blanks(link_numbers(body)))]


@pytest.mark.parametrize(
    ("sentence", "links"),
    [
        ("At hard it is +2.33 W.", [("+2.33", "effect--hard")]),
        (
            "It is 1.09 W (from −0.395; n = 11).",
            [(text, "effect--overall") for text in ("1.09", "−0.395", "11")],
        ),
        ("It is 0.21 (n = 12), p = 0.76.", [(text, "effect--easy") for text in ("0.21", "12", "0.76")]),
        ("It is 1.090, p &lt; 0.0001.", [("1.090", "effect--overall"), ("0.0001", "effect--overall")]),
        ("At most 45 % of it.", [("45 %", "effect--hard")]),
        ("It is 2.32 W.", []),  # 2.3251 rounds to 2.33
        ("It is +1.29 W.", []),  # the table holds −1.29
        ("Twelve, or 12 riders, of R12 and P1.", []),  # a small number that could be anything
        ("As in 2002, and 1.5.3.", []),
    ],
)
def test_a_number_links_to_the_row_that_rounds_to_it(sentence, links):
    assert _links(sentence, EFFECT) == [(text, f"table-{place}") for text, place in links]


def test_a_whole_number_links_to_the_row_that_it_heads():
    assert _links("Best at 70°, then 55°.", MOUNTS) == [
        ("70", "table-mounts--70"),
        ("55", "table-mounts--55"),
    ]


def test_numbers_come_from_the_tables_named_or_else_from_the_section():
    elsewhere = f"<h2>One</h2>{EFFECT.html()}<h2>Two</h2>"
    assert _links("It is 2.33 W.", MOUNTS, before=elsewhere) == []
    assert _links("It is 2.33 W.", MOUNTS, before=elsewhere, rows_of="mounts effect") == [
        ("2.33", "table-effect--hard")
    ]


def test_links_point_at_rows_that_are_there_and_leave_no_marks():
    body = link_numbers(f'<p class="said">It is 2.33 &amp; &lt;b&gt; W.</p>{EFFECT.html()}')
    assert 'id="table-effect--hard"' in body
    assert "&amp; &lt;b&gt; W." in body
    assert "data-value" not in body and "data-rows-of" not in body


def test_rows_that_share_their_first_cells_are_told_apart():
    frame = pd.DataFrame({"ring": ["oval", "oval"], "period": [1, 2], "power": [200.5, 201.5]})
    assert _links("It was 201.5 W.", TableExhibit("t", frame, "T")) == [("201.5", "table-t--oval-2")]


def test_a_number_that_was_counted_and_one_in_per_cent_are_not_taken_for_another():
    frame = pd.DataFrame({"intensity": ["easy", "hard"], "readings": [4, 8], "gap": [3.18, 99.3]})
    gaps = TableExhibit("gaps", frame, "Gaps")
    assert _links("It is 3.18 W at easy, and 4.00 W elsewhere.", gaps) == [("3.18", "table-gaps--easy")]
    assert _links("Nearest at hard in 99 % of draws, for 99.3 W.", gaps) == [("99.3", "table-gaps--hard")]
    met = TableExhibit("met", frame.assign(met=[93.4, 81.2]), "Met", {"met": "turn met (%)"})
    assert _links("It meets 93 % of the turn.", met) == [("93 %", "table-met--easy")]


def test_a_row_headed_by_the_number_comes_before_one_that_holds_it():
    frame = pd.DataFrame({"mount": [100.0, 115.0], "best": [0.0, 100.0]})
    assert _links("Or 100°.", TableExhibit("m", frame, "M")) == [("100", "table-m--100")]


SETTLED = TableExhibit(
    "declared",
    pd.DataFrame(
        {
            "declared": [
                "smallest effect that matters (W): Power",
                "smallest effect that matters (beats/min): Heart rate",
                "smallest effect that matters (deg): Torque phase",
                "interval",
                "min_turns",
            ],
            "value": [4.0, 3.0, 3.0, 0.95, 30.0],
        }
    ),
    "Declared",
)


@pytest.mark.parametrize(
    ("sentence", "links"),
    [
        ("An effect as large as 4 W is ruled out.", [("4", "smallest-effect-that-matters-w-power")]),
        (
            "Whether by as much as 3 deg is not settled.",
            [("3", "smallest-effect-that-matters-deg-torque-phase")],
        ),
        ("An effect as large as 3 is ruled out.", []),  # of two outcomes, and neither is named
        ("An effect as large as 5 W is ruled out.", []),
        ("There were 4 W.", []),
        ("The 95 % interval.", [("95 %", "interval")]),
        ("Fewer than min_turns = 30 turns.", [("30", "min_turns")]),
        ("There were 30 turns.", []),
    ],
)
def test_what_was_declared_is_linked_from_any_section_and_only_where_it_is_named(sentence, links):
    elsewhere = f"<h2>How this was made</h2>{SETTLED.html()}<h2>Answer</h2>"
    found = _links(sentence, before=elsewhere)
    assert found == [(text, f"table-declared--{row}") for text, row in links]


def test_no_line_breaks_between_a_sign_and_its_number_and_the_answer_is_found_all_the_same(tmp_path):
    page = tmp_path / "study.html"
    sentence = "It is 2.33 W (95 % interval ±2 W; n = 12, p = 0.76; F(1, 9) = 3.2, p < 0.0001; max_gap = 2)."
    page.write_text(link_numbers(f'<p class="said">{escape(sentence)}</p>{EFFECT.html()}'), encoding="utf-8")
    shown = re.sub(r"<[^>]+>", "", page.read_text(encoding="utf-8"))
    for whole in ("2.33 W", "95 %", "±2 W", "n = 12", "p = 0.76", "F(1, 9) = 3.2", "p &lt; 0.0001"):
        assert whole.replace(" ", "\xa0") in shown and whole in with_plain_blanks(shown)
    assert "% interval" in shown and "max_gap = 2" in shown  # words part, and a key can be copied
    (linked,) = linked_answer(page, [sentence], "study.html")
    assert 'href="study.html#table-effect--hard">2.33</a>' in linked


def test_captions_are_bound_and_cells_and_files_are_not(tmp_path):
    frame = pd.DataFrame({"what": ["95 % of it"], "value": [2.5]})
    table = TableExhibit("t", frame, "Of 95 % & p < 0.05.", {"value": "95 % low"})
    shown = link_numbers(table.html())
    assert "Of 95\xa0% &amp; p\xa0&lt;\xa00.05." in shown
    assert ">95 % of it<" in shown and ">95 % low<" in shown
    table.save(tmp_path)
    assert "95 % of it" in (tmp_path / "t.csv").read_text(encoding="utf-8")
    figure = link_numbers("<figcaption>At 3.5 W, 95 % band.</figcaption>")
    assert figure == "<figcaption>At 3.5\xa0W, 95\xa0% band.</figcaption>"


def test_an_answer_on_another_page_keeps_its_links_and_no_other_markup_of_where_it_comes_from(tmp_path):
    page = tmp_path / "study.html"
    sentence = 'It is 2.33 <b>W</b> & "more".'
    page.write_text(link_numbers(f'<p class="said">{escape(sentence)}</p>{EFFECT.html()}'), encoding="utf-8")
    linked, plain = linked_answer(page, [sentence, "<i>Other</i> 2.33"], "study.html")
    assert linked == escape(sentence).replace(
        "2.33", '<a class="row" href="study.html#table-effect--hard">2.33</a>'
    )
    assert plain == "<i>Other</i> 2.33"  # escaped by the page that shows it
    page.write_text('<p class="said">It <img src=x onerror=1> is <a class="row" href="#x" >2</a></p>')
    (only,) = linked_answer(page, ["It <img src=x onerror=1> is 2"], "study.html")
    assert "<img" in only and not isinstance(only, Markup)
    shown = index_body("?", [linked, only], [], [])
    assert "study.html#table-effect--hard" in shown and "<img" not in shown
    assert linked_answer(tmp_path / "none.html", ["x"], "study.html") == ["x"]
