"""How a recorder writes its files: columns, units, whose crank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, get_args

from analysis_lib.refusals import Refusal
from analysis_lib.signals.units import nearest, unit_factor

Kind = Literal["csv", "parquet", "mat", "c3d", "notifications"]
AngleSource = Literal["encoder", "pulses", "index", "rate", "markers"]
CHANNEL_BY_COLUMN = {"torque_left_Nm": "left", "torque_right_Nm": "right", "torque_Nm": "total"}
LAYOUT_BY_CHANNELS = {
    frozenset({"left", "right"}): "two legs",
    frozenset({"left", "right", "total"}): "two legs",
    frozenset({"total"}): "total only",
    frozenset({"left"}): "left only",
    frozenset({"right"}): "right only",
}
ANGLE_COLUMNS: dict[str, tuple[str, ...]] = {
    "encoder": ("crank_deg",),
    "pulses": ("pulse_level", "index_level"),
    "index": ("index_level",),
    "rate": ("crank_rate_rad_s", "index_level"),
    "markers": ("marker_pedal_forward_m", "marker_pedal_up_m", "marker_axis_forward_m", "marker_axis_up_m"),
}
"""The canonical columns from which each source of the crank angle makes it."""


@dataclass(frozen=True)
class ColumnSource:
    """Where a canonical column comes from: the stored number × `scale` is in `unit`."""

    column: str
    unit: str
    scale: float = 1.0


@dataclass(frozen=True)
class MessageColumns:
    """Where a log of Cycling Power notifications keeps its messages, and how their samples are placed.

    Attributes
    ----------
    time, characteristic, message : str
        Columns of the time received (s), the characteristic's number and the bytes, both hexadecimal.
    channel : {"left", "right", "total"}
        Whose torque the messages hold.
    spacing : {"even angle"} or None
        How the samples of a message are placed; it must be declared, for the messages do not say.
    """

    time: str
    characteristic: str
    message: str
    channel: Literal["left", "right", "total"]
    spacing: Literal["even angle"] | None = None


@dataclass(frozen=True)
class RecorderSettings:
    """How a recorder writes its files.

    Attributes
    ----------
    kind : {"csv", "parquet", "mat", "c3d", "notifications"}
        The kind of file; it is declared, not told from the file's name. "mat" of version 7.3 needs the package h5py.
    columns : dict of str to ColumnSource
        By canonical name, see `units.QUANTITY_BY_COLUMN`; empty for notifications.
    crank_side : {"right", "left"}
        Whose crank the angle belongs to.
    delimiter, decimal : str
        Of a CSV file.
    full_scale_Nm : float, optional
        Torque at and beyond which a channel can tell nothing more.
    angle : {"encoder", "pulses", "index", "rate", "markers"}
        What the crank angle is made from; see `ANGLE_COLUMNS`.
    pulses_per_turn : int, optional
        Of "pulses".
    pulse_threshold : float, optional
        Level that a pulse passes when it rises, in V, or bare where the level has the unit "1".
    angle_offset_deg : float
        Recorded angle at that crank's true top dead centre; it is taken off.
    messages : MessageColumns, optional
        Of "notifications".

    Raises
    ------
    Refusal
        Unknown kind, side, canonical name or unit; no time or angle; channels that make no known layout.
    """

    kind: Kind
    columns: dict[str, ColumnSource] = field(default_factory=dict)
    crank_side: Literal["right", "left"] = "right"
    delimiter: str = ","
    decimal: str = "."
    full_scale_Nm: float | None = None
    angle: AngleSource = "encoder"
    pulses_per_turn: int | None = None
    pulse_threshold: float | None = None
    angle_offset_deg: float = 0.0
    messages: MessageColumns | None = None

    def __post_init__(self) -> None:
        _check_choice("kind", self.kind, get_args(Kind))
        _check_choice("crank_side", self.crank_side, ("right", "left"))
        _check_choice("angle", self.angle, get_args(AngleSource))
        if self.kind == "notifications" or self.messages is not None:
            _check_messages(self)
            return
        for name, source in self.columns.items():
            unit_factor(name, source.unit, "recorder settings")
        _check_columns_differ(self.columns)
        _check_angle(self)
        layout_of(self.channels)

    @property
    def channels(self) -> tuple[str, ...]:
        """The torque channels that the columns name or that their forces make."""
        if self.messages is not None:
            return (self.messages.channel,)
        named = [CHANNEL_BY_COLUMN[name] for name in self.columns if name in CHANNEL_BY_COLUMN]
        return (*named, *self.force_legs)

    @property
    def force_legs(self) -> tuple[str, ...]:
        """The legs whose pedal force is recorded instead of their torque; refuse forces that do not suffice."""
        return tuple(leg for leg in ("left", "right") if _has_force(self.columns, leg))


def _check_columns_differ(columns: Mapping[str, ColumnSource]) -> None:
    """Refuse one stored column under two names: a leg mapped twice would pass for two legs that share alike."""
    names: dict[str, str] = {}
    for name, source in columns.items():
        first = names.setdefault(source.column, name)
        if first != name:
            raise Refusal(
                "recorder settings, column map",
                f"column {source.column!r} as {first} and as {name}",
                "a column of its own for each",
                "correct the one that is wrong",
            )


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


def _has_force(columns: dict[str, ColumnSource], leg: str) -> bool:
    there = {name.split("_")[1] for name in columns if name.startswith("force_") and f"_{leg}_" in name}
    if not there:
        return False
    if f"torque_{leg}_Nm" in columns or there not in (
        {"tangential"},
        {"tangential", "radial"},
        {"fore", "vertical"},
    ):
        raise Refusal(
            what=f"recorder settings, pedal force of the {leg} leg",
            got=", ".join(name for name in columns if f"_{leg}_" in name),
            wanted="tangential force (with or without radial), or fore_aft and vertical force, and no torque of that leg",
            remedy="map the two forces that the recorder gives, or the torque alone",
        )
    return True


def _check_angle(settings: RecorderSettings) -> None:
    wanted = ("time_s", *ANGLE_COLUMNS[settings.angle])
    known = {name for names in ANGLE_COLUMNS.values() for name in names}
    for name in wanted:
        if name not in settings.columns:
            made = f"{' and '.join(wanted)}, as the angle comes from {settings.angle!r}"
            remedy = f"name the column that holds {name}, or declare another source of the angle"
            raise Refusal("recorder settings, column map", f"no {name}", made, remedy)
    spare = sorted((known & set(settings.columns)) - set(wanted))
    needs = {
        "pulses_per_turn": settings.angle == "pulses",
        "pulse_threshold": "index_level" in wanted,
    }
    for key, needed in needs.items():
        given = getattr(settings, key) is not None
        if needed and not given:
            remedy = f"declare {key} for the recorder"
            raise Refusal(f"recorder settings, {key}", "nothing", "a number", remedy)
        if given and not needed:
            spare.append(key)
    if spare:
        got = f"{', '.join(spare)} beside an angle from {settings.angle!r}"
        remedy = 'leave it out, or declare angle = "pulses", "index", "rate" or "markers"'
        raise Refusal("recorder settings, column map", got, " and ".join(wanted), remedy)


def _check_messages(settings: RecorderSettings) -> None:
    if settings.kind != "notifications" or settings.messages is None or settings.columns:
        raise Refusal(
            "recorder settings, messages",
            f"kind {settings.kind!r} with {'columns' if settings.columns else 'no columns'} and"
            f" {'messages' if settings.messages else 'no messages'}",
            'kind = "notifications" with messages and no columns, or another kind with columns and no messages',
            "say in messages which columns of the log hold time, characteristic and bytes",
        )
    _check_choice("messages, channel", settings.messages.channel, ("left", "right", "total"))
    if settings.messages.spacing is None:
        raise Refusal(
            "recorder settings, messages, spacing",
            "nothing",
            '"even angle"',
            'declare spacing = "even angle" if you accept that samples are spaced evenly between messages: an oval'
            " ring breaks that",
        )
    _check_choice("messages, spacing", settings.messages.spacing, ("even angle",))


def _check_choice(what: str, got: str, known: tuple[str, ...]) -> None:
    if got not in known:
        raise Refusal(
            f"recorder settings, {what}",
            f"{got!r}{nearest(got, known)}",
            "one of " + ", ".join(repr(k) for k in known),
            "correct it in study.toml",
        )
