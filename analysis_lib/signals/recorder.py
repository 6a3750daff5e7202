"""How a recorder writes its files: columns, units, whose crank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from analysis_lib.refusals import Refusal
from analysis_lib.signals.units import nearest, unit_factor

Kind = Literal["csv", "parquet", "mat", "c3d"]
CHANNEL_BY_COLUMN = {"torque_left_Nm": "left", "torque_right_Nm": "right", "torque_Nm": "total"}
LAYOUT_BY_CHANNELS = {
    frozenset({"left", "right"}): "two legs",
    frozenset({"left", "right", "total"}): "two legs",
    frozenset({"total"}): "total only",
    frozenset({"left"}): "left only",
    frozenset({"right"}): "right only",
}


@dataclass(frozen=True)
class ColumnSource:
    """Where a canonical column comes from: the stored number × `scale` is in `unit`."""

    column: str
    unit: str
    scale: float = 1.0


@dataclass(frozen=True)
class RecorderSettings:
    """How a recorder writes its files.

    Attributes
    ----------
    kind : {"csv", "parquet", "mat", "c3d"}
        The kind of file; it is declared, not told from the file's name. "mat" of version 7.3 needs the package
        h5py, "c3d" the package ezc3d.
    columns : dict of str to ColumnSource
        By canonical name: time_s, crank_deg, torque_left_Nm, torque_right_Nm, torque_Nm, temperature_C.
    crank_side : {"right", "left"}
        Whose crank the angle belongs to.
    delimiter, decimal : str
        Of a CSV file.
    full_scale_Nm : float, optional
        Torque at and beyond which a channel can tell nothing more.

    Raises
    ------
    Refusal
        Unknown kind, side, canonical name or unit; no time or angle; channels that make no known layout.
    """

    kind: Kind
    columns: dict[str, ColumnSource]
    crank_side: Literal["right", "left"] = "right"
    delimiter: str = ","
    decimal: str = "."
    full_scale_Nm: float | None = None

    def __post_init__(self) -> None:
        _check_choice("kind", self.kind, get_args(Kind))
        _check_choice("crank_side", self.crank_side, ("right", "left"))
        for name, source in self.columns.items():
            unit_factor(name, source.unit, "recorder settings")
        for name in ("time_s", "crank_deg"):
            if name not in self.columns:
                raise Refusal(
                    "recorder settings, column map",
                    f"no {name}",
                    "time_s and crank_deg",
                    f"name the column that holds {name}",
                )
        layout_of(self.channels)

    @property
    def channels(self) -> tuple[str, ...]:
        """The torque channels that the columns map names."""
        return tuple(CHANNEL_BY_COLUMN[name] for name in self.columns if name in CHANNEL_BY_COLUMN)


def layout_of(channels: Sequence[str], declared: str = "") -> str:
    """Name the layout that a set of torque channels makes, or refuse.

    >>> layout_of(["right", "left"])
    'two legs'
    """
    layout = LAYOUT_BY_CHANNELS.get(frozenset(channels))
    if layout is None or declared not in ("", layout):
        raise Refusal(
            what="torque channels",
            got=", ".join(channels) + (f" declared as {declared!r}" if declared else "") or "none",
            wanted="left and right (with or without total), total alone, or one leg alone",
            remedy="map the other leg's column too, or only the channels that make one of these",
        )
    return layout


def _check_choice(what: str, got: str, known: tuple[str, ...]) -> None:
    if got not in known:
        raise Refusal(
            f"recorder settings, {what}",
            f"{got!r}{nearest(got, known)}",
            "one of " + ", ".join(repr(k) for k in known),
            "correct it in study.toml",
        )
