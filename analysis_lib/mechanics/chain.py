"""The chain: both runs, the wrap on both wheels, and what an oval ring takes up and gives back in a turn."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis_lib.mechanics.drivetrain import Drivetrain
from analysis_lib.mechanics.periodic import crank_angles
from analysis_lib.mechanics.ring import FloatArray
from analysis_lib.mechanics.sprocket import CHAIN_PITCH_M, chordal_speed_variation
from analysis_lib.refusals import Refusal

LEAST_WRAP_DEG = 120.0
"""Least wrap on a chain wheel (common practice in chain design, no source read)."""

CAUTION = (
    "Geometry only: wear, stretch, links, derailleur capacity and bent parts are not in it. The makers' "
    "instructions for ring, chain, derailleur and frame come first. Set the front derailleur at the ring's "
    "highest point, turn the cranks by hand through ten turns in every gear before riding, and use a "
    "tensioner on a drive of two wheels whose slack changes."
)

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)


@dataclass(frozen=True)
class ChainTurn:
    """The chain through one turn of the crank, on a taut loop around ring and sprocket.

    Attributes
    ----------
    crank_rad : array of shape (angles,)
    ring_wrap_rad, sprocket_wrap_rad : arrays of shape (angles,)
        Angle through which the chain lies on the ring and on the sprocket.
    upper_run_m, lower_run_m : arrays of shape (angles,)
        Length of the straight runs between the points of contact.
    loop_m : array of shape (angles,)
        Length of the taut loop.
    ring_top_m : array of shape (angles,)
        Height of the ring's highest point above the crank axis.
    chordal_ripple : tuple of float
        Relative dip of chain speed within a tooth, on the ring and on the sprocket.
    """

    crank_rad: FloatArray
    ring_wrap_rad: FloatArray
    sprocket_wrap_rad: FloatArray
    upper_run_m: FloatArray
    lower_run_m: FloatArray
    loop_m: FloatArray
    ring_top_m: FloatArray
    chordal_ripple: tuple[float, float]

    @property
    def take_up_mm(self) -> float:
        """Chain that the lower run takes up and gives back within a turn, in mm."""
        return 1000 * float(np.ptp(self.loop_m))

    @property
    def top_swing_mm(self) -> float:
        """Rise and fall of the ring's highest point within a turn, in mm; for an ellipse a − b."""
        return 1000 * float(np.ptp(self.ring_top_m))

    @property
    def least_sprocket_wrap_deg(self) -> float:
        """Smallest wrap on the sprocket, in degrees."""
        return math.degrees(float(self.sprocket_wrap_rad.min()))

    def sentence(self) -> str:
        """What the chain does in a turn, in words."""
        wrap = self.least_sprocket_wrap_deg
        enough = "at least" if wrap >= LEAST_WRAP_DEG else "less than"
        return (
            f"Within a turn the lower run takes up and gives back {self.take_up_mm:.1f} mm of chain and the "
            f"top of the ring rises and falls by {self.top_swing_mm:.1f} mm; the chain lies on {wrap:.0f}° "
            f"of the sprocket or more ({enough} the customary {LEAST_WRAP_DEG:.0f}°). {CAUTION}"
        )


