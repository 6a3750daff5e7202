"""The explorer: sliders for ring, mount, inertia, cadence and intensity, and what they do at once."""

from __future__ import annotations

import base64
import math
from html import escape
from typing import Any

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibits.exhibit import FigureExhibit
from analysis_lib.reports.figures.explorer_figures import ExplorerFigure
from analysis_lib.reports.rider.ring_comparison import SECTORS
from analysis_lib.reports.ring_mechanics.explored_turn import Choice, ExploredTurn, ExplorerBench

CAPTION = (
    "Round solid, oval dashed. Thin torque: if the joints' torques stayed and only the legs' inertia answered. Joint"
    " speeds: positive in flexion, the ankle's (thin) in plantarflexion."
)

SLIDERS = {
    "axis_ratio": (1.0, 1.35),
    "mount_deg": (0.0, 179.0),
    "crank_load_kgm2": (1.0, 10**2.2),
    "cadence_rpm": (50.0, 130.0),
}
"""From where to where each slider runs."""


class Explorer:
    """A bench with sliders.

    Parameters
    ----------
    bench : ExplorerBench
    start : Choice
        Where the sliders stand at first.
    """

    def __init__(self, bench: ExplorerBench, start: Choice):
        self.bench = bench
        self.choice = start
        self._figure = ExplorerFigure(list(SECTORS))

    def exhibit(self) -> FigureExhibit:
        """Show the present choice as a figure on the page, for readers without a kernel."""
        turn = self.bench.turn(self.choice)
        figure = ExplorerFigure(list(SECTORS)).show(turn.curves, turn.errors)
        return FigureExhibit("explorer", figure, f"{turn.sentence()} {CAPTION}", _alt(turn), turn.curves)

    def html(self) -> str:
        """Draw the present choice as one image with its sentence; a refused choice gives the reason."""
        try:
            turn = self.bench.turn(self.choice)
        except Refusal as refusal:
            return f'<p class="caution">{escape(str(refusal))}</p>'
        self._figure.show(turn.curves, turn.errors)
        source = base64.b64encode(self._figure.png()).decode("ascii")
        return (
            f'<img class="explorer" style="width:100%;max-width:800px" alt="{escape(_alt(turn))}"'
            f' src="data:image/png;base64,{source}"><p>{escape(turn.sentence())}</p>'
        )

    def widget(self) -> Any:
        """Return the sliders above the figure, as an ipywidgets box.

        Raises
        ------
        Refusal
            Where ipywidgets is not installed.
        """
        widgets = _import_widgets()
        controls = self._controls(widgets)
        picture = widgets.HTML(self.html())

        def redraw(_change) -> None:
            self.choice = Choice(**{name: control.value for name, control in controls.items()})
            picture.value = self.html()

        for control in controls.values():
            control.observe(redraw, "value")
        return widgets.VBox([*controls.values(), picture])

    def _controls(self, widgets) -> dict[str, Any]:
        common = {"style": {"description_width": "14em"}, "layout": widgets.Layout(width="40em")}
        at = self.choice

        def slider(name: str, label: str, step: float, **more: Any) -> Any:
            low, high = SLIDERS[name]
            value = getattr(at, name)
            return widgets.FloatSlider(
                value, min=low, max=high, step=step, description=label, **more, **common
            )

        low, high = (math.log10(end) for end in SLIDERS["crank_load_kgm2"])
        return {
            "axis_ratio": slider("axis_ratio", "axis ratio", 0.01),
            "mount_deg": slider("mount_deg", "mount (deg)", 1, readout_format=".0f"),
            "crank_load_kgm2": widgets.FloatLogSlider(
                at.crank_load_kgm2,
                min=low,
                max=high,
                step=0.05,
                description="inertia at the crank (kg·m²)",
                **common,
            ),
            "cadence_rpm": slider("cadence_rpm", "cadence (rpm)", 1, readout_format=".0f"),
            "intensity": widgets.SelectionSlider(
                options=list(self.bench.strokes_Nm), value=at.intensity, description="intensity", **common
            ),
        }


def open_explorer(bench: ExplorerBench, **start: Any) -> Explorer:
    """Return an explorer whose sliders start at the given values, named as in `Choice`.

    Raises
    ------
    Refusal
        An intensity without a stroke, or a start where a slider does not run.
    """
    for name, (low, high) in SLIDERS.items():
        if not low <= start[name] <= high:
            wanted = f"{low:g} to {high:.3g}, where its slider runs"
            raise Refusal(name, repr(start[name]), wanted, "start the slider inside")
    if start["intensity"] not in bench.strokes_Nm:
        known = ", ".join(bench.strokes_Nm)
        raise Refusal("intensity", repr(start["intensity"]), f"one of {known}", "choose one that was ridden")
    return Explorer(bench, Choice(**start))


def _alt(turn: ExploredTurn) -> str:
    return (
        "Six line charts for round and oval ring: lever arm, crank speed, torque, hip, ankle and knee speed against crank"
        f" angle, and power error against speed readings a turn. {turn.sentence()}"
    )


def _import_widgets() -> Any:
    try:
        import ipywidgets
    except ImportError as error:
        raise Refusal(
            "sliders",
            "ipywidgets is not installed",
            "ipywidgets",
            "install the project with its extra lab, or change the parameters cell and run again",
        ) from error
    return ipywidgets
