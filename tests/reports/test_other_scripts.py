"""Labels in scripts that the figures' own font lacks: drawn with another installed font, or said to be boxes."""

import warnings
from pathlib import Path

import pytest

from analysis_lib.reports.exhibits import notebook_page, other_scripts
from analysis_lib.reports.figures.style import FONT, RC, in_house_style, new_figure
from analysis_lib.study.declared.settings import FILE, read_settings
from analysis_lib.study.synthetic.synthetic import small_study

HIRAGANA = "\u3089\u304f"


@pytest.fixture
def study(tmp_path):
    small_study(tmp_path / "study", riders=1, duration_s=3.0)
    yield tmp_path / "study"
    RC["font.family"] = [FONT]
    other_scripts._fonts_for.cache_clear()


def _called(study: Path, label: str):
    """The study's settings with another label of its first intensity."""
    text = (study / FILE).read_text(encoding="utf-8")
    (study / FILE).write_text(text.replace("Easy (RPE 11)", label), encoding="utf-8")
    return read_settings(study / FILE)


@pytest.mark.parametrize("label", ["Légère, ±5 °", "Тяжело", "Εύκολα"])
def test_scripts_of_the_figures_own_font_need_no_words(study, label):
    assert other_scripts.letter_figures(_called(study, label)) == ""
    assert RC["font.family"] == [FONT]


def test_letters_without_a_font_are_named_on_the_page_and_with_what_to_do(study, monkeypatch):
    monkeypatch.setattr("matplotlib.font_manager.fontManager.ttflist", [])
    said = other_scripts.letter_figures(_called(study, HIRAGANA))
    assert "no installed font with \u304f, \u3089 of study.toml" in said and "install one" in said
    shown = []
    monkeypatch.setattr(notebook_page, "display", lambda part: shown.append(part.data))
    notebook_page.open_page("results", "study", str(study))
    assert len(shown) == 1 and "no installed font with" in shown[0]


def test_another_installed_font_draws_what_it_has(study, tmp_path, monkeypatch):
    builder = pytest.importorskip("fontTools.fontBuilder").FontBuilder(1000)
    names = [".notdef", "ra", "ku"]
    builder.setupGlyphOrder(names)
    builder.setupCharacterMap(dict(zip(map(ord, HIRAGANA), names[1:], strict=True)))
    builder.setupGlyf(dict.fromkeys(names, pytest.importorskip("fontTools.ttLib.tables._g_l_y_f").Glyph()))
    builder.setupHorizontalMetrics(dict.fromkeys(names, (500, 0)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupOS2()
    builder.setupPost()
    builder.setupNameTable({"familyName": "Two Letters", "styleName": "Regular"})
    builder.save(tmp_path / "two_letters.ttf")
    from matplotlib.font_manager import fontManager

    monkeypatch.setattr(fontManager, "ttflist", list(fontManager.ttflist))
    fontManager.addfont(tmp_path / "two_letters.ttf")
    assert other_scripts.letter_figures(_called(study, HIRAGANA)) == ""
    assert RC["font.family"] == [FONT, "Two Letters"]
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # a letter without a font is a warning of matplotlib
        _draw(HIRAGANA)


@in_house_style
def _draw(label):
    figure, (axes,) = new_figure()
    axes.set_xlabel(label)
    figure.canvas.draw()
