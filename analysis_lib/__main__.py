"""The command line: ``roundoval`` and ``python -m analysis_lib`` are this one program."""

from __future__ import annotations

import argparse
import os
import shlex
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from analysis_lib import __version__
from analysis_lib.command_words import CommandParser, read_words, show_any_letter, whole_number
from analysis_lib.refusals import Refusal, Refusals, printable

if TYPE_CHECKING:
    from analysis_lib.reports.running.runner import Report

ALL_MADE, SOME_FAILED, BAD_INPUT, STOPPED = 0, 1, 2, 130


def main(words: Sequence[str] | None = None) -> int:
    """Run one command; return 0 when all was made, 1 when some rider failed, 2 on bad input or usage, 130 when stopped."""
    show_any_letter()
    arguments = read_words(_parser(), words)
    try:
        return arguments.run(arguments)
    except Refusals as several:
        from analysis_lib.study.checks.alike import grouped

        count = len(several.refusals)
        print(f"{count} problem{'' if count == 1 else 's'}:", file=sys.stderr)
        for line in grouped(str(refusal) for refusal in several.refusals):
            print(f"  {line}", file=sys.stderr)
    except Refusal as refusal:
        print(refusal, file=sys.stderr)
    except BrokenPipeError:  # the reader of a pipe, such as `head`, has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return STOPPED
    except OSError as error:
        place = error.filename or "a file"
        remedy = "choose another place, or make room and rights there"
        said = f"{place} – got {error.strerror} – wanted a place to read and write – {remedy}"
        print(printable(said), file=sys.stderr)
    except KeyboardInterrupt as stopped:
        print(f"\n{str(stopped) or 'stopped'}", file=sys.stderr)
        return STOPPED
    return BAD_INPUT


def _demo(arguments: argparse.Namespace) -> int:
    from analysis_lib.reports.files.places import demo_folder
    from analysis_lib.study.synthetic.synthetic import write_demo
    from analysis_lib.study.synthetic.synthetic_demo import UNUSABLE

    study = arguments.dir or demo_folder()
    if not (study / "study.toml").is_file():
        print(f"writing the demo study into {study}")
        write_demo(study)
    report = _make_report(study, arguments.out or Path("reports") / study.name, "", arguments, UNUSABLE)
    return replace(report, faults=tuple(fault for fault in report.faults if UNUSABLE not in fault)).exit_code


def _new(arguments: argparse.Namespace) -> int:
    from analysis_lib.study.template.template import write_template

    write_template(arguments.dir)
    shown = shlex.quote(str(arguments.dir))
    print(f"{arguments.dir}: fill in study.toml first; then `roundoval plan {shown} --dry-run`")
    return ALL_MADE


def _plan(arguments: argparse.Namespace) -> int:
    from analysis_lib.reports.plan.plan_command import plan_folder

    plan_folder(arguments.dir, arguments.dry_run)
    return ALL_MADE


def _check(arguments: argparse.Namespace) -> int:
    from analysis_lib.reports.running.check import check_study

    return check_study(arguments.dir)


def _report(arguments: argparse.Namespace) -> int:
    if len(arguments.dirs) > 1:
        return _report_several(arguments)
    study = arguments.dirs[0]
    out = arguments.out or Path("reports") / study.resolve().name
    return _make_report(study, out, arguments.rider, arguments).exit_code


def _report_several(arguments: argparse.Namespace) -> int:
    from analysis_lib.reports.running.many_studies import report_studies

    if arguments.rider:
        raise Refusal("option --rider", "several studies", "one study", "name the rider's study alone")
    reports = report_studies(
        arguments.dirs, arguments.out or Path("reports"), arguments.fresh, _way(arguments)
    )
    print(reports.summary)
    print(f"pages: {os.path.relpath(reports.folder / 'index.html')}")
    return reports.exit_code


def _way(arguments: argparse.Namespace):
    from analysis_lib.reports.running.ways_of_work import WayOfWork

    return WayOfWork(arguments.jobs, arguments.preload, arguments.scheduler, arguments.cell_seconds)


def _make_report(
    study: Path, out: Path, rider: str, arguments: argparse.Namespace, foreseen: str = ""
) -> Report:
    """Make one report and say what became of it; `foreseen` is the trial that is at fault on purpose."""
    from analysis_lib.reports.running.out_of_date import lines_of_outdated
    from analysis_lib.reports.running.runner import make_report

    report = make_report(study, out, rider, fresh=arguments.fresh, way=_way(arguments))
    print(report.summary)
    for problem in (*report.problems, *report.faults):
        why = ", a fault put in on purpose" if foreseen and foreseen in problem else ""
        print(f"left out{why}: {problem}", file=sys.stderr)
    failed = [page.subject for page in report.pages if page.failed]
    if failed:
        print(f"failed: {', '.join(failed)} (each page says why)", file=sys.stderr)
    if waiting := [page.subject for page in report.pages if page.waiting]:
        print(f"waiting for trials: {', '.join(waiting)}")
    if excluded := [page.subject for page in report.pages if page.excluded]:
        print(f"every trial excluded: {', '.join(excluded)} (each page says why)")
    for line in lines_of_outdated(report.outdated):
        print(printable(line), file=sys.stderr)
    print(f"pages: {os.path.relpath(report.folder / 'index.html')}")
    return report


