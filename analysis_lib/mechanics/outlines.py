"""The measured outline: from points on a ring's pitch curve to a ring, with every doubt about them said."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy  # its parts are loaded when first asked for
from numpy.typing import ArrayLike

from analysis_lib.mechanics.ring import FloatArray, Ring, widest_direction
from analysis_lib.mechanics.ring_shapes import ArcSupport
from analysis_lib.mechanics.sprocket import CHAIN_PITCH_M, check_teeth
from analysis_lib.refusals import Refusal

FEWEST_POINTS = 36
"""Chords between 36 points of a circle are 0.13 % shorter than the circle; fewer points hide the shape."""

PERIMETER_TOLERANCE = 0.01
DEEPEST_HOLLOW_MM = 0.5
LARGEST_OFF_CENTRE_MM = 3.0


@dataclass(frozen=True)
class OutlineReading:
    """A ring read from a measured outline, and how well the outline fits a chainring.

    Attributes
    ----------
    ring : Ring
        Scaled so that its perimeter is teeth · pitch; angles counted from its widest direction.
    major_axis_deg : float
        Clock angle of the major axis in the drawing, in [0, 180): the mount angle if the right crank arm
        points straight up there.
    perimeter_mm : float
        Of the convex hull of the points, before scaling.
    scale : float
        Factor applied to the points.
    off_centre_mm : float
        Size of the first harmonic of the support function: how far the curve's middle lies from the crank
        axis.
    deepest_hollow_mm : float
        Largest distance of a point inside the hull.
    n_points : int
    """

    ring: Ring
    major_axis_deg: float
    perimeter_mm: float
    scale: float
    off_centre_mm: float
    deepest_hollow_mm: float
    n_points: int

    def sentence(self) -> str:
        """The reading in words."""
        return (
            f"{self.n_points} points give a ring of {self.ring.teeth} teeth with an axis ratio of "
            f"{self.ring.axis_ratio:.3f}; perimeter {self.perimeter_mm:.1f} mm, scaled by {self.scale:.4f}; "
            f"off centre by {self.off_centre_mm:.1f} mm; hollows to {self.deepest_hollow_mm:.2f} mm bridged."
        )


def ring_from_outline(points_mm: ArrayLike, teeth: int) -> OutlineReading:
    """Read a ring from points on its pitch curve, the line of the pin centres of a chain that lies on it.

    The chain bridges hollows, so the ring is the convex hull of the points: H(ψ) is the largest projection of
    a point on the normal. The hull is scaled to the perimeter teeth · 12.7 mm, because the chain advances by
    one pitch a tooth whatever a ruler says; more than 1 % of scaling is refused.

    Parameters
    ----------
    points_mm : array of shape (points, 2)
        Forward and upward from the crank axis in mm, seen from the rider's right, in order around the ring.
    teeth : int

    Raises
    ------
    Refusal
        Too few or missing points, points in metres, a curve that crosses itself, is hollow, does not surround
        the crank axis or lies off its centre, or a perimeter that does not fit the teeth.
    """
    teeth = check_teeth(teeth, "teeth of the outline")
    points = _check_points(points_mm)
    _check_crossings(points)
    hull = scipy.spatial.ConvexHull(points)
    perimeter_mm = float(hull.area)  # in two dimensions SciPy's "area" is the length around
    _check_perimeter(perimeter_mm, teeth)
    hollow_mm = _deepest_hollow(points, hull)
    scale = teeth * CHAIN_PITCH_M * 1000 / perimeter_mm
    # In the ring's frame the second axis lies a quarter turn on in the pedalling direction: downward.
    corners = points[hull.vertices] * scale / 1000
    support = _polygon_support(corners[:, 0] - 1j * corners[:, 1])
    off_centre_mm = _off_centre(support)
    widest = widest_direction(support)
    return OutlineReading(
        ring=Ring(teeth, support.turned(widest)),
        major_axis_deg=(90.0 + math.degrees(widest))
        % 180.0,  # the drawing's first axis points forward, at 90°
        perimeter_mm=perimeter_mm,
        scale=scale,
        off_centre_mm=off_centre_mm,
        deepest_hollow_mm=hollow_mm,
        n_points=len(points),
    )


def _polygon_support(corners_m: np.ndarray) -> ArcSupport:
    """Support function of a convex polygon: a corner is an arc of no radius between its edges' normals."""
    ordered = corners_m[np.argsort(np.angle(corners_m - corners_m.mean()))]
    along = ordered - np.roll(ordered, 1)
    starts = np.angle(along / 1j) % (2 * math.pi)  # outward normal of the edge that ends at the corner
    order = np.argsort(starts)
    return ArcSupport(tuple(starts[order].tolist()), (0.0,) * starts.size, tuple(ordered[order].tolist()))


