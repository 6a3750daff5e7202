"""One run of one notebook in a kernel of its own."""

from __future__ import annotations

import os
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from traitlets.config import Config

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.reports.execution.kernels import KERNEL, Kernels, KernelSource, RunClient
from analysis_lib.reports.files.canonical import canonical_notebook
from analysis_lib.reports.files.notebook_file import load_nbformat, read_notebook
from analysis_lib.reports.files.opened_study import STUDY, leave_opened
from analysis_lib.reports.files.opened_study import VARIABLE as OPENED
from analysis_lib.reports.files.parameters import Scalar, check_parameters
from analysis_lib.reports.files.whole_file import write_text_whole
from analysis_lib.study.checks.folder import Study

CELL_SECONDS = 600
"""A cell that runs longer than this has lost its way, unless told otherwise; the whole demo study takes seconds."""

BEGUN = ("running", "completed", "failed")
"""What papermill writes on a cell that began."""

ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


@dataclass(frozen=True)
class NotebookFailure:
    """Where a notebook stopped and why, in words for the failed page."""

    notebook: str
    heading: str
    error: str
    message: str
    traceback: str

    @property
    def refused(self) -> bool:
        """Whether it stopped with words meant for the reader, to whom a trace tells nothing more."""
        return self.error in (Refusal.__name__, Refusals.__name__)

    @property
    def cause(self) -> str:
        """What went wrong, in one line: a refusal in its own words, another error with its name."""
        return self._lines[0] if self.refused else f"{self.error}: {' '.join(self._lines)}"

    @property
    def each(self) -> tuple[str, ...]:
        """What a refusal says of each of several things."""
        return tuple(self._lines[1:]) if self.refused else ()

    @property
    def _lines(self) -> list[str]:
        return self.message.splitlines() or [""]


class RunFolder:
    """A private folder for kernels: links named ``study`` and ``results``, sockets, and everybody's droppings.

    Kernels start in it and find there the study as the run `opened` it, where it did. Notebooks see only the two relative
    names, so that no path of this machine reaches a report and two machines give the same bytes. The home folder stays
    untouched.
    """

    def __init__(
        self, study: Path, results: Path, source: KernelSource | None = None, opened: Study | None = None
    ):
        self._temporary = tempfile.TemporaryDirectory(prefix="ro-", ignore_cleanup_errors=True)
        self.path = Path(self._temporary.name)
        (self.path / STUDY).symlink_to(study.resolve(), target_is_directory=True)
        (self.path / "results").symlink_to(results.resolve(), target_is_directory=True)
        self._opened = leave_opened(opened, self.path / "opened-study") if opened else None
        self.kernels = Kernels(self.path, source)

    def __enter__(self) -> RunFolder:
        """Send the programs that write into the home folder here, use one thread for algebra, and be ready for kernels."""
        self._former = {name: os.environ.get(name) for name in self._environment()}
        os.environ.update(self._environment())
        self.kernels.open()
        return self

    def __exit__(self, *_) -> None:
        """End every kernel, put the environment back and remove the run folder.

        Papermill remembers a folder of its last run for the whole process, and two threads leave that memory behind.
        """
        self.kernels.close()
        if "papermill" in sys.modules:  # a run that changed nothing has not loaded it
            from papermill.iorw import papermill_io

            papermill_io.get_handler("local").cwd(None)
        for name, value in self._former.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
        self._temporary.cleanup()

    def _environment(self) -> dict[str, str]:
        homes = (
            "IPYTHONDIR",
            "JUPYTER_CONFIG_DIR",
            "JUPYTER_DATA_DIR",
            "JUPYTER_RUNTIME_DIR",
            "MPLCONFIGDIR",
            "MATPLOTLIBRC",  # a user's own taste in figures would show on every page
        )
        ours = {name: str(self.path / name.lower()) for name in homes}
        opened = {OPENED: str(self._opened)} if self._opened else {}
        return ours | {"JUPYTER_PATH": str(self.path)} | opened | dict.fromkeys(ONE_THREAD, "1")

    def socket_prefix(self, label: str) -> str:
        """Return a short path prefix of this run's own for a kernel's sockets; two runs must never share one."""
        return str(self.path / f"k-{label}")


def run_notebook(
    notebook: Path,
    output: Path,
    parameters: dict[str, Scalar],
    folder: RunFolder,
    label: str,
    cell_seconds: int = CELL_SECONDS,
) -> NotebookFailure | None:
    """Execute `notebook` with `parameters` into `output`; return the failure, or None when all cells ran.

    A cell that takes longer than `cell_seconds` and a kernel that dies are failures of this notebook like any other.
    """
    check_parameters(notebook, dict(parameters))
    folder.kernels.get_ready()
    load_nbformat()
    import papermill
    from papermill.exceptions import PapermillExecutionError

    from analysis_lib.reports.execution import notebook_engine

    raw = folder.path / f"{label}.ipynb"
    failure = None
    try:
        papermill.execute_notebook(
            str(notebook),
            str(raw),
            parameters=parameters,
            engine_name=notebook_engine.NAME,
            kernel_name=KERNEL,
            progress_bar=False,
            log_output=False,
            execution_timeout=cell_seconds,
            record_timing=False,
            shutdown_kernel="immediate",
            config=Config(
                {
                    "KernelManager": {"transport": "ipc", "ip": folder.socket_prefix(label)},
                    "AsyncKernelManager": {"client_class": f"{RunClient.__module__}.{RunClient.__name__}"},
                }
            ),
        )
    except PapermillExecutionError as error:
        failure = _failed_cell(notebook, raw, error)
    except (
        RuntimeError,
        TimeoutError,
    ) as error:  # nbclient's words for a dead kernel and for a cell without end
        failure = NotebookFailure(
            notebook.stem, _last_heading(raw), type(error).__name__, str(error).splitlines()[0], str(error)
        )
    if raw.is_file():
        write_text_whole(output, canonical_notebook(raw))
        raw.unlink()  # the run's folder stays as small with a thousand riders as with one
    return failure


def _failed_cell(notebook: Path, executed: Path, error) -> NotebookFailure:
    cells = read_notebook(executed).cells
    failing = next((i for i, cell in enumerate(cells) if _has_error(cell)), len(cells))
    return NotebookFailure(
        notebook=notebook.stem,
        heading=_heading_before(cells[:failing]),
        error=error.ename,
        message=error.evalue,
        traceback="\n".join(error.traceback),
    )


def _last_heading(executed: Path) -> str:
    """The heading over the last cell that began, of a notebook that stopped without an error of its own."""
    if not executed.is_file():
        return ""
    cells = read_notebook(executed).cells
    code = [i for i, cell in enumerate(cells) if cell.cell_type == "code"]
    begun = [i for i in code if cells[i].metadata.get("papermill", {}).get("status") in BEGUN]
    return _heading_before(cells[: begun[-1] + 1]) if begun else ""


def _has_error(cell) -> bool:
    return any(output.output_type == "error" for output in cell.get("outputs", []))


def _heading_before(cells) -> str:
    for cell in reversed(cells):
        if cell.cell_type == "markdown" and cell.source.startswith("#"):
            if "papermill-error-cell-tag" in cell.metadata.get("tags", []):
                continue
            return cell.source.splitlines()[0].lstrip("# ")
    return ""
