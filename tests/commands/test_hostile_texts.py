"""Names and remarks of strangers stay words: in tables, in pictures, in the report, on screen."""

import csv
import json

import pypdf
import pytest

from firmware_protocol import Decoder
from logger.recording import RecordingWriter
from logger.simulation import simulate_sweep
from logger.simulation.scenes import scene_named

NAMES = (
    "=cmd|' /C calc'!A0",
    "$\\frac{x$",
    '#import "/etc/passwd": *',
    "<script>alert(1)</script>",
    "\u202etfel",
    "*b* _i_ `raw` @ref <lbl> // c",
    "../../x",
    "\x1b[31mred\x07",
    "+1+1",
    "a" * 500,
)


@pytest.fixture(scope="module")
def survey(run, tmp_path_factory):
    """A job whose every text is hostile, with one sweep."""
    folder = tmp_path_factory.mktemp("hostile") / "job"
    made = run(
        "new", folder, "--latitude", 46.05, "--longitude", 14.51,
        "--name", '=HYPERLINK("x")', "--plane", "#eval(1)=30,180",
    )  # fmt: skip
    assert made.code == 0, made.err
    with (folder / "job.toml").open("a", encoding="utf-8") as job:
        job.write("[people]\n" + f"client = {json.dumps(NAMES[2])}\nsurveyor = '=1+1'\n")
    sweep = simulate_sweep(scene_named("street", 1), seed=1, streams="A", rate_hz=20)
    decoder, chunks = Decoder(), list(sweep.chunks)
    path = folder / "sweeps" / "spot" / "20260514T081231Z.sweep"
    header = {**sweep.header, "point": NAMES[1], "observer": NAMES[2], "board": NAMES[7]}
    with RecordingWriter(path, header) as writer:
        for i, (t, chunk) in enumerate(chunks):
            writer.add(t, decoder.feed(chunk))
            if i % (len(chunks) // 12) == 5:
                name = NAMES[i // (len(chunks) // 12) % len(NAMES)]
                writer.note(t, label=name, kind=NAMES[3])
    return folder, path


def assert_inert(path):
    for row in csv.reader(path.read_text(encoding="utf-8").splitlines()):
        for cell in row:
            number = cell.lstrip("+-").replace(".", "").replace("%", "").strip()
            assert (
                not cell.startswith(("=", "+", "-", "@", "\t"))
                or number.isdigit()
                or (len(cell) == 1)
            ), (path.name, cell)


def test_a_replay_prints_and_draws_them_as_words(run, survey, tmp_path):
    _, path = survey
    done = run("replay", path, "--pictures", tmp_path, "--samples", tmp_path / "samples.csv")
    assert done.code in (0, 4), done.err
    assert not any(c in done.out + done.err for c in "\x1b\x07\u202e")
    tables = list(tmp_path.glob("*.csv"))
    assert len(tables) >= 3
    for table in tables:
        assert_inert(table)
    assert not any("<script" in p.read_text(encoding="utf-8") for p in tmp_path.glob("*.svg"))
    assert all(p.parent == tmp_path for p in tmp_path.rglob("*"))


def test_the_report_sets_them_as_words(run, survey):
    folder, _ = survey
    done = run("report", folder, "--tables")
    assert done.code in (0, 4), done.err
    (report,) = folder.glob("report/*.pdf")
    text = "".join(page.extract_text() for page in pypdf.PdfReader(report).pages)
    assert NAMES[2] in text
    assert "root:" not in text
    tables = list(folder.glob("report/**/*.csv"))
    assert tables
    for table in tables:
        assert_inert(table)


@pytest.mark.parametrize("name", ["../elsewhere", "a\nb", "CON"])
def test_a_name_that_leads_elsewhere_is_no_name_of_a_point(run, survey, name):
    folder, _ = survey
    done = run("sweep", folder, name, "--port", "loop://")
    assert done.code == 2
    assert sorted(p.name for p in (folder / "sweeps").iterdir()) == ["spot"]
