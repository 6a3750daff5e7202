"""What a run tells while it works, and the table at its end."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence

from analysis_lib.refusals import printable
from analysis_lib.reports.running.page_making import PageState
from analysis_lib.statistics.estimates import show_count

Say = Callable[[str], None]


class Progress:
    """One line a page, with how many of all are through."""

    def __init__(self, say: Say, total: int):
        self.say, self.total, self.through = say, total, 0
        self._lock = threading.Lock()

    def tell(self, state: PageState, key: str) -> None:
        """Say what became of a page; lines of several threads never mix."""
        with self._lock:
            self.through += 1
            count = f"{self.through:>{len(str(self.total))}} of {self.total}"
            words = "unchanged" if state.unchanged and state.made else printable(state.headline)
            taken = show_count(state.beforehand, "recording")
            before = f"{taken} analysed beforehand, " if state.beforehand else ""
            self.say(f"{count}  {state.name}: {words} ({state.seconds:.1f} s, {before}key {key[:12]})")


def end_table(pages: Sequence[PageState], elapsed_s: float, outdated: Sequence[PageState] = ()) -> str:
    """Return how many pages are done, unchanged and failed, how long they took together, and the longest of each.

    Pages of riders without trials, or whose trials are all excluded, have a line where there are any; so have pages that
    the run did not make and that are out of date.

    >>> print(end_table([PageState("R01", "Rider R01", "", "", seconds=2.5), PageState("R02", "Rider R02", "", "")], 1.3))
    done      2   2.5 s of work, longest 2.5 s (Rider R01)
    unchanged 0
    failed    0
    in all    2   1.3 s on the clock
    """
    kinds = {
        "done": [page for page in pages if page.made and not page.unchanged],
        "unchanged": [page for page in pages if page.made and page.unchanged],
        "failed": [page for page in pages if page.failed],
    }
    if waiting := [page for page in pages if page.waiting]:
        kinds["waiting"] = waiting
    if excluded := [page for page in pages if page.excluded]:
        kinds["excluded"] = excluded
    width = len(str(len(pages))) + 1
    lines = [f"{kind:<9}{len(of_kind):>{width}}{_times(of_kind)}" for kind, of_kind in kinds.items()]
    lines.append(f"{'in all':<9}{len(pages):>{width}}   {elapsed_s:.1f} s on the clock")
    if outdated:
        lines.append(f"out of date {len(outdated)}   left as earlier runs made them")
    return "\n".join(lines)


def _times(pages: Sequence[PageState]) -> str:
    if not pages:
        return ""
    longest = max(pages, key=lambda page: page.seconds)
    together = sum(page.seconds for page in pages)
    return f"   {together:.1f} s of work, longest {longest.seconds:.1f} s ({longest.name})"
