"""Ring shapes beyond the ellipse: harmonic support functions, and ovals of circular arcs."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from analysis_lib.mechanics.ring import LARGEST_AXIS_RATIO, FloatArray, Ring, widest_direction
from analysis_lib.mechanics.sprocket import mean_arm_m
from analysis_lib.refusals import Refusal


@dataclass(frozen=True)
class HarmonicSupport:
    """Support function H = mean + Re Σ cₖ·exp(ikψ), in metres."""

    mean_m: float
    orders: tuple[int, ...]
    coefficients_m: tuple[complex, ...]

    def value(self, psi: FloatArray) -> FloatArray:
        """H(ψ) in metres."""
        return self.mean_m + self._derivative(psi, 0)

    def slope(self, psi: FloatArray) -> FloatArray:
        """H'(ψ), each harmonic times ik."""
        return self._derivative(psi, 1)

    def second(self, psi: FloatArray) -> FloatArray:
        """H''(ψ), each harmonic times −k²."""
        return self._derivative(psi, 2)

    def _derivative(self, psi: FloatArray, times: int) -> FloatArray:
        orders = np.array(self.orders, dtype=float)
        weights = np.array(self.coefficients_m) * (1j * orders) ** times
        return (np.exp(1j * np.multiply.outer(psi, orders)) @ weights).real

    def turned(self, start_rad: float) -> HarmonicSupport:
        """The same curve with its angles counted from `start_rad`."""
        turned = [
            coefficient * np.exp(1j * order * start_rad)
            for order, coefficient in zip(self.orders, self.coefficients_m, strict=True)
        ]
        return replace(self, coefficients_m=tuple(complex(value) for value in turned))


@dataclass(frozen=True)
class ArcSupport:
    """Support function of a closed chain of circular arcs; arcs of radius zero are the corners of a polygon.

    On an arc of radius R about (x, y) the support is H = R + x·cos ψ + y·sin ψ, so H + H'' = R.

    Attributes
    ----------
    starts_rad : tuple of float
        Normal angle at which each arc begins, ascending in [0, 2π); the last arc runs on to the first.
    radii_m, centres_m : tuples
        Radius of each arc, and its centre as x + iy: along the major axis, and a quarter turn on.
    """

    starts_rad: tuple[float, ...]
    radii_m: tuple[float, ...]
    centres_m: tuple[complex, ...]

    @cached_property
    def _arrays(self) -> tuple[FloatArray, FloatArray, np.ndarray]:
        return np.array(self.starts_rad), np.array(self.radii_m), np.array(self.centres_m)

    def _arc(self, psi: FloatArray) -> np.ndarray:
        # Before the first start the last arc still runs: index −1.
        return np.searchsorted(self._arrays[0], np.asarray(psi) % (2 * math.pi), side="right") - 1

    def _toward(self, psi: FloatArray) -> tuple[FloatArray, np.ndarray]:
        arc = self._arc(psi)
        return self._arrays[1][arc], self._arrays[2][arc] * np.exp(-1j * np.asarray(psi))

    def value(self, psi: FloatArray) -> FloatArray:
        """H(ψ) in metres."""
        radius, centre = self._toward(psi)
        return radius + centre.real

    def slope(self, psi: FloatArray) -> FloatArray:
        """H'(ψ) = −x sin ψ + y cos ψ."""
        return self._toward(psi)[1].imag

    def second(self, psi: FloatArray) -> FloatArray:
        """H''(ψ) = R − H."""
        return -self._toward(psi)[1].real

    def turned(self, start_rad: float) -> ArcSupport:
        """The same curve with its angles counted from `start_rad`."""
        starts = (np.array(self.starts_rad) - start_rad) % (2 * math.pi)
        order = np.argsort(starts)
        centres = np.array(self.centres_m) * np.exp(-1j * start_rad)
        return ArcSupport(
            tuple(starts[order].tolist()),
            tuple(np.array(self.radii_m)[order].tolist()),
            tuple(centres[order].tolist()),
        )


def harmonic_ring(teeth: int, cosines: Mapping[int, float], sines: Mapping[int, float] | None = None) -> Ring:
    """A ring whose support function is an even Fourier series, H = H̄·(1 + Σ aₖ cos kψ + bₖ sin kψ).

    The angles are then counted from the largest width, so that ψ = 0 is the major axis as on every ring.

    Parameters
    ----------
    teeth : int
    cosines, sines : mapping of even order to amplitude
        Relative to the mean arm H̄ = z·p/2π. A single amplitude a₂ gives the axis ratio (1 + a₂)/(1 − a₂).

    Raises
    ------
    Refusal
        Odd orders (the ring would differ after half a turn), or a curve that is not convex.

    Examples
    --------
    A second harmonic of 5 %: axis ratio 1.05/0.95 = 1.1053.

    >>> round(harmonic_ring(52, {2: 0.05}).axis_ratio, 4)
    1.1053
    """
    sines = sines or {}
    orders = tuple(sorted({*cosines, *sines}))
    if any(order <= 0 or order % 2 for order in orders):
        raise Refusal(
            "orders of the harmonic ring",
            ", ".join(map(str, orders)),
            "even whole numbers from 2",
            "leave out the mean and the odd orders: an oval ring repeats after half a turn",
        )
    mean = mean_arm_m(teeth)
    amplitudes = tuple(mean * complex(cosines.get(k, 0.0), -sines.get(k, 0.0)) for k in orders)
    support = HarmonicSupport(mean, orders, amplitudes)
    return Ring(teeth, support.turned(widest_direction(support)))