def follow_chain(drivetrain: Drivetrain, angles: int = 360) -> ChainTurn:
    """Follow a taut loop of chain around ring and sprocket through one turn of the crank.

    With normals β of the upper and λ of the lower run, the loop on the ring is ∫(H + H'') dψ between the two
    points of contact, the runs are L·cos ± H', and the derivatives cancel:

        loop = ∫ H dψ + L·[cos(β − s) − cos(λ − s)] + r·(2π − (λ − β)).

    Parameters
    ----------
    drivetrain : Drivetrain
    angles : int
        Number of equally spaced crank angles.

    Examples
    --------
    Two equal wheels of 17 teeth, 410 mm apart: 2·410 + 17·12.7 = 1035.9 mm at every angle.

    >>> from analysis_lib.mechanics.ring import Ring
    >>> turn = follow_chain(Drivetrain(Ring.round(17), sprocket_teeth=17))
    >>> round(float(turn.loop_m[0]) * 1000, 6), round(turn.take_up_mm, 6)
    (1035.9, 0.0)
    """
    crank = crank_angles(angles)
    ring, slope, stay = drivetrain.ring, drivetrain.chainstay_slope_rad, drivetrain.chainstay_m
    first, last = drivetrain.ring_angle(crank), drivetrain.ring_angle(crank, "lower")
    upper, lower = drivetrain.normal_at(first), drivetrain.normal_at(last, "lower")
    wrap = lower - upper
    upper_straight, lower_straight = stay * np.cos(upper - slope), -stay * np.cos(lower - slope)
    sprocket_wrap = 2 * math.pi - wrap
    loop = _integral_of_support(drivetrain, first, last) + upper_straight + lower_straight
    return ChainTurn(
        crank_rad=crank,
        ring_wrap_rad=wrap,
        sprocket_wrap_rad=sprocket_wrap,
        upper_run_m=upper_straight + ring.support_slope(first),
        lower_run_m=lower_straight - ring.support_slope(last),
        loop_m=loop + drivetrain.sprocket_radius_m * sprocket_wrap,
        ring_top_m=ring.support(-crank - math.radians(drivetrain.mount_deg)),
        chordal_ripple=(
            chordal_speed_variation(ring.teeth),
            chordal_speed_variation(drivetrain.sprocket_teeth),
        ),
    )


def _integral_of_support(drivetrain: Drivetrain, first: FloatArray, last: FloatArray) -> FloatArray:
    half = (last - first)[:, None] / 2
    psi = (last + first)[:, None] / 2 + half * _NODES
    return (drivetrain.ring.support(psi) * half) @ _WEIGHTS


@dataclass(frozen=True)
class FixedDrive:
    """Slack of a drive of two wheels without a tensioner, through one turn.

    Attributes
    ----------
    links : int
        Pitches in the chain.
    slack_mm : array of shape (angles,)
        Chain length beyond the taut loop; negative where the chain is too short.
    chainstay_m : float
    """

    links: int
    slack_mm: FloatArray
    chainstay_m: float

    @property
    def closes(self) -> bool:
        """Whether the chain is long enough at every angle."""
        return float(self.slack_mm.min()) >= 0

    @property
    def least_slack_mm(self) -> float:
        """Slack at the tightest angle."""
        return float(self.slack_mm.min())

    @property
    def most_sag_mm(self) -> float:
        """Sag of the middle of the lower run at the slackest angle.

        A shallow hanging run of span l with excess s sags by √(3·l·s/8) (parabola); the span is taken as the
        distance of the axles.
        """
        return math.sqrt(max(0.0, 3 * self.chainstay_m * 1000 * float(self.slack_mm.max()) / 8))

    def sentence(self, most_sag_mm: float) -> str:
        """Verdict in words, against the sag allowed (common practice 10 to 20 mm, no source)."""
        if not self.closes:
            return (
                f"A chain of {self.links} links is too short by {-self.least_slack_mm:.1f} mm at the "
                f"tightest angle and binds. {CAUTION}"
            )
        verdict = "runs" if self.most_sag_mm <= most_sag_mm else "may drop"
        return (
            f"A chain of {self.links} links {verdict} without a tensioner: slack {self.least_slack_mm:.1f} "
            f"to {self.slack_mm.max():.1f} mm within a turn, sag of the lower run up to "
            f"{self.most_sag_mm:.0f} mm (allowed {most_sag_mm:g} mm). {CAUTION}"
        )


def fix_chain(drivetrain: Drivetrain, links: int) -> FixedDrive:
    """Slack through a turn of a chain of `links` pitches on two wheels at a fixed distance.

    Parameters
    ----------
    drivetrain : Drivetrain
    links : int
        An even number of pitches: inner and outer links alternate.

    Raises
    ------
    Refusal
        An odd or impossible number of links.
    """
    loop = follow_chain(drivetrain).loop_m
    fits = math.ceil(float(loop.max()) / CHAIN_PITCH_M / 2) * 2
    if isinstance(links, bool) or links != int(links) or links % 2 or not fits / 2 < links < 2 * fits:
        raise Refusal(
            "links",
            repr(links),
            f"an even whole number; {fits} is the shortest chain that closes here",
            "count the pitches of the chain",
        )
    return FixedDrive(int(links), 1000 * (links * CHAIN_PITCH_M - loop), drivetrain.chainstay_m)
