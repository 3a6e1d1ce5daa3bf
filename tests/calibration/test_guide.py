"""What is said while a calibration is recorded: moving, held, pressed, what comes next."""

import pytest
from calibrated_boards import stream_of

from logger.recording.samples import Stream
from logger.simulation import simulate_bearing, simulate_level
from logger.survey.guided import Guide


def lines(how: str, stream: Stream) -> list[str]:
    """The guide's line at each second."""
    guide, told, samples = Guide(how), [], stream.samples
    for at in range(0, len(samples), 50):
        guide.take(samples.rows(slice(at, at + 50)))
        now = float(samples.t_s[min(at + 49, len(samples) - 1)])
        guide.presses = sum(k.key == 2 and k.down and k.t_s <= now for k in stream.keys)
        told.append(guide.line(now))
    return told


@pytest.mark.parametrize("streams", ["MG", "A"])
def test_a_level_counts_what_was_held_on_either_face_and_says_when_to_roll(streams: str) -> None:
    told = lines("level", stream_of(simulate_level(seed=2, streams=streams)))
    assert "on the same mark" in told[0]
    first = next(line for line in told if "held upright 1" in line)
    assert "rolled over 0" in first
    assert first.endswith("roll it over")
    assert any("moving" in line for line in told)
    assert "held upright 1, rolled over 1" in told[-1]
    assert not any("enough" in line for line in told)  # one pair is not three


@pytest.mark.parametrize("streams", ["MG", "A"])
def test_a_bearing_says_when_to_press_and_when_it_is_enough(streams: str) -> None:
    told = lines("target", stream_of(simulate_bearing(seed=2, streams=streams)))
    pressed = next(i for i, line in enumerate(told) if "1 pressed" in line)
    assert any("press now" in line for line in told[:pressed])
    assert "press now" not in told[pressed]
    assert any("moving" in line for line in told[pressed:])
    assert "3 pressed" in told[-1]
    assert told[-1].endswith("enough: end it with the trigger or q")
    assert not any("enough" in line for line in told[:pressed])


def test_along_the_shadow_the_eyes_come_first_to_the_last_line() -> None:
    told = lines("sun", stream_of(simulate_bearing(seed=2)))
    assert all("never look at the sun" in line for line in told)
    assert "enough" in told[-1]


def test_nothing_received_is_not_held_still() -> None:
    guide = Guide("level")
    nothing = stream_of(simulate_level(seed=2)).samples.rows(slice(0, 0))
    guide.take(nothing)
    assert "moving" in guide.line(1.0)
