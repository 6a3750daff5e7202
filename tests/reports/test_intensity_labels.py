"""Pages and figures call intensities by their labels; files keep the names."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from html import unescape

import pandas as pd
import pytest
from said_numbers import page_of

from analysis_lib.reports.exhibits import notebook_page
from analysis_lib.reports.exhibits.exhibit import FigureExhibit, TableExhibit
from analysis_lib.reports.exhibits.intensity_labels import label_figure, label_table
from analysis_lib.reports.exhibits.notebook_page import NotebookPage, open_page
from analysis_lib.reports.figures.style import in_house_style, legend_above, name_panel, new_figure
from analysis_lib.reports.files.places import notebooks_folder
from analysis_lib.reports.study.study_gathering import analyse_study
from analysis_lib.study.declared.study_heading import SIMULATED
from analysis_lib.study.synthetic.synthetic import small_study
from analysis_lib.study.synthetic.synthetic_plan import DEMO_INTENSITIES

LABELS = {"easy": "Easy (RPE 11)", "hard": "Hard (RPE 16)"}


@in_house_style
def drawn():
    figure, (axes,) = new_figure()
    axes.plot([0, 1, 2], [1, 2, 3], label="hard")
    axes.set_xticks([0, 1, 2], ["easy", "hard", "overall"], rotation=35)
    name_panel(axes, "easy")
    axes.set_ylabel("easy, by hand")
    legend_above(figure, axes)
    return figure


def test_names_that_stand_by_themselves_in_a_figure_become_labels():
    figure = drawn()
    label_figure(figure, LABELS)
    figure.draw_without_rendering()
    (axes,) = figure.axes
    assert [text.get_text() for text in axes.get_xticklabels()] == [*LABELS.values(), "overall"]
    assert axes.get_xticklabels()[0].get_rotation() == 35
    assert [text.get_text() for text in axes.texts] == ["Easy (RPE 11)"]
    assert [text.get_text() for text in figure.legends[0].get_texts()] == ["Hard (RPE 16)"]
    assert axes.get_ylabel() == "easy, by hand"
    # numbers at ticks stay what they are
    assert all(re.fullmatch(r"[\d.]+", text.get_text()) for text in axes.get_yticklabels())


def test_a_page_shows_labels_and_saves_names(tmp_path, monkeypatch):
    shown = []
    monkeypatch.setattr(notebook_page, "display", shown.append)
    frame = pd.DataFrame({"intensity": ["easy", "overall"], "estimate": [1.0, 2.0]}, index=[4, 7])
    page = NotebookPage(tmp_path, "study", LABELS)
    page.show(TableExhibit("effect", frame, "Effect"), FigureExhibit("f", drawn(), "A", "B", frame))
    assert "Easy (RPE 11)" in shown[0].html() and ">easy<" not in shown[0].html()
    for file in (tmp_path / "tables/study/as_shown/effect.csv", tmp_path / "figures/study/f.csv"):
        assert pd.read_csv(file)["intensity"].tolist() == ["easy", "overall"]
    assert label_table(TableExhibit("t", pd.DataFrame({"p": [0.5]}), ""), LABELS).frame["p"].tolist() == [0.5]


def test_a_page_knows_the_labels_of_its_study(tmp_path):
    small_study(tmp_path / "study", riders=1, duration_s=3.0)
    assert open_page("", "study", str(tmp_path / "study")).intensities["easy"] == "Easy (RPE 11)"
    assert open_page("", "plan").intensities == {}
    assert open_page("", "study", str(tmp_path / "nowhere")).intensities == {}


def test_a_notebook_on_its_own_says_that_its_data_are_simulated(tmp_path, monkeypatch):
    shown = []
    monkeypatch.setattr(notebook_page, "display", lambda part: shown.append(part.data))
    open_page(str(tmp_path), "study", "")  # a report's page says it below its title
    assert shown == []
    open_page("", "study", "")
    assert len(shown) == 1 and SIMULATED in shown[0]


@pytest.mark.parametrize("notebook", sorted(notebooks_folder().glob("*.ipynb")), ids=lambda path: path.stem)
def test_every_notebook_opens_its_page_with_its_study(notebook):
    cells = [cell["source"] for cell in json.loads(notebook.read_text(encoding="utf-8"))["cells"]]
    assert re.search(r"page = open_page\(.*, study_dir\)", "\n".join(map("".join, cells)))


@pytest.fixture(scope="module")
def tagged(tmp_path_factory):
    """A study whose intensities have names that no sentence holds by chance; two trials are missing."""
    folder = tmp_path_factory.mktemp("tagged") / "study"
    parts = [replace(part, name=f"qq{part.name}") for part in DEMO_INTENSITIES[::2]]
    small_study(folder, riders=6, duration_s=4.0, intensities=tuple(parts))
    lines = (folder / "trials.csv").read_text(encoding="utf-8").splitlines()
    gone = ("R01-P1-qqhard", "R02-P2-qqhard", "R02-P3-qqhard")
    kept = [line for line in lines if not line.startswith(gone)]
    (folder / "trials.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")
    return folder


def test_no_name_of_an_intensity_stands_on_the_study_s_page(tagged, monkeypatch):
    text = page_of(
        "04_study_report.ipynb", monkeypatch, study_dir=str(tagged), analysis=analyse_study(str(tagged))
    )
    alternatives = re.findall(r'alt="([^"]*)"', text)
    words = unescape("\n".join([*re.split(r"<[^>]+>", text), *alternatives]))
    assert "Hard (RPE 16)" in words
    # A refusal speaks of what stands in files, and a trial's id is what the lab made it.
    left = [line for line in words.splitlines() if re.search(r"(?<![-\w])qq", line)]
    assert [line for line in left if "cannot be written" not in line] == []
