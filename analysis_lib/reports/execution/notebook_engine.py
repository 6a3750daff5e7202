"""How papermill runs the notebooks of a run; loaded only where one is run, because papermill takes long to load."""

from __future__ import annotations

from typing import Any

from papermill.engines import NBClientEngine, NotebookExecutionManager, papermill_engines

NAME = "written-once"


class WrittenOnce(NBClientEngine):
    """Papermill's own way, but the notebook is written when it has ended, however it ended.

    Papermill writes it before and after every cell, a hundred times a growing file, which was half of the work on this
    side; and then when it has ended, and once more.
    """

    @classmethod
    def execute_managed_notebook(
        cls, nb_man: NotebookExecutionManager, kernel_name: str, **options: Any
    ) -> None:
        """Execute the notebook; papermill writes it after this, and if this raises, its manager does."""
        place, nb_man.output_path = nb_man.output_path, None
        try:
            super().execute_managed_notebook(nb_man, kernel_name, **options)
        except BaseException:
            nb_man.output_path = place
            raise


papermill_engines.register(NAME, WrittenOnce)
