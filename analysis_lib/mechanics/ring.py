"""The ring: a closed convex pitch curve, told by the distance from crank axis to each tangent line."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Protocol

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import ArrayLike, NDArray
from scipy.special import ellipe

from analysis_lib.mechanics.sprocket import CHAIN_PITCH_M, check_teeth
from analysis_lib.refusals import Refusal

FloatArray = NDArray[np.float64]

LARGEST_AXIS_RATIO = 3.0
GRID = np.linspace(0, 2 * math.pi, 720, endpoint=False)
ROUND_TOLERANCE = 1e-9
"""Axis ratios closer to one than this are round: no direction of the ring differs from another."""


class Support(Protocol):
    """A support function and its first two derivatives, in metres, by normal angle in radians."""

    def value(self, psi: FloatArray) -> FloatArray:
        """H(ψ)."""

    def slope(self, psi: FloatArray) -> FloatArray:
        """H'(ψ)."""

    def second(self, psi: FloatArray) -> FloatArray:
        """H''(ψ)."""


@dataclass(frozen=True)
class EllipseSupport:
    """Support function of an ellipse about its centre, H = √(a² cos² ψ + b² sin² ψ); a circle where a = b."""

    semi_major_m: float
    semi_minor_m: float

    def value(self, psi: FloatArray) -> FloatArray:
        """H(ψ) in metres."""
        return np.hypot(self.semi_major_m * np.cos(psi), self.semi_minor_m * np.sin(psi))

    def slope(self, psi: FloatArray) -> FloatArray:
        """H' = (b² − a²) sin ψ cos ψ / H."""
        return (self.semi_minor_m**2 - self.semi_major_m**2) * np.sin(2 * psi) / (2 * self.value(psi))

    def second(self, psi: FloatArray) -> FloatArray:
        """H'' = a² b² / H³ − H, from the radius of curvature a² b² / H³ of an ellipse."""
        support = self.value(psi)
        return (self.semi_major_m * self.semi_minor_m) ** 2 / support**3 - support


