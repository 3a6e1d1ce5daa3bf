"""Places as people write them."""

import pytest

from logger.errors import UsageError
from logger.places import angle_of, direction, doubt, place_words
from logger.site import Site


@pytest.mark.parametrize(
    ("text", "letters", "degrees"),
    [
        ("46.05", "NS", 46.05),
        ("46,05", "NS", 46.05),
        ("-46.05", "NS", -46.05),
        ("−46.05", "NS", -46.05),
        ("+14.51", "EW", 14.51),
        ("46.05N", "NS", 46.05),
        ("N 46.05", "NS", 46.05),
        ("33.9 s", "NS", -33.9),
        ("14.51E", "EW", 14.51),
        ("14,51°W", "EW", -14.51),
        ("46°03'N", "NS", 46.05),
        ("46°03′00″N", "NS", 46.05),
        ("46° 3' 36\" S", "NS", -46.06),
        ("14d30m36s W", "EW", -14.51),
        ("14°30.6'E", "EW", 14.51),
        ("14°30'36''", "EW", 14.51),
        ("0", "EW", 0.0),
        ("180", "EW", 180.0),
    ],
)
def test_degrees_are_read_as_people_write_them(text: str, letters: str, degrees: float) -> None:
    assert angle_of(text, letters) == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "no angle"),
        ("north", "no angle"),
        ("46.05.1", "no angle"),
        ("nan", "no angle"),
        ("1e2", "no angle"),
        ("46 O", "no angle"),
        ("1234", "no angle"),
        ("14.51E", "is a longitude"),
        ("-46N", "in front and one behind"),
        ("46°60'N", "end at 60"),
        ("46.5°30'N", "only the last has decimals"),
    ],
)
def test_what_is_no_latitude_is_refused_with_how_to_write_it(text: str, why: str) -> None:
    with pytest.raises(UsageError, match=why):
        angle_of(text, "NS")


@pytest.mark.parametrize(
    ("place", "timezone", "meant"),
    [
        ((46.05, 14.51), "Europe/Ljubljana", None),
        ((14.51, 46.05), "Europe/Ljubljana", "46.05° N, 14.51° E"),
        ((46.05, -14.51), "Europe/Ljubljana", "46.05° N, 14.51° E"),
        ((-46.05, 14.51), "Europe/Ljubljana", "46.05° N, 14.51° E"),
        ((-46.05, -14.51), "Europe/Ljubljana", "46.05° N, 14.51° E"),
        ((33.9, 151.2), "Australia/Sydney", "33.9° S, 151.2° E"),
        ((-33.9, -70.7), "America/Santiago", None),
        ((-33.9, 70.7), "America/Santiago", "33.9° S, 70.7° W"),
        # Far from the zone's own town, and right all the same.
        ((43.4, -8.4), "Europe/Madrid", None),
        ((39.5, 76.0), "Asia/Shanghai", None),
        ((30.3, -97.7), "America/Chicago", None),
        ((-77.8, 166.7), "America/Chicago", ""),
        ((46.05, -14.51), "", None),
        ((46.05, -14.51), "UTC", None),
    ],
)
def test_a_place_that_does_not_fit_its_time_zone_is_doubted(
    place: tuple[float, float], timezone: str, meant: str | None
) -> None:
    said = doubt(Site(*place), timezone)
    assert bool(said) == (meant is not None)
    if meant:
        assert said.endswith(f"Is it {meant}?")


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ((0.5, 0.25), "0.5° N, 0.25° E"),
        ((-0.5, -0.25), "0.5° S, 0.25° W"),
    ],
)
def test_a_place_beside_the_equator_is_on_its_own_side_of_it(
    place: tuple[float, float], words: str
) -> None:
    assert place_words(Site(*place)) == words


def test_azimuths_have_names_clockwise_from_north() -> None:
    names = [direction(azimuth) for azimuth in (0, 350, 23, 90, 180, 215, 270)]
    assert names == ["north", "north", "north-east", "east", "south", "south-west", "west"]
