"""What is seen from two places has a distance: where things stand, and the horizon anywhere."""

from logger.parallax.outline import Grid, Outline, best_rectangle, grid_over, outline_of, rectangle
from logger.parallax.place import Placed, Range, Surroundings, surroundings_of
from logger.parallax.rows import Rows, profile_angle_deg, shaded_share
from logger.parallax.swept import SweptPoint
