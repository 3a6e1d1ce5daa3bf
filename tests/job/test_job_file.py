import datetime as dt
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from logger.edits import Edit, edit_from
from logger.errors import InputError, UsageError
from logger.job import (
    Job,
    JobObstruction,
    JobPlane,
    Point,
    add_edit,
    add_obstruction,
    change_job,
    create_job,
    job_file,
    read_job,
    set_plane,
    set_point,
    undo,
)
from logger.site import Site

PLANE = "[[planes]]\nname = 'roof'\ntilt_deg = 35\nazimuth_deg = 180\n"
SITE = "[site]\nlatitude_deg = 46.05\nlongitude_deg = 14.51\n"
EAVE = "[[points]]\nname = 'eave'\n"
OAK = "[[obstructions]]\nname = 'oak'\n"


def written(folder: Path, text: str | bytes) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "job.toml").write_bytes(text.encode() if isinstance(text, str) else text)
    return folder


def test_a_new_job_reads_back_as_it_was_made_and_is_never_made_over_another(job: Job) -> None:
    assert read_job(job.folder) == job
    assert (job.name, job.site) == ("Hillside barn", Site(46.05, 14.51, 310.0))
    assert job.planes == (JobPlane("roof", 35.0, 170.0),)
    assert job.people == {"surveyor": "A. Example"}
    with pytest.raises(UsageError, match="already"):
        create_job(job.folder, job.site)


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "byte order mark"])
@pytest.mark.parametrize("end", ["\n", "\r\n"], ids=["here", "Windows"])
def test_a_job_of_the_site_alone_is_enough(tmp_path: Path, mark: bytes, end: str) -> None:
    job = read_job(written(tmp_path / "barn", mark + SITE.replace("\n", end).encode()))
    assert (job.name, job.site) == ("barn", Site(46.05, 14.51, 0.0))
    assert (job.planes, job.points) == ((), ())


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "site is missing"),
        ("site = 3", "site is 3"),
        ("edits = [3]\n" + SITE, "edits 1: is not a table"),
        ("[site]\nx = =\ny = 1", "is no valid TOML.*line 2"),
        (b"[site]\nname = '\xff'", "is not UTF-8 text"),
        (SITE.replace("46.05", "96.05"), "site: latitude_deg is 96.05, outside -90 to 90"),
        (SITE + "timezone = 'Mars/Base'", "site: timezone: there is no time zone 'Mars/Base'"),
        (SITE + "[planes]\nname = 'roof'", "planes is a table"),
        (SITE + PLANE.replace("azimuth_deg = 180", ""), "planes 1: azimuth_deg is missing"),
        (SITE + PLANE.replace("name = 'roof'", ""), "planes 1: name is missing"),
        (SITE + PLANE.replace("35", "95"), "planes 1: tilt_deg is 95, outside 0 to 90"),
        (SITE + PLANE + "size_kwp = 0", "planes 1: size_kwp is 0, outside"),
        (SITE + PLANE + "outline = [[0, 0]]", "planes 1: outline 1 is a list of 2"),
        (SITE + EAVE + EAVE, "points 2: name 'eave' is taken by 'eave'"),
        (SITE + EAVE + EAVE.replace("eave", "Eave"), "points 2: name 'Eave' is taken by 'eave'"),
        (SITE + EAVE.replace("v", "/"), "points 1: name: the point name 'ea/e' holds"),
        (SITE + EAVE + "sight_height_m = -1", "points 1: sight_height_m is -1"),
        (SITE + EAVE + "east_m = 1", "points 1: of a position east_m and north_m"),
        (SITE + EAVE + "planes = ['b']", "points 1: planes: there is no plane 'b'"),
        (SITE + OAK + "kind = 'cow'", "obstructions 1: kind is 'cow'"),
        (SITE + OAK + "to_azimuth_deg = 5", "obstructions 1: of a sector from"),
        (SITE + OAK + "distance_m = 0", "obstructions 1: distance_m is 0"),
        (SITE + "[settings]\ntransposition = 'flat'", "settings: transposition: 'flat' is none of"),
        (SITE + "[settings]\ndraws = [1, 2]", "settings: draws: takes one value, not a list of 2"),
        (SITE + "[[edits]]\nkind = 'exclude-sweep'\npoint = 'a'", "edits 1: who is missing"),
    ],
)
def test_what_cannot_be_understood_is_named_by_file_table_and_key(
    tmp_path: Path, text: str | bytes, complaint: str
) -> None:
    with pytest.raises(InputError, match=rf"job\.toml: {complaint}"):
        read_job(written(tmp_path, text))


