"""A recording of crank angle and torque, in the library's own units."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis_lib.refusals import Refusal
from analysis_lib.signals.angle_source import right_crank_angle
from analysis_lib.signals.canonical_columns import read_canonical_columns
from analysis_lib.signals.crank_forces import CrankForces
from analysis_lib.signals.force_channels import torque_from_forces
from analysis_lib.signals.held_values import Holds, find_holds, say_stepped
from analysis_lib.signals.recorder import CHANNEL_BY_COLUMN, ColumnSource, RecorderSettings, layout_of
from analysis_lib.signals.sample_checks import legs_agreeing_with_total
from analysis_lib.signals.saturation import saturated_samples

__all__ = ["ColumnSource", "RecorderSettings", "Recording", "read_recording"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Recording:
    """Crank angle and torque against time.

    Attributes
    ----------
    time_s : array of shape (samples,)
        Strictly increasing, s.
    crank_rad : array of shape (samples,)
        Angle of the RIGHT crank, rad from its top dead centre, unwrapped, growing as the rider pedals.
    torque : dict of str to array of shape (samples,)
        N m by channel: "left" and "right", or "total", or one leg.
    layout : str
        "two legs", "total only", "left only" or "right only"; follows from the channels when left empty.
    name : str
        For messages.
    temperature_C : array of shape (samples,), optional
    saturated : dict of str to array
        By channel, the indices of the samples at which it could tell nothing more.
    held : dict of str to Holds
        By channel, where it keeps one value while the crank goes on; empty where that was not looked at.
    radial_N : dict of str to array of shape (samples,)
        Radial pedal force of the legs whose forces were recorded, positive towards the crank axis.
    crank_length_m : float, optional
        Of the crank by which forces became torque.
    missing_samples : int
        Samples left out because an angle or a torque was missing; they are gaps in time.
    assumptions : tuple of str
        Sentences that a reader of any result must know.
    cautions : tuple of str
        What speaks against the file itself.
    """

    time_s: FloatArray
    crank_rad: FloatArray
    torque: dict[str, FloatArray]
    layout: str = ""
    name: str = ""
    temperature_C: FloatArray | None = None
    saturated: dict[str, NDArray[np.intp]] = field(default_factory=dict)
    held: dict[str, Holds] = field(default_factory=dict)
    radial_N: dict[str, FloatArray] = field(default_factory=dict)
    crank_length_m: float | None = None
    missing_samples: int = 0
    assumptions: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "layout", layout_of(tuple(self.torque), self.layout))
        for channel, values in {"crank_rad": self.crank_rad, **self.torque}.items():
            if np.shape(values) != np.shape(self.time_s):
                raise Refusal(
                    what=f"recording {self.name or 'without a name'}, {channel}",
                    got=f"{np.size(values)} samples",
                    wanted=f"{np.size(self.time_s)}, as many as time_s",
                    remedy="give every channel a value at every time",
                    scope="trial",
                )

    @property
    def pedal_forces(self) -> dict[str, CrankForces]:
        """Tangential and radial force by leg, where both are known; tangential is torque over crank length."""
        length = self.crank_length_m or math.nan
        return {leg: CrankForces(self.torque[leg] / length, radial) for leg, radial in self.radial_N.items()}

    def between_pulses(self) -> Recording:
        """Return the recording without the samples at either end that have no angle yet."""
        known = np.flatnonzero(np.isfinite(self.crank_rad))
        if known.size == self.time_s.size:
            return self
        part = slice(int(known[0]), int(known[-1]) + 1)
        note = (
            f"{self.time_s.size - known.size} samples before the first or after the last pulse have no angle."
        )
        return replace(self.part(part), assumptions=(*self.assumptions, note))

    def part(self, samples: slice) -> Recording:
        """Return some of the samples, those that stand next to each other."""
        within = np.arange(self.time_s.size)[samples]
        return replace(
            self,
            time_s=self.time_s[samples],
            crank_rad=self.crank_rad[samples],
            torque={channel: values[samples] for channel, values in self.torque.items()},
            temperature_C=None if self.temperature_C is None else self.temperature_C[samples],
            saturated={
                c: at[(at >= within[0]) & (at <= within[-1])] - within[0] for c, at in self.saturated.items()
            },
            held={channel: holds.within(within[0], within[-1]) for channel, holds in self.held.items()},
            radial_N={leg: values[samples] for leg, values in self.radial_N.items()},
        )

    @property
    def duration_s(self) -> float:
        """Time from the first sample to the last, s."""
        return float(self.time_s[-1] - self.time_s[0])


def read_recording(
    path: str | Path,
    settings: RecorderSettings,
    start_s: float | None = None,
    end_s: float | None = None,
    crank_length_m: float | None = None,
) -> Recording:
    """Read a recording and bring it to canonical channels and units.

    Parameters
    ----------
    path : str or Path
        The file; only the mapped columns are read.
    settings : RecorderSettings
        How the recorder writes.
    start_s, end_s : float, optional
        The part of the file that is the trial, in the file's own time, both ends included.
    crank_length_m : float, optional
        Needed where forces are recorded instead of torque.

    Returns
    -------
    Recording
        The left crank's angle becomes the right crank's by half a turn. Samples without an angle or a torque
        are left out and counted. Where both legs and their total were recorded, the legs are kept.

    Raises
    ------
    Refusal
        One clear fault of the file: missing, empty, a column or number that is not there, time that does not
        grow, too few samples, an angle that contradicts its unit, legs that contradict the total, forces
        without a crank length.
    """
    path = Path(path)
    if settings.messages is not None:
        # A log makes a recording of its own, so its reader knows this module and is called from within.
        from analysis_lib.signals.logged_recording import read_logged_recording

        return read_logged_recording(path, settings, start_s, end_s, crank_length_m)
    columns, samples, notes, cautions = read_canonical_columns(path, settings, start_s, end_s)
    time_s, temperature = columns.pop("time_s"), columns.pop("temperature_C", None)
    crank_rad, angle_notes = right_crank_angle(columns, time_s, settings, path.name)
    torque = {CHANNEL_BY_COLUMN[name]: columns.pop(name) for name in CHANNEL_BY_COLUMN if name in columns}
    radial: dict[str, FloatArray] = {}
    force_notes = []
    for leg in settings.force_legs:
        torque[leg], along, said = torque_from_forces(columns, leg, crank_rad, crank_length_m, path.name)
        radial |= {} if along is None else {leg: along}
        force_notes.append(said)
    total_note = ""
    if len(torque) == 3:
        torque, total_note = legs_agreeing_with_total(torque, path.name)
    held = {channel: find_holds(values, crank_rad) for channel, values in torque.items()}
    recording = Recording(
        time_s=time_s,
        crank_rad=crank_rad,
        torque=torque,
        name=path.name,
        temperature_C=temperature,
        saturated={
            channel: saturated_samples(values, settings.full_scale_Nm) for channel, values in torque.items()
        },
        held=held,
        radial_N=radial,
        crank_length_m=crank_length_m if settings.force_legs else None,
        missing_samples=samples - time_s.size,
        assumptions=tuple(filter(None, (*notes, *angle_notes, *force_notes, total_note))),
        cautions=(*cautions, *say_stepped(held)),
    )
    return recording if settings.angle == "encoder" else recording.between_pulses()
