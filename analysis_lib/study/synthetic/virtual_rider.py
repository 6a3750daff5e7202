"""A virtual rider: how hard, how fast and with which torque profile he pedals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis_lib.mechanics.ring import FloatArray

#: Harmonics 1 to 4 of one leg's tangential pedal force, amplitude over mean and angle of the maximum in
#: degrees, computed from the force at every 15 degrees of the crank cycle measured by Park & Caldwell 2021
#: (J Sport Health Sci 10:99), 15 cyclists, 31 rpm. At that cadence limb inertia is negligible, so this is
#: the muscles' profile.
QUASI_STATIC_AMPLITUDES = (2.117, 0.530, 0.110, 0.091)
QUASI_STATIC_PEAKS_DEG = (90.6, 101.8, 114.9, 38.7)

#: Second-harmonic torque of one leg from speeding up and slowing down its own mass at 90 rpm. The legs store
#: energy early in the downstroke and give it back late, which moves the peak later and deepens the upstroke
#: as cadence rises (the direction is common knowledge; the size is a modelling choice: a kinetic energy of
#: one leg that swings by about 2.5 J within the turn).
INERTIAL_TORQUE_NM = 2.5
INERTIAL_PEAK_DEG = 127.0
INERTIAL_CADENCE_RPM = 90.0


@dataclass(frozen=True)
class LegProfile:
    """One leg's torque against its own crank angle: mean + sum of amplitude x cos(k (angle - peak)).

    Attributes
    ----------
    mean_Nm : float
    amplitudes_Nm : tuple of float
        Of harmonics 1, 2, 3, ...
    peaks_deg : tuple of float
        Crank angle of each harmonic's maximum, in [0, 360/k) degrees.
    """

    mean_Nm: float
    amplitudes_Nm: tuple[float, ...]
    peaks_deg: tuple[float, ...]

    def torque(self, crank_rad: FloatArray) -> FloatArray:
        """Torque in N m at the leg's own crank angle, of any shape."""
        waves = [
            amplitude * np.cos(k * (crank_rad - np.radians(peak)))
            for k, (amplitude, peak) in enumerate(
                zip(self.amplitudes_Nm, self.peaks_deg, strict=True), start=1
            )
        ]
        return self.mean_Nm + np.sum(waves, axis=0)

    def scaled(self, factor: float) -> LegProfile:
        """The same profile with all torque multiplied by `factor`."""
        return LegProfile(
            self.mean_Nm * factor, tuple(factor * size for size in self.amplitudes_Nm), self.peaks_deg
        )

    def shifted(self, angle_deg: float) -> LegProfile:
        """The same profile acting later by `angle_deg`."""
        peaks = tuple((peak + angle_deg) % (360 / k) for k, peak in enumerate(self.peaks_deg, start=1))
        return LegProfile(self.mean_Nm, self.amplitudes_Nm, peaks)

    def second_harmonic(self) -> complex:
        """Amplitude and twice the peak angle of the second harmonic, as one complex number."""
        return complex(self.amplitudes_Nm[1] * np.exp(2j * np.radians(self.peaks_deg[1])))


def two_leg_phase_deg(left: LegProfile, right: LegProfile) -> float:
    """Torque phase of two legs, from their harmonics.

    The left crank stands half a turn from the right one; that turns a second harmonic by a whole turn, so the
    second harmonics add as they are, and the torque phase is half the angle of their sum.

    Examples
    --------
    >>> leg = LegProfile(10.0, (20.0, 5.0), (95.0, 101.0))
    >>> round(two_leg_phase_deg(leg, leg), 6)
    101.0
    """
    both = left.second_harmonic() + right.second_harmonic()
    return float(np.degrees(np.angle(both)) / 2 % 180)


