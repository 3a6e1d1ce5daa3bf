"""All that is written of one point, beside each other in one folder."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from logger.files import json_text, write_atomically
from logger.horizon_csv import horizon_csv
from logger.profile import HorizonProfile
from logger.report.access_charts import monthly_access_chart
from logger.report.figures import plane_figures
from logger.report.monthly import monthly_table
from logger.report.sky_charts import sun_path_chart
from logger.report.style import save
from logger.report.tables import as_csv
from logger.site import Site
from logger.sun_paths import sun_paths


def write_point(
    folder: Path, document: Mapping[str, Any], profile: HorizonProfile, site: Site
) -> list[Path]:
    """Write a point's charts (PNG and SVG), monthly tables, horizon and result.

    Parameters
    ----------
    folder : Path
        Made if missing.
    document : mapping
        The documented result.
    profile : HorizonProfile
    site : Site

    Returns
    -------
    list of Path
        What was written, pictures first.

    Raises
    ------
    InputError
        The disk refuses.
    """
    point = str(document["point"])
    stem = point.replace(" ", "-")
    folder.mkdir(parents=True, exist_ok=True)
    planes = [plane_figures(p) for p in document["planes"]]
    year = int(document["assumptions"]["year"])
    pictures = {
        "sun-paths": sun_path_chart(sun_paths(site, year), profile, point),
        "months": monthly_access_chart(planes, point),
    }
    written = [
        save(figure, folder / f"{stem}-{what}.{ending}")
        for what, figure in pictures.items()
        for ending in ("png", "svg")
    ]
    texts = {f"{stem}-horizon.csv": horizon_csv(profile), f"{stem}.json": json_text(document)}
    for plane in planes:
        ending = "" if len(planes) == 1 else "-" + plane.name.replace(" ", "-").replace("/", "-")
        texts[f"{stem}-months{ending}.csv"] = as_csv(monthly_table(plane, point))
    for name, text in texts.items():
        write_atomically(folder / name, text)
        written.append(folder / name)
    return written
