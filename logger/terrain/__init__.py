"""Elevation data in; the far horizon of a place, and true north from it, out."""

from logger.terrain.heights import Heights, licence_of, read_heights
from logger.terrain.north import NorthFix, north_from
from logger.terrain.skyline import FarHorizon, far_horizon
from logger.terrain.tiles import TileSource
from logger.terrain.use import with_terrain
