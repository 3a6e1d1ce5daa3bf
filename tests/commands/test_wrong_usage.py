"""What cannot be meant is told by the option it was given to, with what would do; nothing is made.

One table for every command: exit code 2, a sentence on standard error, no output, no file changed.
"""

import shlex
import shutil

import pytest

from logger.survey.demo import shipped_survey

WEATHER = "weather job --monthly "
ASSESS = "assess h.csv --latitude 46 --longitude 14.5 --tilt 35 --azimuth 180 "
NAMED = "edit name-sector job yard "
WRONG = [
    ("no-such-command", "No such command"),
    ("assess", "Missing argument 'HORIZON'"),
    ("declination --latitude 46 --longitude 14 --date 9999-12-31", "no magnetic model says"),
    ("declination --latitude 46.05 --longitude 14.5 --altitude 310,5", "point is needed: 310.5"),
    # A place and its planes
    ("new barn --latitude 46 --longitude 14 --timezone Moon/Base", "Moon/Base"),
    ("new barn --latitude 46 --longitude 14 --plane roof", "is not NAME=TILT,AZIMUTH"),
    ("new barn --latitude 46 --longitude 14 --plane a=95,180", "tilt 95 of a"),
    ("new barn --latitude 46 --longitude 14 --plane a=5,-90", "azimuth_deg is -90"),
    ("new barn --latitude 14.51E --longitude 46.05N", "are latitude and longitude swapped?"),
    ("new barn --latitude=-46N --longitude 14", "in front and one behind; one of them"),
    ("new barn --latitude 46 --longitude 46N", "'46N' is a latitude; are latitude and longitude"),
    ("new barn --latitude 46.05 --longitude east", "46.05E or 46°03'00\"E"),
    ("new barn --latitude 96 --longitude 14", "latitude 96 is outside -90 to 90 degrees"),
    # Settings
    ("settings job drws=1", "there is no setting 'drws' try: draws"),
    ("settings job sky=1", "there is no setting 'sky' try: horizon-logger settings JOB lists them"),
    ("settings job drws=default", "there is no setting 'drws'"),
    ("settings job draws=-1", "draws: -1 is outside 0 to 100000"),
    ("settings job draws", "is not NAME=VALUE"),
    ("replay a.sweep --solar-window 9-15", "solar_window: '9-15' is not a number"),
    ("replay a.sweep --reflectance 2", "reflectance: 2 is outside 0 to 1"),
    ("replay job yard --set darws=1", "draws"),
    ("replay job yard --set draws", "NAME=VALUE"),
    ("replay job yard --set draws=few", "a whole number"),
    ("replay job yard --year 2027 --set year=2028", "given twice"),
    # What goes with what
    ("replay yard.sweep --tilt 30", "--tilt and --azimuth"),
    ("replay yard.sweep --latitude 91 --longitude 0", "latitude 91 is outside"),
    ("replay yard.sweep --altitude 1e9", "altitude 1e+09 is outside"),
    ("replay job yard --rate 10", "one recording"),
    ("replay job yard --processes 2", "--batch"),
    ("replay job yard --batch .", "give RECORDING"),
    ("replay job medow", "the job has no point 'medow' try: meadow"),
    ("replay --batch job --job 1", "--job is for one recording"),
    ("replay --batch job --rate 1", "--rate is for one recording"),
    ("replay --batch job --samples 1", "--samples is for one point"),
    ("replay --batch job --altitude 1", "--altitude is for one recording"),
    ("replay --batch job --accept-broken-seal", "--accept-broken-seal is for one recording"),
    ("report job --output x.docx", "the document is a PDF, and its name ends in .docx"),
    ("report job --output client", "the document is a PDF, and its name ends in nothing"),
    ("compare bare", "no point of this job has a recording"),
    ("array bare --plane 'ground frame'", "no point of this job has a recording"),
    # Calibrations and sweeps
    ("calibrate compass job --recording yard.sweep --port loop://", "either --port URL or --rec"),
    ("calibrate bearing job --recording yard.sweep", "give either --sun or --target"),
    ("calibrate bearing job --recording yard.sweep --sun --target 63", "either --sun or --target"),
    ("calibrate compass job --recording yard.sweep --bearings 10,east", "is not DEGREES,..."),
    ("calibrate bearing job --target 400 --port loop://", "0<=x<=360"),
    ("sweep job eave --port nowhere --stance ladder", "a ladder needs both hands: sweep from the"),
    ("sweep job eave Eave --port nowhere", "'eave' and 'Eave' differ in case alone"),
    ("sweep job eave --port nowhere --calibrate magic", "'magic' is none of compass, level, sun"),
    ("sweep job eave --port nowhere --calibrate bearing", "'bearing' is none of"),
    # Changes of a job
    (NAMED + "--name '' --from-azimuth 9 --to-azimuth 19", "the name '' is empty"),
    (NAMED + "--name oak --from-azimuth 9 --to-azimuth 19 --distance 1e9", "outside 0.01 to"),
    (
        "edit set-outline job 'south-west frame' --corner 0,0,0 --size 0,5",
        "'0,5' is not WIDTH,HEIGHT",
    ),
    ("array job --plane 'south-west frame' --size 8,-5", "'8,-5' is not WIDTH,HEIGHT"),
    ("array job", "--plane, one of ground frame, south-west frame"),
    ("compare job --json ''", "no file is named"),
    ("edit set-position job yard --at 1,2,3 --distance 4", "--distance, --bearing and --rise go"),
    # Weather
    ("weather job", "give one of FILE, --fetch and --monthly"),
    ("weather job --fetch --monthly 1", "give one of FILE, --fetch and --monthly"),
    (WEATHER + "1,2,3", "twelve numbers"),
    (WEATHER + "1,2,3,4,5,6,7,8,9,10,11,oak", "'oak'"),
    (WEATHER + "1.2,2.1,3.3,4.2,5.3,5800,6.1,5.2,3.7,2.3,1.3,0.9", "the mean of month 6, 5800"),
    # A horizon from a file
    ("assess h.csv --latitude 95 --longitude 14.5 --tilt 35 --azimuth 180", "latitude 95"),
    (ASSESS + "--without elm", "elm"),
    (ASSESS + "--building shed=1,2", "HEIGHT,WIDTH[,DEPTH]"),
    (ASSESS + "--building =1,2,3,4", "is not NAME=AZIMUTH"),
    (ASSESS + "--cut-to 'lime tree=low'", "is not NAME=DEGREES, such as"),
    (ASSESS + "--kind 'lime tree=plastic'", "plastic"),
    (ASSESS + "--solar-window 15,9", "solar_window: the start must come before the end try: 9,15"),
    (ASSESS + "--heading-error -1", "not in the range 0.0<=x<=180.0"),
    (ASSESS + "--level-error nan", "not a finite number"),
    (ASSESS + "--reflectance 0.2,0.3", "2 numbers"),
    (ASSESS + "--set tremor_deg=1", "no effect on a horizon from a file"),
    (ASSESS + "--set transposition=magic", "magic"),
    (ASSESS + "--year 1066", "1066"),
    (ASSESS + "--size 0", "size"),
    (ASSESS + "--timezone Mars/Olympus", "Mars"),
    (ASSESS + "--least-access 75", "outside 0 to 1"),
    # The virtual board
    ("simulate --pty --tcp 127.0.0.1:0", "exclude each other"),
    ("simulate --do dance", "no task 'dance'"),
    ("simulate --speed -1", "not in the range x>=0"),
    ("simulate --tcp nowhere", "is not ADDRESS:PORT"),
    ("simulate --tcp [::1]:0", "is not ADDRESS:PORT"),
    ("simulate --tcp 127.0.0.1:+0", "is not ADDRESS:PORT"),
    ("simulate --sector north", "is not FROM,TO"),
    ("simulate --observers 2 --output job", "job: holds something already"),
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A job, a recording and a horizon, none of which a wrong command changes."""
    made = tmp_path_factory.mktemp("wrong")
    shutil.copytree(shipped_survey(), made / "job")
    (made / "bare").mkdir()
    shutil.copy(made / "job" / "job.toml", made / "bare")
    (recording,) = (made / "job" / "sweeps" / "yard").iterdir()
    shutil.copy(recording, made / "yard.sweep")
    rows = "".join(f"{a},5,{'lime tree' if 120 <= a <= 150 else ''}\n" for a in range(0, 360, 10))
    (made / "h.csv").write_text(f"azimuth_deg,elevation_deg,obstruction\n{rows}")
    return made


def all_in(folder):
    return {path: path.stat().st_mtime_ns for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize(("command", "words"), WRONG, ids=[command for command, _ in WRONG])
def test_what_cannot_be_meant_is_told_and_nothing_is_made(run, folder, command, words):
    before = all_in(folder)
    done = run(*shlex.split(command), cwd=folder)
    assert done.code == 2, done
    assert words in " ".join(done.err.split())
    assert done.out == ""
    assert all_in(folder) == before
