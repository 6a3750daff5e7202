"""Decode the messages of the Bluetooth SIG Cycling Power service: Measurement (2A63) and Vector (2A64).

Fields, units and flags as in the Bluetooth SIG's published characteristic descriptions (2014-07-02); all numbers
are little-endian and stand in the order of their flags.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from analysis_lib.refusals import Refusal

TORQUE_STEP_NM = 1 / 32
CRANK_TICK_S = 1 / 1024
WHEEL_TICK_S = 1 / 2048
DIRECTIONS = ("unknown", "tangential", "radial", "lateral")


@dataclass(frozen=True)
class PowerMeasurement:
    """One Cycling Power Measurement; None for a field that the message does not carry.

    Attributes
    ----------
    power_W : int
        Instantaneous power, signed.
    balance_pct : float
        Pedal power balance in percent, of the leg that `balance_of` names ("left" or "unknown").
    accumulated_torque_Nm : float
        Rolls over at 2048 N m; from the crank or the wheel, as `torque_source` says.
    wheel_turns, wheel_time_s, crank_turns, crank_time_s : int and float
        Cumulative turns, and time of the last one. Turns roll over at 2³² and 2¹⁶, times at 32 s and 64 s.
    largest_force_N, smallest_force_N, largest_torque_Nm, smallest_torque_Nm : float
    largest_at_deg, smallest_at_deg : int
        Crank angles of the extremes.
    top_dead_spot_deg, bottom_dead_spot_deg : int
    energy_kJ : int
    offset_compensated : bool
    """

    power_W: int
    balance_pct: float | None = None
    balance_of: str = "unknown"
    accumulated_torque_Nm: float | None = None
    torque_source: str = "wheel"
    wheel_turns: int | None = None
    wheel_time_s: float | None = None
    crank_turns: int | None = None
    crank_time_s: float | None = None
    largest_force_N: int | None = None
    smallest_force_N: int | None = None
    largest_torque_Nm: float | None = None
    smallest_torque_Nm: float | None = None
    largest_at_deg: int | None = None
    smallest_at_deg: int | None = None
    top_dead_spot_deg: int | None = None
    bottom_dead_spot_deg: int | None = None
    energy_kJ: int | None = None
    offset_compensated: bool = False


@dataclass(frozen=True)
class PowerVector:
    """One Cycling Power Vector: samples of force or torque, older first.

    Attributes
    ----------
    crank_turns, crank_time_s : int and float, or None
        As in `PowerMeasurement`.
    first_angle_deg : int or None
        Crank angle of the first sample. The others carry neither angle nor time.
    force_N, torque_Nm : tuple of float
        One of them is empty.
    direction : str
        "unknown", "tangential", "radial" or "lateral".
    """

    crank_turns: int | None
    crank_time_s: float | None
    first_angle_deg: int | None
    force_N: tuple[float, ...]
    torque_Nm: tuple[float, ...]
    direction: str


class _Fields:
    """Take numbers off a message from front to back, and refuse one that is cut short or too long."""

    def __init__(self, message: bytes, name: str):
        self.message, self.name, self.at = message, name, 0

    def take(self, layout: str) -> tuple[int, ...]:
        size = struct.calcsize("<" + layout)
        if self.at + size > len(self.message):
            raise self._refusal(f"at least {self.at + size} bytes for the fields that its flags announce")
        numbers = struct.unpack_from("<" + layout, self.message, self.at)
        self.at += size
        return numbers

    def rest(self) -> tuple[int, ...]:
        left = len(self.message) - self.at
        if left % 2:
            raise self._refusal("an even number of bytes after the other fields")
        return self.take(f"{left // 2}h")

    def end(self) -> None:
        if self.at != len(self.message):
            raise self._refusal(f"{self.at} bytes for the fields that its flags announce")

    def _refusal(self, wanted: str) -> Refusal:
        got = f"{len(self.message)} bytes ({self.message.hex(' ')[:60]})"
        return Refusal(self.name, got, wanted, "log the whole message as it was received", "trial")


def decode_measurement(message: bytes) -> PowerMeasurement:
    """Decode a Cycling Power Measurement (2A63).

    Raises
    ------
    Refusal
        When the message is shorter or longer than its flags announce.

    Examples
    --------
    >>> decode_measurement(bytes.fromhex("20 00 fa 00 0a 00 00 04")).crank_time_s
    1.0
    """
    fields = _Fields(message, "Cycling Power Measurement")
    flags, power = fields.take("Hh")
    found: dict[str, int | float | str | bool | None] = {"power_W": power}

    def read(bit: int, layout: str, names: tuple[str, ...], steps: tuple[float, ...]) -> None:
        if flags >> bit & 1:
            numbers = fields.take(layout)
            found.update({name: n * step for name, n, step in zip(names, numbers, steps, strict=True)})

    read(0, "B", ("balance_pct",), (0.5,))
    read(2, "H", ("accumulated_torque_Nm",), (TORQUE_STEP_NM,))
    read(4, "IH", ("wheel_turns", "wheel_time_s"), (1, WHEEL_TICK_S))
    read(5, "HH", ("crank_turns", "crank_time_s"), (1, CRANK_TICK_S))
    read(6, "hh", ("largest_force_N", "smallest_force_N"), (1, 1))
    read(7, "hh", ("largest_torque_Nm", "smallest_torque_Nm"), (TORQUE_STEP_NM, TORQUE_STEP_NM))
    if flags >> 8 & 1:  # two 12-bit angles share three bytes, the larger extreme's in the lower bits
        low, high = fields.take("HB")
        both = low | high << 16
        found |= {"largest_at_deg": both & 0xFFF, "smallest_at_deg": both >> 12}
    read(9, "H", ("top_dead_spot_deg",), (1,))
    read(10, "H", ("bottom_dead_spot_deg",), (1,))
    read(11, "H", ("energy_kJ",), (1,))
    fields.end()
    found["balance_of"] = "left" if flags >> 1 & 1 else "unknown"
    found["torque_source"] = "crank" if flags >> 3 & 1 else "wheel"
    found["offset_compensated"] = bool(flags >> 12 & 1)
    return PowerMeasurement(**found)  # type: ignore[arg-type]


def decode_vector(message: bytes) -> PowerVector:
    """Decode a Cycling Power Vector (2A64).

    Raises
    ------
    Refusal
        When the message does not fit its flags, or announces force and torque at once.

    Examples
    --------
    >>> decode_vector(bytes.fromhex("1b 0a 00 00 04 5a 00 50 03 f8 ff")).torque_Nm
    (26.5, -0.25)
    """
    fields = _Fields(message, "Cycling Power Vector")
    (flags,) = fields.take("B")
    turns, tick = fields.take("HH") if flags & 1 else (None, None)
    angle = fields.take("H")[0] if flags >> 1 & 1 else None
    has_force, has_torque = flags >> 2 & 1, flags >> 3 & 1
    if has_force and has_torque:
        raise Refusal(
            what="Cycling Power Vector",
            got="flags for force and for torque",
            wanted="one of them",
            remedy="log the whole message as it was received",
            scope="trial",
        )
    samples = fields.rest() if has_force or has_torque else ()
    fields.end()
    return PowerVector(
        crank_turns=turns,
        crank_time_s=None if tick is None else tick * CRANK_TICK_S,
        first_angle_deg=angle,
        force_N=tuple(float(n) for n in samples) if has_force else (),
        torque_Nm=tuple(n * TORQUE_STEP_NM for n in samples) if has_torque else (),
        direction=DIRECTIONS[flags >> 4 & 3],
    )
