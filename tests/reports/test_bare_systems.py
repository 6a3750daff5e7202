"""Machines without fonts, and machines that write numbers with a comma: sound pages, or one sentence why not."""

import locale
import os
import shutil
import subprocess
import sys

import matplotlib as mpl
import pytest

from analysis_lib.reports.figures import style
from analysis_lib.reports.files.places import demo_folder
from analysis_lib.reports.files.run_record import checksums

NO_FONTS = '<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "fonts.dtd"><fontconfig></fontconfig>'
"""Settings of fontconfig, the system's list of fonts, that name no folder of fonts."""

COMMA = "de_DE.UTF-8"
USERS_TASTE = "axes.formatter.use_locale: True\nfont.size: 30\n"
WRITTEN_WITH_COMMAS = "import locale\nlocale.setlocale(locale.LC_ALL, '')\n"


@pytest.mark.long
def test_without_any_font_there_is_html_and_one_sentence_why(tmp_path):
    """Printing without a font ends the process with a signal, so it is never begun."""
    pytest.importorskip("weasyprint", exc_type=ImportError)
    (tmp_path / "fonts.conf").write_text(NO_FONTS)
    code = (
        "import sys; from pathlib import Path; from analysis_lib.reports.files import pdf_page;"
        " from analysis_lib.reports.pages import pages;"
        "print(pdf_page.why_no_pdf()); pages.write_page(Path(sys.argv[1]), 'A page', '<p>90°</p>', 'A study')"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "page.html")],
        env=os.environ | {"FONTCONFIG_FILE": str(tmp_path / "fonts.conf")},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (run.returncode, run.stderr) == (0, "")
    assert "no font is installed" in run.stdout and "HTML pages are complete" in run.stdout
    assert "90°" in (tmp_path / "page.html").read_text(encoding="utf-8")
    assert not (tmp_path / "page.pdf").exists()


def test_a_figures_numbers_have_a_point_whatever_the_machine_writes(monkeypatch):
    """The formatter of matplotlib asks `locale.localeconv`, where it may; here that says comma, as a German machine's."""
    monkeypatch.setattr(locale, "_override_localeconv", {"decimal_point": ","})
    with mpl.rc_context({"axes.formatter.use_locale": True}):
        assert "0,5" in _tick_labels(style.new_figure)
        assert "0.5" in _tick_labels(style.in_house_style(style.new_figure))


def _tick_labels(make):
    figure, (axes,) = make()
    axes.set_yticks([0, 0.5, 1])
    figure.draw_without_rendering()
    return [label.get_text() for label in axes.get_yticklabels()]


@pytest.fixture
def comma_places(tmp_path):
    """A folder with a German locale made here, because few machines that run tests have one."""
    if shutil.which("localedef") is None:
        pytest.skip("localedef, which makes a locale, is not installed")
    (tmp_path / "locales").mkdir()
    words = ["localedef", "-i", "de_DE", "-f", "UTF-8", str(tmp_path / "locales" / COMMA)]
    made = subprocess.run(words, capture_output=True, text=True, check=False)
    if not (tmp_path / "locales" / COMMA).is_dir():
        pytest.skip(f"localedef cannot make {COMMA} here: {made.stderr.strip()}")
    return tmp_path / "locales"


READING = """
import hashlib, io, locale, sys
from analysis_lib.signals.trial_file import write_trial
from analysis_lib.study.checks.folder import open_study
asked = sys.argv[2] and locale.setlocale(locale.LC_ALL, sys.argv[2])
study = open_study(sys.argv[1])
print(locale.format_string("%.1f", 0.5), len(study.problems))
for trial in study.trials.loc[study.trials["usable"], "trial"].groupby(study.trials["recorder"]).first():
    stream = io.BytesIO()
    write_trial(stream, study.load_trial(trial))
    print(trial, hashlib.sha256(stream.getvalue()).hexdigest())
"""
"""Reads a study's tables and a recording of each of its recorders, with the numbers of a locale where one is named."""


@pytest.mark.long
def test_tables_and_recordings_are_read_the_same_on_a_machine_with_decimal_commas(comma_places):
    """The demo study holds a text file with decimal commas of its own, and tables with points."""
    environment = os.environ | {"LOCPATH": str(comma_places)}
    with_point, with_comma = (
        subprocess.run(
            [sys.executable, "-c", READING, str(demo_folder()), name],
            env=environment,
            capture_output=True,
            text=True,
            check=True,
        ).stdout.splitlines()
        for name in ("", COMMA)
    )
    assert (with_point[0].split()[0], with_comma[0].split()[0]) == ("0.5", "0,5")
    assert with_comma[0].split()[1] == with_point[0].split()[1]
    assert with_comma[1:] == with_point[1:]
    assert len(with_point) == 3


@pytest.mark.long
def test_a_machine_with_decimal_commas_and_a_users_own_figure_settings_give_the_same_bytes(
    one_trial_report, comma_places, tmp_path
):
    """Python leaves numbers alone unless a program asks for the user's locale, so here every process asks at its start."""
    first, own = one_trial_report, tmp_path / "own"
    own.mkdir()
    (own / "sitecustomize.py").write_text(WRITTEN_WITH_COMMAS)
    (own / "matplotlibrc").write_text(USERS_TASTE)
    environment = os.environ | {
        "LOCPATH": str(comma_places),
        "LC_ALL": COMMA,
        "MATPLOTLIBRC": str(own / "matplotlibrc"),
        "PYTHONPATH": os.pathsep.join([str(own), *filter(None, [os.environ.get("PYTHONPATH")])]),
    }
    asked = "import locale; print(locale.format_string('%.1f', 0.5))"
    said = subprocess.run(
        [sys.executable, "-c", asked], env=environment, capture_output=True, text=True, check=True
    )
    assert said.stdout == "0,5\n"
    words = first.again(tmp_path / "report")
    assert subprocess.run(words, env=environment, stdout=subprocess.DEVNULL, check=False).returncode == 0
    assert checksums(tmp_path / "report") == checksums(first.folder)
