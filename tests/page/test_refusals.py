"""What is asked of the page by others than its reader: refused, counted, shown."""

import json
import socket
import time
from collections import Counter, deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from logger.horizon_fit import Sector
from logger.live.state import Caution, Counts, Question
from logger.page.moment import moment_json, sky_json
from logger.page.server import MOST_A_SECOND, MOST_COMMAND_BYTES, MOST_PAGES, _reachable
from logger.site import Site

from .conftest import STATE, Served

Change = Callable[[dict[str, Any]], Any]


def test_each_command_becomes_what_the_key_would_do(served: Served) -> None:
    assert served.do("press") == 204
    (press,) = served.page.take(10.0, " prnq")
    assert (press.what, press.at_s) == ("press", 10.0)
    assert served.do("name", text="lime", kind="deciduous") == 204
    (name,) = served.page.take(14.0, " prnq")
    assert (name.what, name.text, name.kind) == ("name", "lime", "deciduous")
    assert name.at_s == 10.0  # of the press that it belongs to
    for what, more in (("redo", {}), ("pause", {}), ("note", {"text": "wind"}), ("end", {})):
        assert served.do(what, **more) == 204
        (action,) = served.page.take(20.0, " prnq")
        assert (action.what, action.text) == (what, more.get("text", ""))
    assert served.page.refused.total() == 0


def test_a_page_is_sent_the_figures_of_the_moment_under_their_own_names() -> None:
    cautions = (Caution("sun", "the sun"), Caution("field", "iron"))
    state = replace(STATE, missing=(Sector(350.0, 20.0),), warnings=cautions, elapsed_s=61.7,
                    counts=Counts(100, 50.0, lost=3, damaged=5))  # fmt: skip
    told = json.loads(moment_json(state, 7, "run", 2))
    assert (told["azimuth"], told["elevation"], told["elapsed"]) == (153.2, 12.0, 62)
    assert told["figures"] == [["azimuth", "153.2", "°"], ["elevation", "12.0", "°"]]
    assert (told["missing"], told["seen"], told["heights"]) == ([[350, 20]], "1" * 360, [8.0] * 360)
    assert (told["warning"], told["first"]) == ("sun", "the sun")
    assert told["link"] == "50 Hz, 100 measurements recorded, 3 lost, 5 damaged"
    assert (told["number"], told["refused"], told["middle"]) == (7, 2, 180.0)
    assert told["photos"] is told["recorder"] is True
    quiet = json.loads(moment_json(replace(STATE, phase="asking", azimuth_deg=np.nan), 7, "r", 2))
    assert (quiet["warning"], quiet["first"]) == ("", STATE.to_do)
    assert quiet["photos"] is quiet["recorder"] is False
    assert quiet["azimuth"] is None


def test_the_page_draws_the_sun_where_it_stands_at_noon() -> None:
    tracks = json.loads(sky_json(Site(46.05, 14.51, 310.0)))["tracks"]
    # At noon of a solstice the sun stands 23.44 degrees off the equator's 90 - 46.05 degrees.
    noon = [max(elevation) for _, elevation in tracks]
    assert [min(noon), max(noon)] == pytest.approx([20.5, 67.4], abs=0.15)  # with refraction
    for azimuth, elevation in tracks:
        assert azimuth[elevation.index(max(elevation))] == pytest.approx(180.0, abs=3.0)
        assert min(elevation) > 0


def test_what_no_key_could_do_now_is_not_done(served: Served) -> None:
    assert served.do("redo") == 204
    assert served.page.take(1.0, "q") == []
    assert served.page.refused == {"not possible now": 1}


HEADERS = {
    "no origin": ({"Origin": ""}, 403),
    "another origin": ({"Origin": "http://evil.example"}, 403),
    "origin null, as from a file": ({"Origin": "null"}, 403),
    "a name that somebody pointed here": ({"Host": "evil.example:80"}, 421),
    "another port": ({"Host": "127.0.0.1:1"}, 421),
    "no port": ({"Host": "127.0.0.1"}, 421),
    "a form": ({"Content-Type": "application/x-www-form-urlencoded"}, 415),
    "plain text, as any site may send": ({"Content-Type": "text/plain"}, 415),
}


@pytest.mark.parametrize(("headers", "status"), HEADERS.values(), ids=HEADERS)
def test_a_command_from_elsewhere_is_refused(
    served: Served, headers: dict[str, str], status: int
) -> None:
    body = json.dumps(served.command("end"))
    assert served.ask("POST", f"{served.path}do", body, headers)[0] == status
    assert served.page.take(1.0, " prnq") == []
    assert served.page.refused.total() == 1


@pytest.mark.parametrize("token", ["", "x", "0" * 32, "A" * 5000, "%00", "..%2f..", "é"])
@pytest.mark.parametrize("what", ["", "do", "moments", "sky.json", "photo"])
def test_without_the_token_nothing_is_answered(served: Served, token: str, what: str) -> None:
    from urllib.parse import quote

    for method in ("GET", "POST"):
        status, body = served.ask(method, f"/{quote(token, safe='%')}/{what}", b"{}")
        assert status == 404
        assert body == b"without the token\n"


