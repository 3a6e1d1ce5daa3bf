"""What a surveyor reads on the terminal is what is so: sides, signs, units and ranks."""

import json
import re
import shutil
from itertools import pairwise
from pathlib import Path

import pvlib
import pytest
from click.testing import CliRunner

from logger.cli import main
from logger.safety import short_notice
from logger.survey.demo import shipped_survey

INDEX, COLLIMATION = 0.5, -0.35
"""Of the virtual board that the shipped survey was swept with. [deg]"""


def said(*words: object) -> str:
    done = CliRunner().invoke(main, [str(word) for word in words])
    assert done.exit_code in (0, 4), done.output
    return done.stdout


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
        r"ground frame: Solar access at meadow is about ([\d.]+) percentage points (higher|lower) "
        r"than at yard",
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


# What a command prints of the shipped survey, and what of it must be so: numbers with the bounds
# that the invented scenes and the virtual board give them (recordings/make.py).
CALIBRATION = "{job}/calibrations/20260514T06"
PRINTED = {
    "replay": (
        "{job} yard",
        r"out of sight for part of the time in (\d+) of 12 months", (5, 5),
        # A house in the east, a block in the south-east, trees in the south-west: as in the scene.
        r"Dec: 9:00 to 9:(\d\d) by gable house; 9:5\d to 11:\d\d by corner block; .* by lime trees",
        (25, 35),
        r"^year +(\d+\.\d) ", (85.8, 87.8),
        r"declination \+(\d\.\d\d)°", (4.6, 4.8),  # WMM2025 there and then
    ),
    "settings": (
        "{job}",
        r"^draws = (\d+)  \(0 to 100,000\)", (1000, 1000),
        r"^solar_window = 9,(\d+)  \(0 to 24 h\)", (15, 15),
        r"^reflectance = (0\.\d+)", (0.2, 0.2),
    ),
    "edit": ("list {job}", r"^no changes$"),
    "calibrate compass": (
        "{job} --recording " + CALIBRATION + "2000Z-compass.sweep",
        r"the heading is good to (\d\.\d\d)° \(95 %\)", (0.1, 1.5),
        r"strength ([\d.]+) µT and dip", (46.0, 50.0),
        r"against ([\d.]+) µT and 62\.7° of WMM2025 for 2026-05-14", (48.3, 48.5),
    ),
    "calibrate level": (
        "{job} --recording " + CALIBRATION + "2400Z-level.sweep",
        r"index \+(\d\.\d\d)° ±", (INDEX - 0.1, INDEX + 0.1),
        r"collimation (-\d\.\d\d)° ±", (COLLIMATION - 0.15, COLLIMATION + 0.15),
    ),
    "calibrate bearing": (
        "{job} --recording " + CALIBRATION + "2800Z-bearing.sweep --target 224",
        r"(\d) sights of a target at 224\.00°", (3, 3),
        r"the compass is still \+(\d\.\d\d)° off", (0.2, 0.8),  # half a degree was put in
    ),
    "weather": (
        "{job} {data}/723170TYA.CSV",
        r"^Sky: typical year 723170TYA\.CSV .*, SHA-256 1e96f84638ce98e6",
    ),
    "assess": (
        "{horizon} --latitude 46 --longitude 14.5 --tilt 35 --azimuth 180",
        r"Dec: .* to 1(\d):\d\d by barn", (3, 3),  # to 200 degrees: soon after one o'clock
        r"plane: tilt 35°, azimuth (\d+)°", (180, 180),
        # The December sun is behind a barn of 30 degrees at noon, at 20.6 degrees: half is lost.
        r"^Dec +(\d+\.\d) ", (40, 60),
        r"^Jun +(\d+\.\d) ", (94, 98),
    ),
}  # fmt: skip


@pytest.mark.parametrize("command", PRINTED)
def test_what_is_printed_is_so(tmp_path_factory, command) -> None:
    folder = tmp_path_factory.mktemp("printed")
    job = shutil.copytree(shipped_survey(), folder / "job")
    horizon = folder / "barn.csv"
    rows = (f"{a},{30 if 150 <= a < 200 else 5},{'barn' if 150 <= a < 200 else ''}\n"
            for a in range(0, 360, 5))  # fmt: skip
    horizon.write_text("azimuth_deg,elevation_deg,obstruction\n" + "".join(rows))
    words, *wanted = PRINTED[command]
    data = Path(pvlib.__file__).parent / "data"
    arguments = [word.format(job=job, horizon=horizon, data=data) for word in words.split()]
    printed = said(*command.split(), *arguments)
    for pattern, bounds in pairwise([*wanted, None]):
        if isinstance(pattern, str):
            found = re.search(pattern, printed, re.M)
            assert found, f"{pattern} is not in:\n{printed}"
            if isinstance(bounds, tuple):
                assert bounds[0] <= float(found[1]) <= bounds[1], found[0]
