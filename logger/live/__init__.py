"""A sweep while it happens: what the operator needs to know, ten times a second."""

from logger.live.session import LiveSession, LiveView

__all__ = ["LiveSession", "LiveView"]