@dataclass(frozen=True)
class RiderModel:
    """What makes one virtual rider differ from another.

    Attributes
    ----------
    rider, sequence : str
    mass_kg, crank_length_mm : float
    hard_power_W : float
        Power the rider holds at the hardest intensity on the round ring.
    cadence_rpm : float
    left_share : float
        The left leg's share of the torque.
    shift_deg : dict of str to float
        By leg: how much later than the published profile the leg's muscles act.
    shape : dict of str to tuple of float
        By leg: factor on each harmonic of the published profile.
    hr_rest_bpm, hr_hard_bpm : float
        Heart rate at rest and at the hardest intensity.
    comfort : float
        Usual comfort score, 0 to 100.
    ring_effect_extra : float
        What the oval ring gives this rider beyond the group, relative (0.01 = +1 %).
    """

    rider: str
    sequence: str
    mass_kg: float
    crank_length_mm: float
    hard_power_W: float
    cadence_rpm: float
    left_share: float
    shift_deg: dict[str, float]
    shape: dict[str, tuple[float, ...]]
    hr_rest_bpm: float
    hr_hard_bpm: float
    comfort: float
    ring_effect_extra: float

    def leg(self, side: str, power_W: float, cadence_rpm: float) -> LegProfile:
        """Give one leg's torque profile at a two-leg power and cadence.

        The muscles' part is the published profile scaled to the power, with the rider's own shape and
        shift; the leg's inertia adds a second harmonic that grows with cadence squared and does no work
        over a turn.
        """
        share = self.left_share if side == "left" else 1 - self.left_share
        mean = share * power_W / (cadence_rpm * 2 * np.pi / 60)
        order = np.arange(1, len(QUASI_STATIC_AMPLITUDES) + 1)
        peaks = np.radians(np.array(QUASI_STATIC_PEAKS_DEG) + self.shift_deg[side])
        waves = (
            mean * np.array(QUASI_STATIC_AMPLITUDES) * np.array(self.shape[side]) * np.exp(1j * order * peaks)
        )
        inertial = INERTIAL_TORQUE_NM * (cadence_rpm / INERTIAL_CADENCE_RPM) ** 2
        waves[1] += inertial * np.exp(2j * np.radians(INERTIAL_PEAK_DEG))
        peaks_deg = np.degrees(np.angle(waves)) / order % (360 / order)
        return LegProfile(float(mean), tuple(map(float, np.abs(waves))), tuple(map(float, peaks_deg)))


def draw_rider(
    rider: str, sequence: str, rng: np.random.Generator, effect_sd: float, shift_sd_deg: float = 5.0
) -> RiderModel:
    """Draw a virtual rider.

    Parameters
    ----------
    rider, sequence : str
    rng : Generator
        The rider's own stream.
    effect_sd : float
        SD between riders of the oval ring's relative effect.
    shift_sd_deg : float
        SD between riders of the angle at which their legs act.

    Returns
    -------
    RiderModel
        The spreads follow club and elite cyclists in a laboratory: left share 0.46 to 0.54 (published range
        0.40 to 0.60), freely chosen cadence 85 to 90 rpm. Where no published spread is known they are
        modelling choices.
    """
    shift = rng.normal(-5.0, shift_sd_deg)
    return RiderModel(
        rider=rider,
        sequence=sequence,
        mass_kg=round(float(np.clip(rng.normal(71.0, 7.0), 55, 95)), 1),
        crank_length_mm=float(rng.choice([170.0, 172.5, 175.0])),
        hard_power_W=float(np.clip(rng.normal(255.0, 28.0), 190, 330)),
        cadence_rpm=float(rng.uniform(85.0, 90.0)),
        left_share=float(np.clip(rng.normal(0.495, 0.015), 0.46, 0.54)),
        shift_deg={side: shift + float(rng.normal(0.0, 2.0)) for side in ("left", "right")},
        shape={
            side: tuple(map(float, rng.normal(1.0, (0.04, 0.12, 0.2, 0.2)))) for side in ("left", "right")
        },
        hr_rest_bpm=float(rng.normal(58.0, 5.0)),
        hr_hard_bpm=float(rng.normal(174.0, 7.0)),
        comfort=float(rng.uniform(62.0, 82.0)),
        ring_effect_extra=float(rng.normal(0.0, effect_sd)),
    )
