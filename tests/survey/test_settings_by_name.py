"""Settings by name: every field of the rooms' dataclasses and nothing else."""

from dataclasses import fields

import click
import pytest

from logger.access import AccessSettings, Rules, SolarWindow
from logger.calibration.settings import CalibrationSettings
from logger.cli.setting_options import OF_THE_SKY, OF_THE_SWEEP
from logger.errors import UsageError
from logger.horizon_fit import HorizonSettings
from logger.orientation import OrientationSettings
from logger.survey.changes import _shown
from logger.survey.settings import (
    AllSettings,
    all_settings,
    setting_names,
    settings_of_room,
    settings_with,
)


def test_every_field_of_every_room_has_a_name():
    names = setting_names()
    for room, record in (("orientation", OrientationSettings), ("horizon", HorizonSettings)):
        own = {f.name for f in fields(record)} - {"latitude_deg"}
        assert own == {n.removeprefix(f"{room}.") for n in names if n.startswith(f"{room}.")}
    assert {f"access.{f.name}" for f in fields(AccessSettings)} == {
        ".".join(n.split(".")[:2]) for n in names if n.startswith("access.")
    }
    assert "access.window.from_solar_hour" in names
    assert "access.system.losses" in names


@pytest.mark.parametrize("setting", all_settings(), ids=lambda s: s.name)
def test_every_setting_says_what_it_means_and_takes_its_own_default(setting):
    assert setting.meaning
    assert settings_with({setting.name: _shown(setting.default)}) == AllSettings()


def test_a_setting_whose_name_bears_a_unit_shows_it():
    units = {s.name: s.unit for s in all_settings()}
    assert units["horizon.step_deg"] == "deg"
    assert units["horizon.drift_prior_deg_per_min"] == "deg/min"
    assert units["orientation.field_noise_ut"] == "uT"
    assert units["orientation.rate_noise_deg_s"] == "deg/s"
    assert units["access.system.wind_ms"] == "m/s"
    assert units["access.window.to_solar_hour"] == "h"
    assert units["access.draws"] == ""
    limits = {s.name: s.unit for s in settings_of_room("calibration", CalibrationSettings)}
    assert limits["calibration.clock_limit_s"] == "s"


def test_values_of_every_kind():
    settings = settings_with(
        {
            "orientation.use_rate": "no",
            "horizon.step_deg": "0.5",
            "horizon.rounds": "3",
            "access.linke_turbidity": "4",
            "access.reflectance": "0.2,0.2,0.2,0.2,0.2,0.2,0.2,0.2,0.2,0.2,0.2,0.6",
            "access.window": "8,16",
            "access.rules.minimum_solar_access": "0.8",
            "access.timezone": "Europe/Lisbon",
            "access.month_weights": "none",
        }
    )
    assert settings.orientation.use_rate is False
    assert settings.horizon == HorizonSettings(step_deg=0.5, rounds=3)
    assert settings.access == AccessSettings(
        linke_turbidity=4.0,
        reflectance=(0.2,) * 11 + (0.6,),
        window=SolarWindow(8, 16),
        rules=Rules(0.8),
        timezone="Europe/Lisbon",
    )


def test_both_ends_of_a_window_change_together():
    settings = settings_with(
        {"access.window.from_solar_hour": "16", "access.window.to_solar_hour": "18"}
    )
    assert settings.access.window == SolarWindow(16, 18)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"horizon.stp_deg": "1"}, "no setting 'horizon.stp_deg'"),
        ({"roof.step_deg": "1"}, "no setting 'roof.step_deg'"),
        ({"horizon": "1"}, "no setting 'horizon'"),
        ({"horizon.": "1"}, "no setting 'horizon.'"),
        ({"": "1"}, "no setting ''"),
        ({"horizon.step_deg.more": "1"}, "no setting 'horizon.step_deg.more'"),
        ({"horizon.latitude_deg": "1"}, "no setting 'horizon.latitude_deg'"),
        ({"horizon.step_deg": "wide"}, "horizon.step_deg: 'wide' is not a number"),
        ({"horizon.step_deg": "nan"}, "no finite number"),
        ({"horizon.step_deg": "0.7"}, "does not divide 360"),
        ({"horizon.step_deg": "1,2"}, "2 numbers, not 1"),
        ({"horizon.turn_deg": "-1"}, "horizon.turn_deg"),
        ({"horizon.rounds": "2.5"}, "not a whole number"),
        ({"orientation.use_rate": "maybe"}, "neither yes nor no"),
        ({"orientation.shaken_g": "0"}, "orientation.shaken_g"),
        ({"access.reflectance": "0.2,0.3"}, "2 numbers, not 1 or 12"),
        ({"access.month_weights": "1"}, "1 numbers, not 12"),
        ({"access.window": "9"}, "1 values, not 2"),
        ({"access.window": "15,9"}, "solar window"),
        ({"access.window": "9,15", "access.window.to_solar_hour": "16"}, "given twice"),
        ({"access.window.to_solar_hour": "16", "access.window": "9,15"}, "given twice"),
        ({"access.draws": "none"}, "not a whole number"),
        ({"access.model": "magic"}, "magic"),
    ],
)
def test_what_makes_no_sense_is_refused_by_name(changes, words):
    with pytest.raises(UsageError) as refused:
        settings_with(changes)
    assert words in f"{refused.value}"


def test_a_slip_of_the_pen_gets_the_right_name_as_a_hint():
    with pytest.raises(UsageError) as refused:
        settings_with({"horizon.stp_deg": "1"})
    assert "horizon.step_deg" in refused.value.hint


@pytest.mark.parametrize("shortcut", [*OF_THE_SKY, *OF_THE_SWEEP], ids=lambda s: s.flag)
def test_an_option_for_a_setting_shows_the_setting_s_own_default_and_choices(shortcut):
    assert settings_with({shortcut.setting: shortcut.default}) == AllSettings()
    for choice in shortcut.choices:
        settings_with({shortcut.setting: choice})
    if shortcut.flag_value:
        assert settings_with({shortcut.setting: shortcut.flag_value}) != AllSettings()


def test_the_commands_use_the_same_options():
    from logger.cli import assess, replay

    def flags(command: click.Command) -> set[str]:
        return {flag for p in command.params for flag in p.opts}

    sky = {s.flag for s in OF_THE_SKY} | {"--set"}
    assert sky <= flags(assess.command)
    assert sky | {s.flag for s in OF_THE_SWEEP} <= flags(replay.command)
