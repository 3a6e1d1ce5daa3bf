"""A moment as the page gets it: numbers and words, nothing to be run."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from typing import Any

import numpy as np

from logger.live.state import LiveState
from logger.site import Site


def moment_json(state: LiveState, number: int, run: str, refused: int) -> str:
    """One line of JSON; `run` and `number` are what a command must bring back."""
    horizon = state.horizon
    told: dict[str, Any] = {
        "run": run,
        "number": number,
        "title": state.title,
        "first": state.first,
        "warning": state.warnings[0].kind if state.warnings else "",
        "board": state.board,
        "figures": [[one.name, one.text, one.unit] for one in state.figures],
        "question": asdict(state.question) if state.question else None,
        "azimuth": _number(state.azimuth_deg),
        "elevation": _number(state.elevation_deg),
        "heights": [_number(v) for v in horizon.elevation_deg.tolist()] if horizon else [],
        "seen": "".join(map(str, horizon.seen.tolist())) if horizon else "",
        "missing": [[one.from_azimuth_deg, one.to_azimuth_deg] for one in state.missing],
        "told": list(state.panel),
        "facts": list(state.facts),
        "link": f"{state.counts.rate_hz:.0f} Hz, {state.counts.samples} measurements recorded, "
        f"{state.counts.lost} lost, {state.counts.damaged} damaged",
        "phase": state.phase,
        "recorder": state.phase not in ("asking", "over"),
        "elapsed": round(state.elapsed_s),
        "message": state.message,
        "allowed": state.allowed,
        "photos": bool(state.point) and state.phase == "recording",
        "middle": state.middle_deg,
        "refused": refused,
        "seq": state.counts.newest_seq,
    }
    return json.dumps(told, ensure_ascii=False, allow_nan=False)


def _number(value: float) -> float | None:
    return round(value, 1) if math.isfinite(value) else None


def sky_json(site: Site) -> str:
    """The sun's paths over a site, which the horizon is drawn over."""
    from logger.sun_paths import sun_paths

    paths = sun_paths(site)
    tracks = [
        [one.azimuth_deg[up].round(1).tolist(), one.elevation_deg[up].round(1).tolist()]
        for one in paths.tracks
        if (up := np.asarray(one.elevation_deg > 0)).any()
    ]
    return json.dumps({"tracks": tracks})
