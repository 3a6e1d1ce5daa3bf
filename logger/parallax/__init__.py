"""What is seen from two places has a distance: where things stand, and the horizon anywhere."""

from logger.parallax.outline import Grid, Outline, best_rectangle, grid_over, outline_of, rectangle
from logger.parallax.place import (
    Placed,
    Range,
    Surroundings,
    surroundings_of,
    with_distances,
)
from logger.parallax.rows import Rows
from logger.parallax.swept import PositionedPoint
