"""What the horizon estimator is told beforehand; travels with every result."""

from __future__ import annotations

import math
from dataclasses import dataclass

from logger.errors import UsageError


@dataclass(frozen=True)
class HorizonSettings:
    """Assumptions and limits of the horizon estimator."""

    # Of the site, north positive: decides which sectors the sun crosses. None takes every
    # sector as crossed. [deg]
    latitude_deg: float | None = None
    step_deg: float = 0.25  # Spacing of the profile's grid; must divide 360. [deg]
    # Hand tremor and attitude noise of one direction along each axis, 1 sigma, assumed where
    # two passes do not show it. [deg]
    sight_noise_deg: float = 0.3
    # Time over which that noise is alike; slower sweeping averages more of it. [s]
    noise_time_s: float = 0.1
    # Error of the azimuth at which one pass has a slope or an edge, 1 sigma on the sky. [deg]
    across_noise_deg: float = 0.3
    row_noise_time_s: float = 0.08  # The same for an attitude found row by row, without a gyro. [s]
    # What differs from pass to pass but hardly along one: attitude drift. 1 sigma. [deg]
    pass_error_deg: float = 0.1
    # How far an operator traces above or below the true edge for a whole sweep, 1 sigma. [deg]
    tracing_bias_deg: float = 0.5
    turn_deg: float = 12.0  # A reversal of the sweep by more than this starts a new pass. [deg]
    steady_s: float = 0.5  # Time over which directions are averaged to follow the sweep round. [s]
    # Widest azimuth between neighbouring samples across which the skyline counts as seen. [deg]
    gap_deg: float = 3.0
    # Longest time between neighbouring samples across which the path counts as followed. [s]
    gap_s: float = 1.0
    ground_deg: float = -10.0  # A sight below this looks at the ground, not at a skyline. [deg]
    leaving_deg_s: float = 4.0  # Speed down to there and back up, at least. [deg/s]
    # A glance comes back this near to where it left, goes this far up or down, and does not
    # wander further round than this. [deg]
    loop_return_deg: float = 1.2
    loop_depth_deg: float = 4.0
    loop_wander_deg: float = 3.0
    # It lingers this much longer than the way takes, and is over by then. [s]
    loop_linger_s: float = 1.5
    loop_longest_s: float = 90.0
    # Shortest still hold before a press that makes a vertex, and the longest used. [s]
    hold_s: float = 0.8
    longest_hold_s: float = 4.0
    # Drift and scatter while holding still, at most, besides the rows' own jitter. [deg/s],
    # [deg]
    still_deg_s: float = 1.0
    still_deg: float = 0.5
    hold_noise_time_s: float = 0.3  # Time over which errors while holding still are alike. [s]
    # A recording held still for more than this share of its time is read corner by corner
    held_share: float = 0.3
    # How far the skyline may depart from the straight way between two vertices ten degrees or
    # more apart that are not the ends of a straight edge, 1 sigma. [deg]
    between_deg: float = 0.5
    # Vertices further apart are not joined unless a straight edge joins them. [deg]
    widest_join_deg: float = 40.0
    # What is expected of the lag between heading and elevation, the drift of a heading and the
    # turn of one recording against another, 1 sigma. [s], [deg/min], [deg]
    lag_prior_s: float = 0.2
    drift_prior_deg_per_min: float = 1.0
    turn_prior_deg: float = 1.0
    # Less than this is left alone. [s], [deg/min], [deg]
    least_lag_s: float = 0.015
    least_drift_deg_per_min: float = 0.15
    least_turn_deg: float = 0.3
    closing_rounds: int = 4  # Rounds of finding and removing them
    drift_limit_deg: float = 3.0  # Heading drift over a recording, at most. [deg]
    # Typical speed of the sight up or down a vertical edge; half of it counts as climbing.
    # [deg/s]
    climb_speed_deg_s: float = 12.0
    # A climb goes up or down at least this many degrees for every degree across
    climb_steepness: float = 2.2
    least_climb_deg: float = 2.5  # Lowest vertical edge worth keeping as an edge. [deg]
    # One pass may lean by this many times as much, if all passes of the edge do not
    doubtful_lean: float = 2.0
    # A climb higher than this is an edge even if one pass alone shows it upright. [deg]
    plain_climb_deg: float = 8.0
    # A climb that drifts further across than this is a slope, not an edge. [deg]
    edge_width_deg: float = 0.9
    # Pieces of one climb that tremor broke follow each other sooner than this. [s]
    break_s: float = 0.6
    break_deg: float = 1.0  # What tremor may add across within a climb. [deg]
    tall_lean: float = 0.05  # Besides that, an edge may drift across by this for every degree up
    edge_lean: float = 0.2  # So is one that drifts across by more than this for every degree up
    # Rows that jitter by more than this are those of an attitude without a gyro. [deg]
    jittery_deg: float = 0.15
    edge_error_deg: float = 0.5  # A climb whose azimuth is less sure than this is no edge. [deg]
    # Climbs of two passes at most this far apart can be one edge. [deg]
    edge_match_deg: float = 1.5
    # Window over which speeds are taken to find climbs; wider on noisy streams. [s]
    edge_window_s: float = 0.1
    # Second difference of the fitted skyline at one node that is typical of noise rather than
    # of a bend. [deg]
    bend_deg: float = 0.04
    rounds: int = 12  # Of reweighting
    # How far the circle is continued beyond north on both sides to close it. [deg]
    overlap_deg: float = 30.0
    stretch_deg: float = 5.0  # Passes are held against each other over stretches of this. [deg]
    # Between two edges nearer than this the top is held to slopes of about that, degrees up a
    # degree across. [deg]
    narrow_deg: float = 2.5
    narrow_slope: float = 0.2
    # A mark or note made in passing is off by about this time, 1 sigma. [s]
    reaction_s: float = 0.3
    # A note belongs to the mark pressed at most this long before it. [s]
    note_after_mark_s: float = 5.0
    # A label is moved to a vertical edge that is nearer than this many of its standard errors
    snap_sigmas: float = 2.0
    # Where no distance is known, what is tried to see how far an elevation may be off at
    # another height: for things, and for what is labelled terrain. [m]
    assumed_distance_m: float = 15.0
    assumed_terrain_m: float = 300.0
    # Recordings from heights further apart are not carried to one. [m]
    height_spread_m: float = 0.1
    height_doubt_deg: float = 0.25  # Less than this makes no difference. [deg]
    # Sun-crossed azimuth where the distance matters and is not known, at most. [deg]
    unknown_distance_limit_deg: float = 5.0
    unmeasured_limit_deg: float = 3.0  # Unmeasured azimuth that the sun crosses, at most. [deg]
    # Azimuth seen in one pass only that the sun crosses, at most. [deg]
    thin_limit_deg: float = 10.0
    # Two passes, averaged over a stretch, differ by about this at most from tremor. [deg]
    usual_difference_deg: float = 0.5
    disagreement_limit_deg: float = 2.0  # Two passes that differ by more than this disagree. [deg]
    # Azimuth that the sun crosses where passes disagree, at most. [deg]
    disagreeing_limit_deg: float = 10.0

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            value = getattr(self, name)
            if name == "latitude_deg":
                if value is not None and not -90.0 <= value <= 90.0:
                    raise UsageError(f"latitude {value:g} is outside -90 to 90 degrees")
            elif not math.isfinite(value) or (value < 0 and name != "ground_deg"):
                raise UsageError(f"horizon setting {name} must be a number of at least 0")
        cells = 360.0 / self.step_deg if self.step_deg > 0 else 0.0
        if not 36 <= cells <= 36000 or abs(cells - round(cells)) > 1e-9:
            raise UsageError(f"a grid step of {self.step_deg:g} degrees does not divide 360")
