"""Rides of known torque and angle, from which the tests make recordings."""

from __future__ import annotations

import numpy as np

from analysis_lib.signals.recording import Recording

# Amplitude (N m) and angle of the peak (degrees) of each harmonic of one leg; any numbers would do.
LEG_MEAN = 11.0
LEG_HARMONICS = {1: (22.0, 92.0), 2: (5.5, 103.0), 3: (1.2, 100.0), 4: (0.9, 40.0)}


def leg_torque(own_crank_rad, scale=1.0):
    torque = np.full(np.shape(own_crank_rad), LEG_MEAN)
    for order, (amplitude, peak) in LEG_HARMONICS.items():
        torque = torque + amplitude * np.cos(order * (np.asarray(own_crank_rad) - np.radians(peak)))
    return scale * torque


def crank_at(time_s, cadence_rpm=90.0, start_deg=0.0, ripple=0.03):
    """An angle whose speed varies twice a turn: θ = φ + ripple·sin 2φ with φ growing evenly."""
    even = 2 * np.pi * cadence_rpm / 60 * np.asarray(time_s) + np.radians(start_deg)
    return even + ripple * np.sin(2 * even)


def ride(
    rate_hz=1000.0, duration_s=20.0, cadence_rpm=90.0, start_deg=-30.0, ripple=0.03, left=1.0, right=1.0
):
    """A two-leg recording; `left` and `right` scale the legs."""
    time = np.arange(round(rate_hz * duration_s)) / rate_hz
    crank = crank_at(time, cadence_rpm, start_deg, ripple)
    torque = {"left": leg_torque(crank + np.pi, left), "right": leg_torque(crank, right)}
    return Recording(time, crank, torque, name="ride")