@dataclass(frozen=True)
class Ring:
    """A chainring: its teeth and the shape of its pitch curve.

    The chain pulls at the *support function* H(ψ): the distance from the crank axis to the tangent line whose
    outward normal points along ψ, measured from the major axis in the pedalling direction. It is not the
    polar radius of the curve. Make a ring with `Ring.round` or `Ring.ellipse`; other shapes come from
    `ring_shapes` and `outlines`.

    Refuses a curve that is not convex (H + H'' negative anywhere) or whose perimeter is not teeth · pitch.

    Attributes
    ----------
    teeth : int
        Number of teeth, so the perimeter of the pitch curve is teeth · 12.7 mm.
    shape : Support
        The support function in metres.
    """

    teeth: int
    shape: Support

    def __post_init__(self) -> None:
        object.__setattr__(self, "teeth", check_teeth(self.teeth, "teeth of the ring"))
        self._check_perimeter()
        self._check_convex()

    def _check_perimeter(self) -> None:
        # A sum over equal angles is exact for smooth closed curves and good to 1e-5 for polygons.
        perimeter = 2 * math.pi * float(np.mean(self.shape.value(GRID)))
        if not math.isclose(perimeter, self.perimeter_m, rel_tol=1e-4):
            raise Refusal(
                "shape of the ring",
                f"a perimeter of {perimeter * 1000:.2f} mm",
                f"{self.teeth} teeth of 12.7 mm, {self.perimeter_m * 1000:.2f} mm",
                "scale the curve to the teeth, or correct the count of teeth",
            )

    def _check_convex(self) -> None:
        tightest = float(np.min(self.radius_of_curvature(GRID)))
        if tightest < -1e-9 * self.perimeter_m:
            raise Refusal(
                "shape of the ring",
                f"a hollow pitch curve (radius of curvature down to {tightest * 1000:.2f} mm)",
                "a convex curve, which a chain can lie on (H + H'' at least 0 everywhere)",
                "make the higher harmonics or the change of radius smaller",
            )

    @classmethod
    def round(cls, teeth: int) -> Ring:
        """A round ring: H = z·p / 2π everywhere.

        Examples
        --------
        >>> round(float(Ring.round(52).support(0.0)) * 1000, 4)
        105.1059
        """
        return cls.ellipse(teeth, 1.0)

    @classmethod
    def ellipse(cls, teeth: int, axis_ratio: float) -> Ring:
        """An elliptical ring of perimeter z·p.

        The perimeter of an ellipse is 4·a·E(m) with m = 1 − 1/e² and E the complete elliptic integral of the
        second kind (parameter m), so a = z·p / (4 E(m)) and b = a/e.

        Parameters
        ----------
        teeth : int
        axis_ratio : float
            Major over minor axis, 1 (round) to 3.

        Examples
        --------
        52 teeth at 1.10: a = 660.4 mm / (4 · 1.500247) = 110.049 mm, b = 100.044 mm.

        >>> ring = Ring.ellipse(52, 1.10)
        >>> round(ring.semi_major_m * 1000, 3), round(ring.semi_minor_m * 1000, 3)
        (110.049, 100.044)
        """
        if not 1.0 <= axis_ratio <= LARGEST_AXIS_RATIO:
            raise Refusal(
                "axis_ratio",
                repr(axis_ratio),
                f"major axis over minor axis, from 1 (round) to {LARGEST_AXIS_RATIO:g}",
                "give the longer diameter divided by the shorter one, such as 1.10",
            )
        return _ellipse(check_teeth(teeth, "teeth of the ring"), float(axis_ratio))

    def support(self, psi: ArrayLike) -> FloatArray:
        """H in metres at normal angles `psi` (rad from the major axis, in the pedalling direction)."""
        return self.shape.value(np.asarray(psi, dtype=float))

    def support_slope(self, psi: ArrayLike) -> FloatArray:
        """H'(ψ) in metres per radian: how far the point of contact lies from the foot of the arm."""
        return self.shape.slope(np.asarray(psi, dtype=float))

    def radius_of_curvature(self, psi: ArrayLike) -> FloatArray:
        """Radius of curvature of the pitch curve, H + H'', in metres, where the normal points along `psi`."""
        angle = np.asarray(psi, dtype=float)
        return self.shape.value(angle) + self.shape.second(angle)

    def point(self, psi: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Point of the curve whose normal is `psi`: metres along the major axis, and a quarter turn on.

        x = H cos ψ − H' sin ψ, y = H sin ψ + H' cos ψ.
        """
        angle = np.asarray(psi, dtype=float)
        arm, slope = self.shape.value(angle), self.shape.slope(angle)
        cosine, sine = np.cos(angle), np.sin(angle)
        return arm * cosine - slope * sine, arm * sine + slope * cosine

    @property
    def perimeter_m(self) -> float:
        """Perimeter of the pitch curve, teeth · pitch."""
        return self.teeth * CHAIN_PITCH_M

    @property
    def area_m2(self) -> float:
        """Area within the pitch curve, ½ ∮ (H² − H'²) dψ."""
        psi = np.linspace(0, 2 * math.pi, 7200, endpoint=False)
        return math.pi * float(np.mean(self.shape.value(psi) ** 2 - self.shape.slope(psi) ** 2))

    @cached_property
    def peak_rad(self) -> float:
        """Normal angle of the largest support, in [0, π): 0 for a shape that lies along its major axis."""
        if self.is_round:
            raise Refusal(
                "direction of the ring's major axis",
                f"a round ring of {self.teeth} teeth",
                "an oval ring",
                "leave the angle out: on a round ring every mounting is the same",
            )
        return widest_direction(self.shape)

    def half_width(self, psi: ArrayLike) -> FloatArray:
        """Half the distance between the parallel tangents with normals ψ and ψ + π (H where axial)."""
        return _half_width(self.shape, np.asarray(psi, dtype=float))

    @cached_property
    def semi_major_m(self) -> float:
        """Half the largest width."""
        return float(self.half_width(widest_direction(self.shape)))

    @cached_property
    def semi_minor_m(self) -> float:
        """Half the smallest width."""
        return float(self.half_width(_angle_of_largest(lambda psi: -self.half_width(psi))))

    @property
    def axis_ratio(self) -> float:
        """Largest width over smallest width; major over minor axis of an ellipse; 1 for a round ring."""
        return self.semi_major_m / self.semi_minor_m

    @property
    def is_round(self) -> bool:
        """Whether all widths are equal, so that mounting cannot matter."""
        return self.axis_ratio - 1 < ROUND_TOLERANCE


@lru_cache(maxsize=256)
def _ellipse(teeth: int, axis_ratio: float) -> Ring:
    """Equal rings are one ring, which never changes: checks and searches for its widths are done once."""
    semi_major = teeth * CHAIN_PITCH_M / (4 * float(ellipe(1 - 1 / axis_ratio**2)))
    return Ring(teeth, EllipseSupport(semi_major, semi_major / axis_ratio))


def widest_direction(shape: Support) -> float:
    """Normal angle in [0, π) between whose two parallel tangents a curve is widest."""
    return _angle_of_largest(lambda psi: _half_width(shape, psi)) % math.pi


def _half_width(shape: Support, psi: FloatArray) -> FloatArray:
    return (shape.value(psi) + shape.value(psi + math.pi)) / 2


def _angle_of_largest(function: Callable[[FloatArray], FloatArray]) -> float:
    """Angle in [0, π] at which a width is largest: best grid point, then a bounded search around it."""
    half_turn = GRID[: GRID.size // 2 + 1]
    start, step = float(half_turn[np.argmax(function(half_turn))]), float(GRID[1])

    def shortfall(psi: float) -> float:
        return -float(function(np.asarray(psi)))

    around = (start - step, start + step)
    beside = [shortfall(psi) for psi in around]
    if abs(beside[1] - beside[0]) <= 4 * np.finfo(float).eps * abs(beside[0]):
        return start  # an extreme on the grid itself, as an ellipse's are: no search, nor what it takes to load one
    found = scipy.optimize.minimize_scalar(
        shortfall, bounds=around, method="bounded", options={"xatol": 1e-12}
    )
    # A search stops a little beside an extreme that lies on the grid itself.
    return start if shortfall(start) <= found.fun else float(found.x)
