"""The same skyline gives a sane table and chart anywhere on Earth."""

import json

import pytest

from logger.survey.demo import shipped_survey


@pytest.fixture(scope="module")
def everywhere(run, tmp_path_factory):
    """The yard's skyline carried to other places: result, printed table and chart of each."""
    (recording,) = (shipped_survey() / "sweeps" / "yard").glob("*.sweep")
    found = {}
    for name, latitude, longitude in (
        ("north", 46, 15),
        ("south", -46, 15),
        ("equator", 0, 15),
        ("polar", 72, 15),
        ("date line", 46, 180),
        ("date line from the other side", 46, -180),
    ):
        folder = tmp_path_factory.mktemp(name.replace(" ", "-"))
        done = run(
            "replay", recording, "--job", shipped_survey(),
            "--latitude", latitude, "--longitude", longitude,
            "--declination", 3, "--tilt", 30, "--azimuth", 180 if latitude >= 0 else 0,
            "--json", folder / "r.json", "--pictures", folder,
        )  # fmt: skip
        assert done.code in (0, 4), done.err
        result = json.loads((folder / "r.json").read_text())
        found[name] = (result["planes"][0], done.out, (folder / "yard-sun-paths.svg").read_text())
    return found


def monthly(plane, what="solar_access"):
    return [month["value"] for month in plane[what]["monthly"]]


def test_every_defined_share_lies_between_nothing_and_all(everywhere):
    for plane, _, _ in everywhere.values():
        for what in ("solar_access", "beam_access"):
            for month in [*plane[what]["monthly"], plane[what]["annual"]]:
                if month["value"] is not None:
                    assert 0 <= month["low"] <= month["value"] <= month["high"] <= 1


def test_the_southern_winter_is_in_june(everywhere):
    north, south = monthly(everywhere["north"][0]), monthly(everywhere["south"][0])
    assert min(north) in (north[11], north[0])
    assert min(south) in (south[5], south[6])


def test_a_month_without_sun_is_null_in_json_and_a_dash_in_print(everywhere):
    plane, printed, _ = everywhere["polar"]
    assert monthly(plane)[11] is None
    (december,) = [line for line in printed.splitlines() if line.startswith("Dec ")]
    assert december.split()[1] == "–"
    assert monthly(plane)[5] > 0.5


def test_both_sides_of_the_date_line_are_one_place(everywhere):
    one, other = everywhere["date line"][0], everywhere["date line from the other side"][0]
    # A month of local mean solar time begins a day apart on the two sides, and they fall into
    # neighbouring cells of the turbidity table.
    assert monthly(one) == pytest.approx(monthly(other), abs=0.012)
    assert one["solar_access"]["annual"]["value"] == pytest.approx(
        other["solar_access"]["annual"]["value"], abs=0.001
    )
    # A quarter of the way round the Earth only the clearness of the air is another.
    north = monthly(everywhere["north"][0], "beam_access")
    assert monthly(one, "beam_access") == pytest.approx(north, abs=0.05)


def test_the_equator_has_no_dark_month(everywhere):
    assert min(monthly(everywhere["equator"][0])) > 0.8


def test_the_chart_faces_the_equator(everywhere):
    def middle(chart):
        """The azimuth label nearest to the middle of the picture."""
        import re

        labels = re.findall(r">(N|S|E|W|NE|SE|SW|NW)<", chart)
        return labels[len(labels) // 2]

    assert middle(everywhere["north"][2]) == "S"
    assert middle(everywhere["south"][2]) == "N"
