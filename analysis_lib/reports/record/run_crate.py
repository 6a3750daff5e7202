"""The report folder as a research object that other programs can read: ``ro-crate-metadata.json``.

The file follows RO-Crate 1.1 and its profile Process Run Crate 0.5 (w3id.org/ro/wfrun/process): one action a page,
with what it read, what it left, which program did it and whether it failed. Inputs stay in the study folder and are
named by their content (RFC 6920, ``ni:`` names) with their path in that folder as name.

Equal runs give equal bytes, so no clock is read. ``datePublished``, which RO-Crate 1.1 demands, is the last day that
the study's tables name; ``endTime`` and ``agent``, which the profile recommends, are left out.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable, Iterator
from pathlib import Path, PurePosixPath
from typing import Any
from urllib.parse import quote

import pandas as pd

from analysis_lib.reports.files.page_keys import digest
from analysis_lib.reports.files.page_records import EXCLUDED, OUT_OF_DATE, WAITING, PageKeys, is_excluded
from analysis_lib.reports.files.run_record import sha256_of
from analysis_lib.reports.files.whole_file import written_whole
from analysis_lib.reports.record.page_origin import MISSING
from analysis_lib.study.checks.folder import Study

FILE = "ro-crate-metadata.json"
CRATE_PROFILE = "https://w3id.org/ro/crate/1.1"
PROCESS_PROFILE = "https://w3id.org/ro/wfrun/process/0.5"
CONTEXT = ("https://w3id.org/ro/crate/1.1/context", "https://w3id.org/ro/terms/workflow-run/context")
"""The second names ``sha256``, which the first lacks."""

NO_DAY = "1970-01-01"
"""datePublished of a study whose tables name no day."""

MEDIA_TYPES = {
    ".csv": "text/csv",
    ".html": "text/html",
    ".ipynb": "application/x-ipynb+json",
    ".json": "application/json",
    ".parquet": "application/vnd.apache.parquet",
    ".pdf": "application/pdf",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".toml": "application/toml",
}
OWN_FILES = ("index.html", "index.pdf", "run.json")
"""Files of a report that belong to no page."""

TITLE = "Report of the study "
"""How the name of the root begins; the study's own follows."""

Entity = dict[str, Any]


def write_run_crate(report: Path, study: Study) -> None:
    """Write the crate of a report folder from what is on record of its pages; always the last file of a run."""
    encoder = json.JSONEncoder(indent=1, sort_keys=True, ensure_ascii=False)
    begin, end = encoder.encode({"@context": CONTEXT, "@graph": [0]}).split("0")
    with written_whole(report / FILE) as stream:
        for place, entity in enumerate(entities_of_run(report, study)):
            stream.write((",\n  " if place else begin).encode("utf-8"))
            for part in encoder.iterencode(entity):
                stream.write(part.replace("\n", "\n  ").encode("utf-8"))
        stream.write(f"{end}\n".encode())


def entities_of_run(report: Path, study: Study) -> Iterator[Entity]:
    """Go through the crate, flat, every entity once: its head first, then by name, with one action in memory at a time."""
    keys = PageKeys(report)
    own = [name for name in OWN_FILES if (report / name).is_file()]
    files = {quote(name): (name, sha256_of(report / name)) for name in own}
    actions: dict[str, str] = {}
    others: dict[str, Entity] = {}
    for subject, record in keys.records():
        if "origin" in record:
            files |= {quote(name): (name, sha) for name, sha in record["files"].items()}
            files |= _inputs(record["origin"])
            others |= {entity["@id"]: entity for entity in _beside_files(record)}
            actions[f"#make-{quote(record['page']['subject'])}"] = subject
    yield from _head(study, sorted(files), sorted(actions))
    for name in sorted([*files, *actions, *others]):
        if name in files:
            yield _file(name, *files[name])
        else:
            yield _action(name, keys.of(actions[name])) if name in actions else others[name]


def name_by_content(path: str, sha256: str) -> str:
    """Return the name of a file outside the crate: its content's, with its path in the study folder as a hint.

    The example is that of RFC 6920, section 8.1: the SHA-256 of "Hello World!".

    >>> name_by_content("x", "7f83b1657ff1fc53b92dc18148a1d65dfc2d4b1fa3d677284addd200126d9069")
    'ni:///sha-256;f4OxZX_x_FO5LcGBSKHWXfwtSx-j1ncoSt3SABJtkGk?path=x'
    """
    value = base64.urlsafe_b64encode(bytes.fromhex(sha256)).decode("ascii").rstrip("=")
    return f"ni:///sha-256;{value}?path={quote(path)}"


def published_on(study: Study) -> str:
    """Return the last day that trials.csv or zero_checks.csv names."""
    moments = pd.concat([study.trials["started_at"], study.zero_checks["checked_at"]])
    last = pd.to_datetime(moments, errors="coerce").max()
    return NO_DAY if pd.isna(last) else last.date().isoformat()


