"""What light the figures rest on."""

from __future__ import annotations

from dataclasses import dataclass

TYPICAL_YEAR, MONTHLY_MEANS, UNKNOWN_SKY = "typical year", "monthly means", "unknown"


@dataclass(frozen=True)
class Sky:
    """The light that figures rest on."""

    kind: str  # One of the three above
    source: str  # In words
    sha256: str | None = None  # Of the file it comes from, in hex

    @property
    def is_known(self) -> bool:
        """Whether energies can be told under it, and not shares alone."""
        return self.kind != UNKNOWN_SKY

    def __str__(self) -> str:
        return self.source if self.is_known else f"sky {self.source}"