BODIES: dict[str, tuple[Change, int]] = {
    "nothing": (lambda c: "", 400),
    "no JSON": (lambda c: "{", 400),
    "deep": (lambda c: "[" * 900, 400),
    "a list": (lambda c: [c], 400),
    "a number": (lambda c: 5, 400),
    "a key too many": (lambda c: c | {"more": 1}, 400),
    "a key missing": (lambda c: {k: v for k, v in c.items() if k != "sure"}, 400),
    "another command": (lambda c: c | {"what": "shutdown"}, 400),
    "a command that is a list": (lambda c: c | {"what": ["end"]}, 400),
    "an end not sure": (lambda c: c | {"sure": False}, 400),
    "an end sure as a number": (lambda c: c | {"sure": 1}, 400),
    "a text with an end": (lambda c: c | {"text": "x"}, 400),
    "a text that is none": (lambda c: c | {"what": "note", "sure": False, "text": 5}, 400),
    "an empty note": (lambda c: c | {"what": "note", "sure": False}, 400),
    "a note of blanks": (lambda c: c | {"what": "note", "sure": False, "text": "\u2028"}, 400),
    "a long note": (lambda c: c | {"what": "note", "sure": False, "text": "x" * 61}, 400),
    "an unknown kind": (
        lambda c: c | {"what": "name", "sure": False, "text": "x", "kind": "<b>"},
        400,
    ),
    "another run": (lambda c: c | {"run": "0" * 16}, 409),
    "a moment to come": (lambda c: c | {"number": c["number"] + 1000}, 409),
    "a moment that is text": (lambda c: c | {"number": "1"}, 409),
    "a moment that is true": (lambda c: c | {"number": True}, 409),
    "a moment too large to be one": (lambda c: c | {"number": 1e300}, 409),
    "too large": (lambda c: c | {"text": "x" * MOST_COMMAND_BYTES}, 413),
}


@pytest.mark.parametrize(("change", "status"), BODIES.values(), ids=BODIES)
def test_what_is_not_exactly_a_command_of_now_is_refused(
    served: Served, change: Change, status: int
) -> None:
    changed = change(served.command("end"))
    body = changed if isinstance(changed, str) else json.dumps(changed)
    assert served.ask("POST", f"{served.path}do", body)[0] == status
    assert served.page.take(1.0, " prnq") == []