def test_a_folder_without_a_job_says_how_to_make_one(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_job(tmp_path)
    assert "horizon-logger new" in caught.value.hint


def test_comments_of_a_person_survive_every_edit(job: Job) -> None:
    path = job.folder / "job.toml"
    path.write_text(path.read_text() + "\n# the ridge is rotten: ask before stepping on it\n")
    set_plane(job.folder, JobPlane("annex", 10.0, 90.0, size_kwp=4.2), tilt_error_deg=0.4)
    set_point(job.folder, Point("eave", sight_height_m=1.6))
    text = path.read_text()
    assert "# the ridge is rotten: ask before stepping on it" in text
    assert "# A survey. Edit it by hand" in text
    assert "tilt_error_deg = 0.4" in text


def test_what_has_a_name_already_is_told_more_of_and_the_rest_is_added(job: Job) -> None:
    set_plane(job.folder, JobPlane("roof", 20.0, 180.0))
    planes = set_plane(job.folder, JobPlane("annex", 5.0, 90.0)).planes
    assert planes == (JobPlane("roof", 20.0, 180.0), JobPlane("annex", 5.0, 90.0))
    set_point(job.folder, Point("eave", sight_height_m=1.6))
    points = set_point(job.folder, Point("eave", module_height_m=4.0)).points
    assert points == (Point("eave", 1.6, 4.0),)


def test_a_job_of_two_planes_of_one_name_is_not_made(tmp_path: Path) -> None:
    twice = (JobPlane("roof", 20.0, 180.0), JobPlane("roof", 5.0, 90.0))
    with pytest.raises(UsageError, match="planes 2: name 'roof' is taken"):
        create_job(tmp_path / "barn", Site(46.05, 14.51), planes=twice)
    assert not (tmp_path / "barn").exists()


def test_a_change_that_would_break_the_job_is_not_made(job: Job) -> None:
    path = job.folder / "job.toml"
    before = path.read_bytes()

    def break_it(document: dict[str, dict[str, float]]) -> None:
        document["site"]["latitude_deg"] = 123.0

    with pytest.raises(UsageError, match="this change was not made: site: latitude_deg is 123"):
        change_job(job.folder, break_it)
    assert path.read_bytes() == before


@pytest.fixture
def eave(job: Job) -> Job:
    return set_point(job.folder, Point("eave"))


def an_edit() -> Edit:
    return edit_from(tomllib.loads(ENTRY.format(3))["edits"][0])


ENTRY = """
[[edits]]
kind = "set-sector"  # by telephone
point = "eave"
from_azimuth_deg = {}
to_azimuth_deg = 90
from_elevation_deg = 5
to_elevation_deg = 5
who = "A. Example"
when = "2026-05-14T08:00:00Z"
why = "a bird"
"""


@pytest.mark.parametrize("after", ["", "\n[people]\nclient = 'B. Example'\n"])
def test_an_edit_is_taken_back_and_comments_around_it_stay(tmp_path: Path, after: str) -> None:
    note = "\n# the ridge is rotten\n"
    folder = written(tmp_path, SITE + EAVE + "# first\n" + ENTRY.format(10) + note
                     + ENTRY.format(20) + note + after)  # fmt: skip
    people = read_job(folder).people
    assert "20 to 90°" in undo(folder)
    assert ["10 to 90°" in str(e) for e in read_job(folder).edits] == [True]
    assert "10 to 90°" in undo(folder)
    text = (folder / "job.toml").read_text()
    assert "[[edits]]" not in text
    assert text.count("# the ridge is rotten") == 2
    assert "# first" in text
    assert read_job(folder).people == people
    with pytest.raises(UsageError, match="no change to take back"):
        undo(folder)
    add_edit(folder, an_edit())
    assert read_job(folder).edits == (an_edit(),)


def test_the_later_of_an_edit_and_a_name_is_taken_back_first(eave: Job) -> None:
    def named(hour: int) -> JobObstruction:
        when = dt.datetime(2026, 5, 14, hour, tzinfo=dt.UTC)
        return JobObstruction(f"tree {hour}", point="eave", when=when)

    add_obstruction(eave.folder, JobObstruction("by hand"))
    add_obstruction(eave.folder, named(7))
    add_edit(eave.folder, an_edit())
    add_obstruction(eave.folder, named(9))
    for word in ("tree 9", "3 to 90°", "tree 7"):
        assert word in undo(eave.folder)
    assert [o.name for o in read_job(eave.folder).obstructions] == ["by hand"]
    with pytest.raises(UsageError, match="no change to take back"):
        undo(eave.folder)


@pytest.mark.parametrize("edits", ["edits = 3", "edits = [3]", "obstructions = 3"])
def test_what_is_no_list_of_entries_is_said_so_by_undo(tmp_path: Path, edits: str) -> None:
    folder = written(tmp_path, f"{edits}\n{SITE}")
    with pytest.raises(InputError, match="is no list of tables"):
        undo(folder)


@pytest.mark.parametrize("entry", ["kind = 'nonsense'", ENTRY[11:].format(-400), "point = 'attic'"])
def test_the_last_edit_can_be_taken_back_although_it_makes_the_job_unreadable(
    tmp_path: Path, entry: str
) -> None:
    folder = written(tmp_path, SITE + EAVE + "[[edits]]\n" + entry)
    with pytest.raises(InputError, match="edits 1"):
        read_job(folder)
    undo(folder)
    assert read_job(folder).edits == ()


def test_the_moment_of_an_edit_may_be_a_toml_date_in_any_zone(eave: Job) -> None:
    path = eave.folder / "job.toml"
    add_edit(eave.folder, an_edit())
    text = path.read_text().replace('"2026-05-14T08:00:00.000Z"', "2026-05-14T10:00:00+02:00")
    assert "+02:00" in text
    path.write_text(text)
    assert read_job(eave.folder).edits == (an_edit(),)


WRITE_POINTS = """
import sys
from pathlib import Path
from logger.job import Point, set_point
for i in range(10):
    set_point(Path(sys.argv[1]), Point(f"{sys.argv[2]} {i}", sight_height_m=1.5))
"""


def test_two_processes_that_edit_one_job_at_once_lose_nothing(job: Job) -> None:
    processes = [
        subprocess.Popen([sys.executable, "-c", WRITE_POINTS, str(job.folder), who])
        for who in ("left", "right")
    ]
    assert [p.wait(timeout=60) for p in processes] == [0, 0]
    names = {p.name for p in read_job(job.folder).points}
    assert names == {f"{who} {i}" for who in ("left", "right") for i in range(10)}


HOLD = """
import sys
from filelock import FileLock
with FileLock(sys.argv[1]):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_a_job_that_another_program_holds_is_said_to_be_held(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(job_file, "LOCK_WAIT_S", 0.01)
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(job.folder / ".job.lock")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as holder:
        assert holder.stdin is not None
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(InputError, match="another program holds this job"):
            set_point(job.folder, Point("eave"))
        holder.stdin.close()


def test_a_lock_that_is_a_link_is_taken_away_before_what_it_leads_to_is_opened(
    job: Job, tmp_path: Path
) -> None:
    """The lock of a job that came by mail: whoever opens it empties it."""
    precious = tmp_path / "precious"
    precious.write_text("mine")
    (job.folder / ".job.lock").symlink_to(precious)
    set_point(job.folder, Point("eave"))
    assert [p.name for p in read_job(job.folder).points] == ["eave"]
    assert precious.read_text() == "mine"
