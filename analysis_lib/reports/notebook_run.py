"""One run of one notebook in a kernel of its own."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

import nbformat
from nbclient.exceptions import CellTimeoutError, DeadKernelError
from traitlets.config import Config

from analysis_lib.refusals import Refusal, Refusals
from analysis_lib.reports.canonical import canonical_notebook
from analysis_lib.reports.parameters import Scalar, check_parameters
from analysis_lib.reports.whole_file import write_text_whole

CELL_SECONDS = 600
"""A cell that runs longer than this has lost its way; the whole demo study takes seconds."""

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
    def cause(self) -> str:
        """What went wrong: a refusal in its own words, another error with its name."""
        refused = self.error in (Refusal.__name__, Refusals.__name__)
        return self.message if refused else f"{self.error}: {self.message}"


class RunFolder:
    """A private folder for kernels: links named ``study`` and ``results``, sockets, and everybody's droppings.

    Notebooks see only the two relative names, so that no path of this machine reaches a report and two
    machines give the same bytes. The home folder stays untouched.
    """

    def __init__(self, study: Path, results: Path):
        self._temporary = tempfile.TemporaryDirectory(prefix="ro-", ignore_cleanup_errors=True)
        self.path = Path(self._temporary.name)
        (self.path / "study").symlink_to(study.resolve(), target_is_directory=True)
        (self.path / "results").symlink_to(results.resolve(), target_is_directory=True)

    def __enter__(self) -> RunFolder:
        """Go into the folder, send the programs that write into the home folder here, and use one thread for algebra.

        Kernels start where the process is. Papermill could change there for each notebook, but a folder
        change is the whole process's, and two threads that change it meet.
        """
        self._caller = Path.cwd()
        os.chdir(self.path)
        self._former = {name: os.environ.get(name) for name in (*self._homes(), *ONE_THREAD)}
        os.environ.update({name: str(path) for name, path in self._homes().items()})
        os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
        return self

    def __exit__(self, *_) -> None:
        """Put folder and environment back and remove the run folder.

        Papermill remembers the folder of its last run for the whole process, and two threads leave that memory behind;
        it must not outlive the folder.
        """
        from papermill.iorw import papermill_io

        papermill_io.get_handler("local").cwd(None)
        os.chdir(self._caller)
        for name, value in self._former.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
        self._temporary.cleanup()

    def _homes(self) -> dict[str, Path]:
        names = (
            "IPYTHONDIR",
            "JUPYTER_CONFIG_DIR",
            "JUPYTER_DATA_DIR",
            "JUPYTER_RUNTIME_DIR",
            "MPLCONFIGDIR",
        )
        return {name: self.path / name.lower() for name in names}

    def socket_prefix(self, label: str) -> str:
        """Return a short path prefix of this run's own for a kernel's sockets; two runs must never share one."""
        return str(self.path / f"k-{label}")


def run_notebook(
    notebook: Path, output: Path, parameters: dict[str, Scalar], folder: RunFolder, label: str
) -> NotebookFailure | None:
    """Execute `notebook` with `parameters` into `output`; return the failure, or None when all cells ran."""
    check_parameters(notebook, dict(parameters))
    import papermill
    from papermill.exceptions import PapermillExecutionError

    raw = folder.path / f"{label}.ipynb"
    failure = None
    try:
        papermill.execute_notebook(
            str(notebook),
            str(raw),
            parameters=parameters,
            kernel_name="python3",
            progress_bar=False,
            log_output=False,
            execution_timeout=CELL_SECONDS,
            record_timing=False,
            shutdown_kernel="immediate",
            config=Config({"KernelManager": {"transport": "ipc", "ip": folder.socket_prefix(label)}}),
        )
    except PapermillExecutionError as error:
        failure = _failed_cell(notebook, raw, error)
    except (DeadKernelError, CellTimeoutError) as error:
        failure = NotebookFailure(
            notebook.stem, "", type(error).__name__, str(error).splitlines()[0], str(error)
        )
    if raw.is_file():
        write_text_whole(output, canonical_notebook(raw))
    return failure


def _failed_cell(notebook: Path, executed: Path, error) -> NotebookFailure:
    cells = nbformat.read(executed, as_version=4).cells
    failing = next((i for i, cell in enumerate(cells) if _has_error(cell)), len(cells))
    return NotebookFailure(
        notebook=notebook.stem,
        heading=_heading_before(cells[:failing]),
        error=error.ename,
        message=error.evalue,
        traceback="\n".join(error.traceback),
    )


def _has_error(cell) -> bool:
    return any(output.output_type == "error" for output in cell.get("outputs", []))


def _heading_before(cells) -> str:
    for cell in reversed(cells):
        if cell.cell_type == "markdown" and cell.source.startswith("#"):
            if "papermill-error-cell-tag" in cell.metadata.get("tags", []):
                continue
            return cell.source.splitlines()[0].lstrip("# ")
    return ""
