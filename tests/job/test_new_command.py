"""``horizon-logger new`` as it is typed."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from logger.cli import main
from logger.job import read_job
from logger.site import Site


def ran(folder: Path, *arguments: object) -> tuple[int, list[str], str]:
    done = CliRunner().invoke(main, ["new", str(folder), *map(str, arguments)])
    return done.exit_code, done.stdout.splitlines(), " ".join(done.stderr.split())


@pytest.mark.parametrize(
    ("latitude", "longitude", "site", "half", "faces"),
    [
        ("46°03'N", "14.51E", Site(46.05, 14.51), "northern hemisphere", "south (180°)"),
        ("46,05", "14,51", Site(46.05, 14.51), "northern hemisphere", "south (180°)"),
        ("-46.05", "14.51", Site(-46.05, 14.51), "southern hemisphere", "north (0°)"),
        ("0", "14.51", Site(0.0, 14.51), "on the equator", "south (180°)"),
    ],
)
def test_place_hemisphere_and_the_stand_in_plane_are_told(
    tmp_path: Path, latitude: str, longitude: str, site: Site, half: str, faces: str
) -> None:
    code, out, err = ran(tmp_path / "barn", "--latitude", latitude, "--longitude", longitude)
    assert code == 0
    assert read_job(tmp_path / "barn").site == site
    assert out[1].endswith(half)
    assert out[3].endswith(f"tilt {abs(site.latitude_deg):g}°, facing {faces}")
    assert err == f"next: horizon-logger calibrate compass {tmp_path / 'barn'} --port URL"


def test_planes_are_told_by_name_and_direction(tmp_path: Path) -> None:
    place = ("--latitude", 46.05, "--longitude", 14.51, "--altitude", 310)
    code, out, _ = ran(tmp_path / "barn", *place, "--plane", "east roof=35,95")
    assert code == 0
    assert out[1] == "place: 46.05° N, 14.51° E, 310 m above the sea, northern hemisphere"
    assert out[3] == "plane: east roof, tilt 35°, facing east (95°)"


def test_declination_is_told_with_its_side(tmp_path: Path) -> None:
    # WMM2025 gives between 4 and 6° east at 46° N 15° E, and 24 to 30° west at the Cape, in its
    # years (NOAA NCEI's calculator; values from memory).
    _, here, _ = ran(tmp_path / "a", "--latitude", 46.05, "--longitude", 14.51)
    _, cape, _ = ran(tmp_path / "b", "--latitude", -33.9, "--longitude", 18.4)
    assert here[2].startswith(("declination: 4.", "declination: 5."))
    assert "° east (WMM2025" in here[2]
    assert cape[2].startswith("declination: 2")
    assert "° west (WMM2025" in cape[2]


def test_a_place_that_does_not_fit_the_time_zone_is_doubted_and_made(tmp_path: Path) -> None:
    swapped = ("--latitude", 14.51, "--longitude", 46.05, "--timezone", "Europe/Ljubljana")
    code, _, err = ran(tmp_path / "barn", *swapped)
    assert code == 0
    assert "doubt: 14.51° N, 46.05° E is" in err
    assert "Is it 46.05° N, 14.51° E? Put it right under [site] in job.toml." in err
    assert (tmp_path / "barn" / "job.toml").exists()
