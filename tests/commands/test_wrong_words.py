"""A value that cannot be used is told by the option it was given to, with what would do."""

import pytest
from click.testing import CliRunner

from logger.cli import main


def call(*arguments):
    return CliRunner().invoke(main, arguments)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--solar-window", "9-15"], "solar_window: '9-15' is not a number"),
        (["--reflectance", "2"], "reflectance: 2 is outside 0 to 1"),
        (["--set", "draw=5"], "there is no setting 'draw'"),
    ],
)
def test_a_value_that_makes_no_sense_is_told_before_anything_is_read(arguments, words):
    done = call("replay", "a.sweep", *arguments)
    assert done.exit_code == 2
    assert words in done.stderr


def test_a_decimal_comma_is_taken_in_degrees_and_told_elsewhere():
    taken = call("declination", "--latitude", "46,05", "--longitude", "14.5")
    assert taken.stdout == call("declination", "--latitude", "46.05", "--longitude", "14.5").stdout
    place = ("--latitude", "46.05", "--longitude", "14.5")
    told = call("declination", *place, "--altitude", "310,5")
    assert told.exit_code == 2
    assert "A decimal point is needed: 310.5" in told.stderr
    other = call("declination", *place, "--altitude", "high")
    assert "decimal point" not in other.stderr


@pytest.mark.parametrize("url", ["socket://localhost", "rfc2217://", "socket://localhost:x"])
def test_a_network_port_without_its_number_is_told(url):
    done = call("ports", "--port", url)
    assert done.exit_code == 3
    assert done.stdout == f"{url}: cannot be opened: it has no host and port number\n"


def test_a_port_asked_for_that_cannot_be_opened_is_a_fault_in_json_too():
    done = call("ports", "--port", "/dev/none", "--json", "-")
    assert done.exit_code == 3
    assert '"opened": false' in done.stdout


def test_an_interrupt_has_an_exit_code_of_its_own(monkeypatch, tmp_path):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("logger.job.read_job", interrupted)
    done = call("report", str(tmp_path))
    assert done.exit_code == 130
    assert done.stderr.strip() == "interrupted"