def _check_points(points_mm: ArrayLike) -> FloatArray:
    points = np.asarray(points_mm, dtype=float)
    if points.ndim != 2 or points.shape[1] != 2 or not np.all(np.isfinite(points)):
        raise Refusal(
            "points of the outline",
            f"an array of shape {points.shape} with {np.count_nonzero(~np.isfinite(points))} missing values",
            "two finite columns: forward and upward from the crank axis, in mm",
            "give one row a point and leave out points that were not measured",
        )
    if len(points) > 1 and np.array_equal(points[0], points[-1]):
        points = points[:-1]
    if len(points) < FEWEST_POINTS:
        raise Refusal(
            "points of the outline",
            f"{len(points)} points",
            f"at least {FEWEST_POINTS}, spread around the whole ring",
            "measure one point a tooth",
        )
    largest = float(np.abs(points).max())
    if largest < 1:
        raise Refusal(
            "points of the outline",
            f"distances up to {largest:.3g}",
            "millimetres",
            "multiply points given in metres by 1000",
        )
    return points


def _check_crossings(points: FloatArray) -> None:
    """Refuse a closed line that crosses itself: two edges of which each separates the ends of the other."""
    start, end = points, np.roll(points, -1, axis=0)

    def side(of: FloatArray) -> np.ndarray:
        along, to = (end - start)[:, None, :], of[None, :, :] - start[:, None, :]
        return np.sign(along[..., 0] * to[..., 1] - along[..., 1] * to[..., 0])

    separates = side(start) * side(end) < 0
    crossing = np.argwhere(separates & separates.T)
    if crossing.size:
        first, second = crossing[0] + 1
        raise Refusal(
            "points of the outline",
            f"a line that crosses itself between points {first} and {second}",
            "points in order around the ring",
            "sort the points by their angle around the crank axis, or remove the stray one",
        )


def _check_perimeter(perimeter_mm: float, teeth: int) -> None:
    wanted_mm = teeth * CHAIN_PITCH_M * 1000
    if abs(perimeter_mm / wanted_mm - 1) > PERIMETER_TOLERANCE:
        raise Refusal(
            "perimeter of the outline",
            f"{perimeter_mm:.1f} mm, which is {perimeter_mm / (CHAIN_PITCH_M * 1000):.2f} teeth",
            f"{wanted_mm:.1f} mm for {teeth} teeth, within {PERIMETER_TOLERANCE:.0%}",
            "check the teeth and the unit (mm), and measure the pin centres, not the tooth tips",
        )


def _deepest_hollow(points: FloatArray, hull: scipy.spatial.ConvexHull) -> float:
    # The equations of the hull's edges give minus the distance of an inner point.
    inside = -(points @ hull.equations[:, :2].T + hull.equations[:, 2]).max(axis=1)
    worst = int(np.argmax(inside))
    if inside[worst] > DEEPEST_HOLLOW_MM:
        raise Refusal(
            f"point {worst + 1} of the outline",
            f"a hollow of {inside[worst]:.2f} mm",
            f"a convex curve, within {DEEPEST_HOLLOW_MM} mm",
            "measure the point again; a ring that is hollow there leaves the chain unsupported",
        )
    return max(0.0, float(inside[worst]))


def _off_centre(support: ArcSupport) -> float:
    psi = np.linspace(0, 2 * math.pi, 720, endpoint=False)
    arm = support.value(psi)
    if arm.min() <= 0:
        raise Refusal(
            "points of the outline",
            "a curve that does not surround the point (0, 0)",
            "coordinates from the crank axis",
            "move the origin to the middle of the crank axis",
        )
    off_centre_mm = 1000 * abs(complex(2 * np.mean(arm * np.exp(1j * psi))))
    if off_centre_mm > LARGEST_OFF_CENTRE_MM:
        raise Refusal(
            "points of the outline",
            f"a curve whose middle lies {off_centre_mm:.1f} mm from the crank axis",
            f"at most {LARGEST_OFF_CENTRE_MM:g} mm",
            "move the origin to the middle of the crank axis",
        )
    return off_centre_mm