def arc_ring(teeth: int, arcs: Sequence[tuple[float, float]]) -> Ring:
    """A ring of circular arcs that join without a corner, given over half a turn and repeated.

    Where two arcs join at normal angle ψ, their centres differ by (R₁ − R₂) along the normal. The curve looks
    the same after half a turn, so the centre of the arc half a turn on is the negative of the first, which
    fixes all centres.

    Parameters
    ----------
    teeth : int
    arcs : sequence of (radius, width_deg)
        In the pedalling direction. Radii in any one unit: the curve is scaled to the teeth. Widths are the
        angles through which the normal turns, in degrees, and add up to 180.

    Examples
    --------
    One arc of 180° is a circle.

    >>> arc_ring(52, [(1.0, 180.0)]).is_round
    True
    """
    radii, widths = _check_arcs(arcs)
    ends = np.cumsum(widths)
    steps = (radii - np.roll(radii, -1)) * np.exp(1j * ends)
    first = -steps.sum() / 2
    centres = first + np.concatenate([[0.0], np.cumsum(steps)[:-1]])
    # The perimeter is Σ radius·width over the turn.
    scale = mean_arm_m(teeth) * math.pi / float(radii @ widths)
    starts = np.concatenate([[0.0], ends[:-1]])
    support = ArcSupport(
        tuple(np.concatenate([starts, starts + math.pi]).tolist()),
        tuple((scale * np.tile(radii, 2)).tolist()),
        tuple((scale * np.concatenate([centres, -centres])).tolist()),
    )
    widest = 0.0 if np.ptp(radii) == 0 else widest_direction(support)
    return Ring(teeth, support.turned(widest))


def four_arc_ring(teeth: int, axis_ratio: float, nose_ratio: float) -> Ring:
    """The draughtsman's oval: two noses on the major axis joined by two flatter flanks.

    With semi-axes a and b and nose radius r, the flank radius is R = ((a − r)² + b² − r²) / (2(b − r)): the
    distance between the centres is R − r. The nose spans a normal angle α = atan((R − b)/(a − r)) on either
    side.

    Parameters
    ----------
    teeth : int
    axis_ratio : float
        Above 1.
    nose_ratio : float
        Nose radius over minor semi-axis, above 0 (a pointed lens) and below 1 (straight flanks).

    Examples
    --------
    Axes 1.2 to 1 with a nose of 0.8: R = (0.16 + 1 − 0.64)/0.4 = 1.3, α = atan(0.3/0.4) = 36.87°.

    >>> ring = four_arc_ring(52, 1.2, 0.8)
    >>> flank, nose = ring.radius_of_curvature([math.pi / 2, 0.0]) / ring.semi_minor_m
    >>> round(float(flank), 6), round(float(nose), 6)
    (1.3, 0.8)
    """
    if not 1 < axis_ratio <= LARGEST_AXIS_RATIO or not 0 < nose_ratio < 1:
        raise Refusal(
            "four-arc oval",
            f"axis_ratio {axis_ratio!r}, nose_ratio {nose_ratio!r}",
            f"axis_ratio above 1, up to {LARGEST_AXIS_RATIO:g}, and nose_ratio between 0 and 1",
            "give major over minor axis, and nose radius over minor semi-axis",
        )
    out = axis_ratio - nose_ratio
    flank = (out**2 + 1 - nose_ratio**2) / (2 * (1 - nose_ratio))
    span = 2 * math.degrees(math.atan2(flank - 1, out))
    return arc_ring(teeth, [(nose_ratio, span), (flank, 180.0 - span)])


def _check_arcs(arcs: Sequence[tuple[float, float]]) -> tuple[FloatArray, FloatArray]:
    table = np.asarray(arcs, dtype=float)
    if table.ndim != 2 or table.shape[1] != 2 or not np.all(np.isfinite(table)) or table.min() <= 0:
        raise Refusal(
            "arcs",
            repr(arcs),
            "pairs of a radius and a width in degrees, all above 0",
            "give the arcs of half a turn in order",
        )
    if not math.isclose(table[:, 1].sum(), 180.0, abs_tol=1e-6):
        raise Refusal(
            "arcs",
            f"widths that add up to {table[:, 1].sum():g}°",
            "180°: half a turn, the other half being the same",
            "correct the widths of the arcs",
        )
    widths = np.radians(table[:, 1])
    return table[:, 0], widths * (math.pi / widths.sum())
