"""A picture of every scene: raw sight lines, the truth, the estimate and its band.

Run it with ``python benchmarks/accuracy_pictures.py --output DIR``; ``--scene`` and ``--operator``
pick some. The picture in docs/horizon.md is made by

    python benchmarks/accuracy_pictures.py --scene street-with-mast --operator brisk \
        --output docs/pictures
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from accuracy import OPERATORS, SENSOR, calibrated, horizon_of
from matplotlib.figure import Figure

from logger.horizon_fit import HorizonResult
from logger.report.charts import BAND, INK, QUIET, SUN, house_style
from logger.simulation import SCENES, Scene, scene_named, simulate_sweep

DETAIL = {
    "street": (180.0, 222.0),
    "street-with-mast": (148.0, 222.0),
    "forest-edge": (90.0, 150.0),
    "courtyard": (150.0, 240.0),
}
"""A part worth a closer look. [deg]"""


def swept(scene: Scene, operator: str, seed: int) -> HorizonResult:
    sensor = replace(SENSOR, individual=seed + 1)
    made = simulate_sweep(scene, OPERATORS[operator], sensor, seed=seed)
    return horizon_of(made, calibrated(sensor, "AMG"), gyro=True)


def draw(axes: Any, scene: Scene, result: HorizonResult, part: tuple[float, float]) -> None:
    close = part[1] - part[0] < 120.0
    for one in result.passes:
        turned = np.mod(one.path_deg, 360.0)
        label = "sight lines, both passes" if one is result.passes[0] else None
        size = 2.2 if close else 1.2
        axes.plot(turned, one.elevation_deg, ".", color=QUIET, ms=size, mew=0, label=label)
    profile = result.profile
    band = 1.96 * np.hypot(np.nan_to_num(profile.standard_error_deg), profile.level_error_deg)
    low, high = profile.elevation_deg - band, profile.elevation_deg + band
    axes.fill_between(profile.azimuth_deg, low, high, color=BAND, alpha=0.45, lw=0,
                      label="95 % band of the elevation")  # fmt: skip
    truth = scene.truth()
    axes.plot(truth.azimuth_deg, truth.elevation_deg, color=INK, lw=1.0, label="truth")
    axes.plot(profile.azimuth_deg, profile.elevation_deg, color=SUN, lw=1.1, ls=(0, (4, 1.5)),
              label="estimate")  # fmt: skip
    inside = (truth.azimuth_deg >= part[0]) & (truth.azimuth_deg <= part[1])
    top = max(truth.elevation_deg[inside].max() * 1.12, truth.elevation_deg[inside].max() + 4.0)
    axes.set(xlim=part, ylim=(0.0, min(top, 90.0)))
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_ylabel("elevation [°]")


def picture(scene: Scene, operator: str, seed: int) -> Figure:
    result = swept(scene, operator, seed)
    parts = [(0.0, 360.0)]
    key = scene.name.replace(" ", "-")
    if key in DETAIL:
        parts.append(DETAIL[key])
    figure = Figure(figsize=(7.4, 2.9 * len(parts) + 0.3), layout="constrained")
    panels = np.atleast_1d(figure.subplots(len(parts), 1))
    for axes, part in zip(panels, parts, strict=True):
        draw(axes, scene, result, part)
    panels[0].set_title(f"{scene.name}, {operator} operator, seed {seed}: simulated", loc="left")
    panels[0].set_xticks(np.arange(0, 361, 45))
    panels[-1].set_xlabel("azimuth from true north [°]")
    handles, labels = panels[0].get_legend_handles_labels()
    figure.legend(
        handles, labels, loc="outside lower center", ncols=4, frameon=False, markerscale=5
    )
    return figure


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n", maxsplit=1)[0])
    parser.add_argument("--scene", choices=[*SCENES], action="append")
    parser.add_argument("--operator", choices=[*OPERATORS], action="append")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--output", type=Path, required=True)
    asked = parser.parse_args()
    asked.output.mkdir(parents=True, exist_ok=True)
    for name in asked.scene or SCENES:
        for operator in asked.operator or OPERATORS:
            with house_style():
                figure = picture(scene_named(name, asked.seed), operator, asked.seed)
                path = asked.output / f"horizon-{name}-{operator}.png"
                figure.savefig(path, dpi=150, metadata={"Software": None})
            print(path)


if __name__ == "__main__":
    main()