def _head(study: Study, parts: list[str], actions: list[str]) -> list[Entity]:
    heading = study.settings.study
    root = {
        "@id": "./",
        "@type": "Dataset",
        "conformsTo": _references([PROCESS_PROFILE]),
        "name": f"{TITLE}{heading.name}",
        "description": (
            f"{heading.question} Pages, tables and figures of every rider and of the study. datePublished is the"
            f" last day that the study's tables name ({NO_DAY} where they name none), not the day of the run:"
            " equal inputs give equal bytes."
        ),
        "datePublished": published_on(study),
        "license": {"@id": "#terms"},
        "hasPart": _references(parts),
        "mentions": _references(actions),
    }
    descriptor = {
        "@id": FILE,
        "@type": "CreativeWork",
        "about": {"@id": "./"},
        "conformsTo": {"@id": CRATE_PROFILE},
    }
    profile = {
        "@id": PROCESS_PROFILE,
        "@type": "CreativeWork",
        "name": "Process Run Crate",
        "version": "0.5",
    }
    terms = {
        "@id": "#terms",
        "@type": "CreativeWork",
        "name": "Terms of use",
        "description": "Not stated: whoever holds the study says who may use its data. The program is BSD-3-Clause.",
    }
    return [descriptor, root, profile, terms]


def _beside_files(record: dict) -> Iterator[Entity]:
    """What the action that made one page names beside files: the program, its packages, the parameters."""
    program, packages = _program(record["origin"]["software"])
    yield from (program, *packages, *_parameters(record))


def _action(identifier: str, record: dict) -> Entity:
    """The action that made one page."""
    origin, page = record["origin"], record["page"]
    program, _ = _program(origin["software"])
    parameters = [entity["@id"] for entity in _parameters(record)]
    missing = [name for name, sha in origin["inputs"].items() if sha == MISSING]
    action: Entity = {
        "@id": identifier,
        "@type": "CreateAction",
        "name": f"Make the page {page['page']}",
        "description": origin["command"] + (f" (missing: {', '.join(missing)})" if missing else ""),
        "instrument": {"@id": program["@id"]},
        "object": _references([*_inputs(origin), *parameters, *map(quote, origin["tables"])]),
        "result": _references(map(quote, sorted(record["files"]))),
        "actionStatus": {"@id": f"http://schema.org/{_status(page['cause'])}ActionStatus"},
    }
    cause = page["cause"]
    if cause == WAITING or is_excluded(cause):
        action["description"] += f" ({EXCLUDED if is_excluded(cause) else WAITING})"
    if record.get(OUT_OF_DATE):
        action["description"] += f" ({record[OUT_OF_DATE]})"
    return action | ({"error": cause} if _status(cause) == "Failed" else {})


def _status(cause: str) -> str:
    """What schema.org calls the state of an action: one that waits for trials could be done, and neither was nor failed."""
    if not cause or is_excluded(cause):
        return "Completed"
    return "Potential" if cause == WAITING else "Failed"


def _program(software: dict) -> tuple[Entity, list[Entity]]:
    """The program in one state, and the packages that its results follow from."""
    packages = dict(software["packages"]) | {"weasyprint": software["paper"]}
    needed: list[Entity] = [
        {
            "@id": f"#{name}-{version}",
            "@type": "SoftwareApplication",
            "name": name,
            "softwareVersion": version,
        }
        for name, version in sorted(packages.items())
        if version != "none"
    ]
    program = {
        "@id": f"#roundoval-{software['version']}-{digest(software)[:12]}",
        "@type": "SoftwareApplication",
        "name": software["program"],
        "softwareVersion": software["version"],
        "description": f"State in git: {software['git']}.",
        "softwareRequirements": _references(entity["@id"] for entity in needed),
    }
    return program, needed


def _parameters(record: dict) -> list[Entity]:
    subject, origin = record["page"]["subject"], record["origin"]
    parameters = origin["parameters"] | {"seed": origin["seed"]}
    return [
        {"@id": f"#{quote(subject)}-{quote(name)}", "@type": "PropertyValue", "name": name, "value": value}
        for name, value in parameters.items()
    ]


def _inputs(origin: dict) -> dict[str, tuple[str, str]]:
    """Path and SHA-256 of files outside the crate, by name; one that was missing has no content to be named by."""
    read = {f"study/{name}": sha for name, sha in origin["inputs"].items()}
    read |= {f"notebooks/{name}": sha for name, sha in origin["notebook"].items()}
    return {name_by_content(path, sha): (path, sha) for path, sha in read.items() if sha != MISSING}


def _file(identifier: str, name: str, sha256: str) -> Entity:
    kind = MEDIA_TYPES.get(PurePosixPath(name).suffix.lower(), "application/octet-stream")
    return {"@id": identifier, "@type": "File", "name": name, "encodingFormat": kind, "sha256": sha256}


def _references(names: Iterable[str]) -> list[dict[str, str]]:
    return [{"@id": name} for name in names]
