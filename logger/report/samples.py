"""Every sample as a row of CSV, for a close look."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from logger.sightlines import SightLines


def samples_csv(sights: Sequence[SightLines]) -> str:
    """One row a measuring instant, in the columns that the documentation fixes.

    Parameters
    ----------
    sights : sequence of SightLines
        One a recording.
    """
    lines = ["t_s,azimuth_deg,elevation_deg,tilt_deg,used,reason"]
    for sight in sights:
        for t, a, e, r, used, reason in zip(
            sight.t_s,
            sight.azimuth_deg,
            sight.elevation_deg,
            sight.tilt_deg,
            sight.used,
            sight.reason,
            strict=True,
        ):
            numbers = ",".join(
                f"{v:.{d}f}" if np.isfinite(v) else "" for v, d in ((a, 4), (e, 4), (r, 3))
            )
            lines.append(f"{t:.4f},{numbers},{int(used)},{_csv_text(str(reason))}")
    return "\n".join(lines) + "\n"


def _csv_text(text: str) -> str:
    return f'"{text}"' if "," in text or '"' in text else text
