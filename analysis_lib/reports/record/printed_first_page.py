"""Whether the PDF of a report's first page stands as this very program printed it."""

from __future__ import annotations

import json
from pathlib import Path

from analysis_lib.refusals import Refusal
from analysis_lib.reports.files.run_record import sha256_of
from analysis_lib.reports.record.page_origin import software
from analysis_lib.reports.record.report_records import RUN_FILE, read_record
from analysis_lib.reports.record.run_crate import FILE as CRATE
from analysis_lib.study.declared.schema import is_inside

PAGE, PDF = "index.html", "index.pdf"


def first_page_printed(report: Path) -> str:
    """Return the SHA-256 of the first page whose PDF stands beside it as this very program printed it, '' for none.

    ``run.json`` tells program and printer, the research object, which a run writes last, the files.
    """
    pdf, made_by = report / PDF, software()
    try:
        run = read_record(report, report / RUN_FILE, {"source": str, "paper": str})
        files = _checksums(report)
    except (Refusal, ValueError, OSError):
        return ""
    same = pdf.is_file() and files.get(PDF) == sha256_of(pdf)
    same = same and all(run[name] == made_by[name] for name in ("source", "paper"))
    return files.get(PAGE, "") if same else ""


def _checksums(report: Path) -> dict[str, str]:
    """SHA-256 of page and PDF by the research object, which grows with riders: read line by line, as a run lays it out."""
    path, found, name = report / CRATE, {}, ""
    if path.is_file() and is_inside(report, path):
        with path.open(encoding="utf-8") as stream:
            for line in stream:
                value = line.partition(": ")[2].rstrip(",\n")
                if line.startswith('   "@id": '):
                    name = json.loads(value)
                elif line.startswith('   "sha256": ') and name in (PAGE, PDF):
                    found[name] = json.loads(value)
    return found
