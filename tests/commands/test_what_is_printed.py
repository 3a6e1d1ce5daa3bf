"""What a surveyor reads on the terminal is what is so: sides, signs, units and ranks."""

import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from logger.cli import main
from logger.safety import short_notice
from logger.survey.demo import shipped_survey

# WMM2025 test values (NOAA/BGS, table 6 of the model's report): date, km, latitude, longitude, then
# inclination and declination in degrees.
WMM_ROWS = [
    ("2025-01-01", 0.0, 80.0, 0.0, 83.21, 1.28),
    ("2025-01-01", 0.0, 0.0, 120.0, -14.93, -0.16),
    ("2025-01-01", 100.0, -80.0, -120.0, -72.19, 68.21),
]


def said(*words: object) -> str:
    done = CliRunner().invoke(main, [str(word) for word in words])
    assert done.exit_code in (0, 4), done.output
    return done.stdout


@pytest.mark.parametrize("row", WMM_ROWS)
def test_declination_names_the_side_of_the_model_s_published_values(row) -> None:
    date, km, latitude, longitude, dip, declination = row
    printed = said(
        "declination", "--latitude", latitude, "--longitude", longitude,
        "--altitude", km * 1000, "--date", date,
    )  # fmt: skip
    found = re.search(r"declination ([\d.]+)° (east|west)", printed)
    assert found
    signed = float(found[1]) * (1 if found[2] == "east" else -1)
    assert signed == pytest.approx(declination, abs=0.011)
    dip_printed = re.search(r"dip (-?[\d.]+)°", printed)
    assert dip_printed
    assert float(dip_printed[1]) == pytest.approx(dip, abs=0.011)


@pytest.mark.parametrize(
    ("latitude", "half", "facing"),
    [(-33.2, "southern", "north (0°)"), (46.05, "northern", "south (180°)")],
)
def test_a_new_job_tells_the_hemisphere_and_which_way_its_plane_faces(
    tmp_path, latitude, half, facing
) -> None:
    printed = said("new", tmp_path / "job", "--latitude", latitude, "--longitude", 18.9)
    assert f"{half} hemisphere" in printed
    assert f"facing {facing}" in printed
    assert f"tilt {abs(latitude):g}°" in printed


@pytest.mark.parametrize(
    "caution",
    [
        "Never look at the sun, and never sight along the board towards it.",
        "Keep back from roof edges and drops, and off fragile roofs and skylights.",
        "Never survey from a ladder: you need your hands to hold on.",
        "Keep the board, poles and ladders well clear of power lines.",
        "Stop for wind, rain, ice or lightning.",
        "Local codes and licensed professionals come before anything this program prints.",
    ],
)
def test_what_is_said_before_a_sweep(caution) -> None:
    # The usual cautions of the trade (common practice, no source).
    assert caution in short_notice()


@pytest.fixture(scope="module")
def job(tmp_path_factory) -> Path:
    return shutil.copytree(shipped_survey(), tmp_path_factory.mktemp("compared") / "job")


@pytest.fixture(scope="module")
def compared(job) -> str:
    return said("compare", job)


def test_compare_ranks_the_open_meadow_above_the_yard_by_what_the_yard_loses(compared) -> None:
    # An open level meadow keeps nearly all, the yard loses some 12 points more (exact skylines of
    # the invented scenes, recordings/three-alders.expected.json).
    found = re.search(
        r"ground frame: Solar access at meadow is ([\d.]+) points (higher|lower) than at yard",
        compared,
    )
    assert found
    assert found[2] == "higher"
    assert float(found[1]) == pytest.approx(11.8, abs=1.0)


def test_what_compare_prints_is_what_its_json_holds(job, compared) -> None:
    rows = re.findall(
        r"^(meadow|yard|walled garden) +(\d+\.\d) +(\d+\.\d) +(\d+\.\d) ", compared, re.M
    )
    told = [
        (at["point"], *(at["solar_access"][name] for name in ("value", "low", "high")))
        for plane in json.loads(said("compare", job, "--json", "-"))["planes"]
        for at in plane["points"]
    ]
    assert len(rows) == len(told) == 6
    for (point, *printed), (same, *held) in zip(rows, told, strict=True):
        assert point == same
        value, low, high = held
        assert low < value < high
        assert [float(number) for number in printed] == pytest.approx(
            [100 * share for share in held], abs=0.051
        )


def test_one_sky_one_recipe_and_the_planes_are_named_above_the_table(compared) -> None:
    head = compared.split("\n\n")[0]
    assert head.startswith("Sky: ")
    assert "Planes: ground frame, 35° facing 180°; barn roof, 20° facing 215°" in head
    assert "Settings: all as by default" in head