def _verify(arguments: argparse.Namespace) -> int:
    from analysis_lib.reports.running.verify import tolerances_in_words, verify_report
    from analysis_lib.reports.running.verify_words import EACH, last_line, table_of

    checks = verify_report(arguments.report, arguments.study)
    lines = table_of(checks, arguments.all)
    print("\n".join(lines))
    if not arguments.all:
        print(EACH)
    if arguments.study is not None:
        print("tolerances of tables: " + "; ".join(tolerances_in_words()))
    print(last_line(checks))
    return SOME_FAILED if any(check.finding == "differs" for check in checks) else ALL_MADE


def _parser() -> CommandParser:
    parser = CommandParser(
        prog="roundoval",
        description="Round-versus-oval chainring studies: check a study folder and write its reports.",
        epilog="Exit codes: 0 all made (a rider without trials yet waits; one whose trials are all excluded has a page that"
        " says why), 1 a page failed or a fault kept cells, rows or recordings out, 2 bad input or usage, 130 stopped by"
        " the user; then the same command goes on.",
    )
    parser.add_argument("--version", action="version", version=f"roundoval {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    for add in (_add_demo, _add_new, _add_plan, _add_check, _add_report, _add_verify):
        add(commands)
    parser.known += list(commands.choices)
    return parser


def _add_demo(commands) -> None:
    demo = _command(commands, "demo", _demo, "make the demo study and its reports")
    demo.description = (
        "Reads the demo study in DIR, writing it there first when DIR holds none (default: the committed one). "
        "Writes its report folder and says where the pages are. Its one recording that is at fault on purpose"
        " leaves the exit code at 0."
    )
    demo.add_argument("dir", nargs="?", type=Path, help="folder of the demo study")
    _add_report_options(demo)


def _add_new(commands) -> None:
    new = _command(commands, "new", _new, "write an empty study folder with commented templates")
    new.description = (
        "Reads nothing. Writes study.toml, the tables' headings and a guide into DIR, new or empty."
    )
    new.add_argument("dir", type=Path, help="folder to make")


def _add_plan(commands) -> None:
    plan = _command(commands, "plan", _plan, "draw the allocation, size the study and freeze its protocol")
    plan.description = (
        "Reads study.toml with its [plan] table, riders.csv and trials.csv. Writes DIR/plan: allocation and"
        " schedule, open and concealed, power and sample size, and the protocol with its checksums. Never"
        " overwrites a frozen protocol; prints what the planned riders can show."
    )
    plan.add_argument("dir", type=Path, help="study folder")
    plan.add_argument(
        "--dry-run", action="store_true", help="print the protocol as it would be; write nothing"
    )


def _add_check(commands) -> None:
    check = _command(commands, "check", _check, "list every problem of a study folder, then its data quality")
    check.description = (
        "Reads the study folder and every recording. Writes nothing; prints problems and a table. Exit codes: 0 nothing"
        " to mend, also where a protocol is frozen and nothing is recorded yet; 2 something must be mended."
    )
    check.add_argument("dir", type=Path, help="study folder")


def _add_report(commands) -> None:
    report = _command(commands, "report", _report, "write a page for each rider and a page for the study")
    report.description = (
        "Reads the study folder DIR and never changes it. Writes one report folder outside it. Of several studies each"
        " has its report in a folder of its own below --out, with a first page over all; one that cannot be read does"
        " not stop the others. Exit codes: 0 all made, also without riders who wait for trials and what trials.csv or a"
        " rule of study.toml excludes; 1 a page failed or a fault kept cells, rows or recordings out, each named; 2 bad"
        " input or usage."
    )
    report.add_argument("dirs", nargs="+", type=Path, metavar="DIR", help="study folder, one or more")
    report.add_argument(
        "--rider",
        default="",
        help="make this rider's page only; other pages stay as they are, and those out of date are named",
    )
    _add_report_options(report)


def _add_verify(commands) -> None:
    verify = _command(commands, "verify", _verify, "check a report against its record and compute it anew")
    verify.description = (
        "Reads a report folder and, with --study, the study it was made from. Writes nothing; prints one line for each"
        " difference, with how much, then what could not be checked, then what agrees, counted by kind. Exit codes: 0"
        " nothing differs, 1 something does, 2 bad input or usage."
    )
    verify.add_argument("report", type=Path, help="report folder")
    verify.add_argument("--study", type=Path, help="the study folder, to compute every number again")
    verify.add_argument("--all", action="store_true", help="one line for each thing compared")


def _add_report_options(command: argparse.ArgumentParser) -> None:
    command.add_argument("--jobs", type=whole_number, default=2, help="kernels at the same time (default 2)")
    command.add_argument("--fresh", action="store_true", help="make every page again, also unchanged ones")
    command.add_argument(
        "--preload", action="store_true", help="fork kernels from one process that has imported the libraries"
    )
    command.add_argument(
        "--scheduler", default="", metavar="ADDRESS", help="make pages on the cluster of this Dask scheduler"
    )
    command.add_argument(
        "--cell-seconds", type=whole_number, default=600, help="longest time for one cell (default 600)"
    )
    command.add_argument("--out", type=Path, help="folder to fill (default: reports/NAME-OF-DIR)")


def _command(commands, name: str, run, summary: str) -> CommandParser:
    command = commands.add_parser(name, help=summary)
    command.set_defaults(run=run, parser=command)
    return command


if __name__ == "__main__":
    raise SystemExit(main())
