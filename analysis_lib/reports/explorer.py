"""The explorer: sliders for ring, mount, inertia, cadence and intensity, and what they do at once."""

from __future__ import annotations

import base64
from html import escape
from typing import Any

from analysis_lib.refusals import Refusal
from analysis_lib.reports.exhibit import FigureExhibit
from analysis_lib.reports.explored_turn import Choice, ExploredTurn, ExplorerBench
from analysis_lib.reports.figures.explorer_figures import ExplorerFigure
from analysis_lib.reports.ring_comparison import SECTORS

CAPTION = (
    "Round ring solid, oval ring dashed, against right-crank angle in degrees. The same stroke drives both rings;"
    " the thin line in the torque panel is the torque on the oval ring if the joints' torques stayed the same and"
    " only the inertia of the legs answered; hip and knee move at positive speed in flexion, the ankle (thin, oval ring)"
    " in plantarflexion."
)


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
        return {
            "axis_ratio": widgets.FloatSlider(
                at.axis_ratio, min=1.0, max=1.35, step=0.01, description="axis ratio", **common
            ),
            "mount_deg": widgets.FloatSlider(
                at.mount_deg,
                min=0,
                max=179,
                step=1,
                description="mount (deg)",
                readout_format=".0f",
                **common,
            ),
            "crank_load_kgm2": widgets.FloatLogSlider(
                at.crank_load_kgm2,
                min=0,
                max=2.2,
                step=0.05,
                description="inertia at the crank (kg·m²)",
                **common,
            ),
            "cadence_rpm": widgets.FloatSlider(
                at.cadence_rpm,
                min=50,
                max=130,
                step=1,
                description="cadence (rpm)",
                readout_format=".0f",
                **common,
            ),
            "intensity": widgets.SelectionSlider(
                options=list(self.bench.strokes_Nm), value=at.intensity, description="intensity", **common
            ),
        }


def open_explorer(bench: ExplorerBench, **start: Any) -> Explorer:
    """Return an explorer whose sliders start at the given values, named as in `Choice`.

    Raises
    ------
    Refusal
        An intensity without a stroke.
    """
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
