"""Every key of the shipped calibrations and of a job, changed in one value: refused, or as good.

A file that a person or a program has spoilt in one place is told by file and key, with what would
do; nothing that cannot be is believed, and nothing ends in a traceback.
"""

from __future__ import annotations

import copy
import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import tomlkit
from click.testing import CliRunner

from logger.calibration import read_calibration
from logger.cli import main
from logger.errors import InputError
from logger.job import read_job
from logger.survey.demo import shipped_survey

CALIBRATIONS = sorted((shipped_survey() / "calibrations").glob("*.json"))
MAY_BE_NULL = ("temperature_c", "value", "limit", "rate_bias_deg_s", "rate_matrix")
"""What a board without thermometer or gyro, and a check without a number, really lack."""
JOB: dict[str, Any] = {
    "site": {"latitude_deg": 46.05, "longitude_deg": 14.51, "altitude_m": 310.0,
             "name": "Hillside barn", "timezone": "Europe/Ljubljana"},
    "settings": {"year": 2026, "solar_window": [9.0, 15.0], "draws": 200, "use_gyro": True,
                 "transposition": "haydavies", "turbidity": 3.0, "magnetic_model": "new.cof"},
    "weather": {"file": "weather/year.epw", "sha256": 64 * "a"},
    "port": {"url": "socket://127.0.0.1:3000", "baud": 115200},
    "people": {"surveyor": "A. Example"},
    "board": {"serial_number": "V2026"},
    "rules": {"minimum_solar_access": 0.8, "minimum_window_clear": 0.7,
              "minimum_total_solar_resource_fraction": 0.75, "source": "an invented programme"},
    "planes": [{"name": "roof", "tilt_deg": 35.0, "azimuth_deg": 170.0, "size_kwp": 6.4,
                "outline": [[0.0, 0.0, 3.0], [8.0, 0.0, 3.0], [8.0, 4.0, 6.0]],
                "tilt_error_deg": 0.4, "azimuth_error_deg": 1.2, "measured_from": "a.sweep"}],
    "points": [{"name": "eave", "sight_height_m": 1.6, "module_height_m": 4.2, "east_m": 1.0,
                "north_m": -2.0, "up_m": 0.5, "position_error_m": 0.3, "planes": ["roof"]}],
    "obstructions": [{"name": "lime", "kind": "deciduous", "point": "eave", "distance_m": 25.0,
                      "from_azimuth_deg": 171.0, "to_azimuth_deg": 189.0, "removable": True,
                      "when": "2026-05-15T07:30:00Z"}],
    "edits": [
        {"kind": "exclude-span", "point": "eave", "recording": "a.sweep", "from_s": 1.0,
         "to_s": 2.0, "who": "A. Example", "when": "2026-05-15T07:30:00Z", "why": "a lorry"},
        {"kind": "set-sector", "point": "eave", "from_azimuth_deg": 10.0, "to_azimuth_deg": 20.0,
         "from_elevation_deg": 5.0, "to_elevation_deg": 6.0, "standard_error_deg": 0.5,
         "who": "A. Example", "when": "2026-05-15T07:30:00Z", "why": "a lorry"},
    ],
}  # fmt: skip
STANDS_AS_WELL: dict[str, tuple[Any, ...]] = {
    **dict.fromkeys(("settings", "port", "people", "board", "rules"), ({},)),
    **dict.fromkeys(("planes", "points", "obstructions", "edits", "outline"), ([],)),
    "solar_window": ([1, 2],),
}
"""Tables that may be empty, and a list of two that is one."""
WORSE: dict[str, tuple[Any, ...]] = {
    "field_ut": (0,),
    "index_deg": (90,),
    "made": ("0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "soon"),
    "when": ("0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "soon"),
    "sha256": ("b",),
}
Path_ = tuple[str | int, ...]


def values_in(plain: Any, path: Path_ = ()) -> Iterator[tuple[Path_, Any]]:
    """Every value of a file, tables and lists included, with the keys that lead to it."""
    if path:
        yield path, plain
    if isinstance(plain, (dict, list)):
        for key, value in plain.items() if isinstance(plain, dict) else enumerate(plain):
            yield from values_in(value, (*path, key))


def spoilt_for(path: Path_, value: Any) -> Iterator[Any]:
    """Values that can never stand there."""
    yield from ("much", [1, 2], 1e308, {}) if not isinstance(value, str) else (3, [1, 2], {}, True)
    if isinstance(value, bool):
        yield from ("false", 0)
    elif isinstance(value, (int, float)):
        yield from (-1e308, float("nan"), True, str(value))
    elif isinstance(value, list):
        yield from ([], [*value, "much"], {"a": value[0]}, "much")
    names = [key for key in path if isinstance(key, str)]
    if "error" in names[-1] and isinstance(value, float) and path[0] != "quality":
        yield -value
    yield from WORSE.get(names[-1], ())


def changed(plain: Any, path: Path_, value: Any) -> Any:
    """A copy of a file with one value put in place of another, or taken out."""
    whole = copy.deepcopy(plain)
    inner = whole
    for key in path[:-1]:
        inner = inner[key]
    if value is ...:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return whole


def outcome(read: Callable[[], object], path: Path_) -> str:
    """What a reader makes of a spoilt file."""
    try:
        read()
    except InputError as error:
        key = [key for key in path if isinstance(key, str)][-1]
        told = f"{error} {error.hint}"
        named = key in told or str(path[0]) in told
        return "refused" if named and error.hint and error.exit_code == 3 else f"unclear: {told}"
    except Exception as error:
        return f"traceback: {error!r}"
    return "believed"


def one_value_edits(plain: Any, nullable: bool) -> Iterator[tuple[Path_, Any]]:
    for path, value in values_in(plain):
        for spoilt in spoilt_for(path, value):
            if spoilt not in STANDS_AS_WELL.get(str(path[-1]), ()):
                yield path, spoilt
        if nullable and not {str(key) for key in path} & set(MAY_BE_NULL):
            yield path, None
            if isinstance(path[-1], str) and path[:-1] != ("figures",):
                yield path, ...


@pytest.mark.parametrize("path", CALIBRATIONS, ids=lambda path: path.stem[17:])
def test_a_calibration_changed_in_one_value_is_refused_by_file_and_key(
    path: Path, tmp_path: Path
) -> None:
    plain = json.loads(path.read_text())
    assert read_calibration(path)
    file, found = tmp_path / path.name, []
    for keys, value in one_value_edits(plain, nullable=True):
        file.write_text(json.dumps(changed(plain, keys, value)))
        found.append((keys, value, outcome(lambda: read_calibration(file), keys)))
    assert len(found) > 300
    assert [one for one in found if one[2] != "refused"] == []


def test_a_spoilt_calibration_ends_a_command_with_its_name_and_what_to_do(tmp_path: Path) -> None:
    job = shutil.copytree(shipped_survey(), tmp_path / "alders")
    path = job / "calibrations" / CALIBRATIONS[-1].name
    path.write_text(json.dumps(json.loads(path.read_text()) | {"made": "yesterday"}))
    done = CliRunner().invoke(main, ["replay", str(job), "yard"])
    told = " ".join(done.stderr.split())
    assert done.exit_code == 3
    assert f"{path}: made is 'yesterday' try: a date and time of the years 1970 to 2200" in told
    assert "or delete the file and calibrate again" in told


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    recording = tmp_path / "sweeps" / "eave" / "a.sweep"
    recording.parent.mkdir(parents=True)
    recording.touch()
    return tmp_path


def test_a_job_changed_in_one_value_is_refused_by_file_and_key(folder: Path) -> None:
    file, found = folder / "job.toml", []
    file.write_text(tomlkit.dumps(JOB))
    assert read_job(folder).edits
    for keys, value in one_value_edits(JOB, nullable=False):
        file.write_text(tomlkit.dumps(changed(JOB, keys, value)))
        found.append((keys, value, outcome(lambda: read_job(folder), keys)))
    assert len(found) > 500
    assert [one for one in found if one[2] != "refused"] == []


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a." * 3000 + "a = 1\n", "job.toml"),
        ("[settings]\nyear" + ".a" * 3000 + " = 1\n", "job.toml"),
        ("[people]\na" + ".a" * 3000 + " = 1\n", "job.toml"),
        (2000 * "[[planes]]\nname='a'\ntilt_deg=1\nazimuth_deg=1\n", "planes is 2000 things"),
        ("[rules]\nminimum_solar_access = 75\n", "minimum_solar_access is 75, outside 0 to 1"),
        ("[rules]\nminimum_fun = 1\n", "rules: there is no key 'minimum_fun'"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("command", [("compare",), ("edit", "list"), ("report",)])
def test_a_job_that_makes_no_sense_ends_any_command_in_a_sentence(
    folder: Path, text: str, words: str, command: tuple[str, ...]
) -> None:
    (folder / "job.toml").write_text(text + "[site]\nlatitude_deg = 46\nlongitude_deg = 14\n")
    done = CliRunner().invoke(main, [*command, str(folder)])
    assert done.exit_code == 3
    assert done.stderr.startswith("error: ")
    assert words in " ".join(done.stderr.split())


@pytest.mark.parametrize("text", ["a." * 3000 + "a = 1\n", "[people]\na" + ".a" * 3000 + " = 1\n"])
def test_what_is_nested_too_deeply_to_be_changed_is_said_so(folder: Path, text: str) -> None:
    (folder / "job.toml").write_text(text)
    done = CliRunner().invoke(main, ["edit", "undo", str(folder)])
    assert done.exit_code == 3
    assert "cannot be changed" in done.stderr