def test_a_page_that_was_cut_off_cannot_end_what_it_did_not_see(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    command = served.command("end")
    monkeypatch.setattr("logger.page.server.STALE_AFTER_S", -1.0)
    assert served.ask("POST", f"{served.path}do", json.dumps(command))[0] == 409
    assert served.page.take(1.0, " prnq") == []


@pytest.mark.parametrize(("a_second", "obeyed", "status"), [(8, 8, 429), (99, 16, 503)])
def test_a_thousand_commands_at_once_are_no_thousand_presses(
    served: Served, monkeypatch: pytest.MonkeyPatch, a_second: int, obeyed: int, status: int
) -> None:
    """Eight a second, and sixteen that wait, all of them within one moment here."""
    body, now = json.dumps(served.command("press")), time.monotonic()
    assert MOST_A_SECOND == 8
    monkeypatch.setattr("logger.page.server.MOST_A_SECOND", a_second)
    monkeypatch.setattr("logger.page.server.time", SimpleNamespace(monotonic=lambda: now))
    served.page._came = deque(maxlen=a_second)
    answers = [served.ask("POST", f"{served.path}do", body)[0] for _ in range(40)]
    assert Counter(answers) == {204: obeyed, status: 40 - obeyed}
    assert len(served.page.take(1.0, " prnq")) == obeyed
    assert served.page.refused == {"too many at once": 40 - obeyed}


def test_the_address_to_be_opened_is_one_that_a_phone_can_reach() -> None:
    assert _reachable("192.0.2.7") == "192.0.2.7"
    assert _reachable("2001:db8::7") == "[2001:db8::7]"
    assert _reachable("0.0.0.0") not in ("0.0.0.0", "")


def test_refusals_are_shown_where_the_operator_looks(served: Served) -> None:
    served.ask("GET", "/guess/")
    shown = []
    served.page._display.show = shown.append  # type: ignore[method-assign]
    served.page._shown_s = -1e9
    served.page.show(STATE)
    assert "page: 1 requests refused (1 without the token)" in shown[0].facts
    assert served.moment()["refused"] == 1


def test_more_pages_than_are_served_are_refused(served: Served) -> None:
    served.page.pages = MOST_PAGES
    assert served.ask("GET", f"{served.path}moments")[0] == 503


def test_bytes_that_are_no_request_end_no_server(served: Served) -> None:
    for sent in (b"\x16\x03\x01", b"GET", b"GET / HTTP/9.9\r\n\r\n", b"A" * 40_000, b"\r\n" * 99):
        with socket.create_connection(("127.0.0.1", served.page.port)) as raw:
            raw.sendall(sent)
    assert served.do("press") == 204


def photographed(
    served: Served, body: bytes, query: str = "run={run}&number={number}"
) -> tuple[int, str, list[Path]]:
    """A photo handed in: the status, the answer, and what the point's folder then holds."""
    path = f"{served.path}photo?{query.format(**served.moment())}"
    status, said = served.ask("POST", path, body, {"Content-Type": "image/jpeg"})
    return status, said.decode(), list((served.page._job.folder / "photos").glob("eave/*"))


def test_a_photo_is_kept_unchanged_with_the_direction_of_the_sight(served: Served) -> None:
    picture = b"\xff\xd8\xff" + bytes(range(256)) * 20
    status, name, (kept,) = photographed(served, picture)
    assert status == 200
    assert kept.read_bytes() == picture
    assert kept.name == name
    assert name.endswith(" azimuth 153 elevation 12.jpg")
    (note,) = served.page.take(3.0, " prnq")
    assert (note.what, note.text) == ("note", f"photo {name}")


@pytest.mark.parametrize(
    ("body", "query", "status"),
    [
        (b"<html>", "run={run}&number={number}", 415),
        (b"", "run={run}&number={number}", 415),
        (b"RIFF....AVI ", "run={run}&number={number}", 415),
        (b"\xff\xd8\xff" + bytes(2000), "run={run}&number={number}", 413),
        (b"\xff\xd8\xff", "run=x&number={number}", 409),
        (b"\xff\xd8\xff", "run={run}&number=-1", 400),
        (b"\xff\xd8\xff", "", 400),
    ],
)
def test_what_is_no_photo_of_now_is_not_kept(
    served: Served, monkeypatch: pytest.MonkeyPatch, body: bytes, query: str, status: int
) -> None:
    monkeypatch.setattr("logger.page.server.MOST_PHOTO_BYTES", 1000)
    assert photographed(served, body, query)[::2] == (status, [])


def test_the_page_asks_nobody_else_for_anything(served: Served) -> None:
    for name in ("", "page.css", "page.js"):
        status, body = served.ask("GET", served.path + name)
        assert status == 200
        assert b"://" not in body
        assert b"innerHTML" not in body


GO = Question(("Go on", "Not yet"))
NAMED = Question(("OK", "No more"), "name", kinds=True)


@pytest.fixture
def asking(served: Served) -> Iterator[Callable[[Question], Future[tuple[str, str]]]]:
    """Put a question on the page; what comes of it once it is answered."""
    with ThreadPoolExecutor(1) as pool:

        def put(question: Question) -> Future[tuple[str, str]]:
            asked = pool.submit(served.page.ask, "well?", ["a line"], question, lambda: "")
            while served.moment()["question"] is None:
                pass
            return asked

        yield put


def test_a_question_is_answered_by_what_was_tapped_or_entered(served: Served, asking: Any) -> None:
    asked = asking(GO)
    moment = served.moment()
    assert (moment["first"], moment["told"]) == ("well?", ["a line"])
    assert moment["question"]["choices"] == ["Go on", "Not yet"]
    assert served.do("answer", text="Not yet") == 204
    assert asked.result(20) == ("Not yet", "")
    asked = asking(NAMED)
    assert served.do("answer", text="lime", kind="deciduous") == 204
    assert asked.result(20) == ("lime", "deciduous")


@pytest.mark.parametrize(
    ("more", "status"),
    [
        ({"text": "Perhaps"}, 204),  # obeyed by nobody: no such choice
        ({"text": "Go on", "kind": "dragon"}, 400),
        ({"text": "x" * 61}, 400),
        ({"text": 1}, 400),
        ({"text": "Go on", "sure": True}, 400),
    ],
)
def test_what_is_no_answer_is_refused(
    served: Served, asking: Any, more: dict[str, Any], status: int
) -> None:
    asked = asking(GO)
    assert served.do("answer", **more) == status
    assert served.do("press") == 204  # means nothing now
    assert served.do("answer", text="Go on") == 204
    assert asked.result(20) == ("Go on", "")
    assert served.page.refused.total() == 2


def test_a_second_tap_does_not_answer_the_next_question(served: Served, asking: Any) -> None:
    first = asking(GO)
    tapped = json.dumps(served.command("answer", text="Go on"))
    assert served.ask("POST", f"{served.path}do", tapped)[0] == 204
    assert first.result(20) == ("Go on", "")
    assert served.ask("POST", f"{served.path}do", tapped)[0] == 409  # nothing is asked
    second = asking(GO)
    assert served.ask("POST", f"{served.path}do", tapped)[0] == 409
    assert not second.done()
    assert served.do("answer", text="Not yet") == 204
    assert second.result(20) == ("Not yet", "")


def test_enter_at_the_terminal_answers_too(served: Served) -> None:
    typed = iter(["\n", "", "x", "\r"])  # what was typed before the question does not count
    assert served.page.ask("well?", [], GO, lambda: next(typed)) == ("Go on", "")
    typed = iter(["", "\n"])
    assert served.page.ask("name?", [], NAMED, lambda: next(typed)) == ("", "")
