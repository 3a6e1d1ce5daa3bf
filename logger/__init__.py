"""Turn a compass board swept along the skyline into solar access figures."""

__version__ = "0.1.0"
