"""Names that people give and files must bear: taken as they are, or refused with a reason."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata

from logger.errors import UsageError

LONGEST = 80
_FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]')
_RESERVED = re.compile(r"(?i)^(con|prn|aux|nul|com\d|lpt\d)(\..*)?$")


def plain_name(name: str, what: str = "name") -> str:
    """A name on one line: the two spellings of an accent, and blanks around it, are one name."""
    tidy = unicodedata.normalize("NFC", name.strip())
    problem = ""
    if not tidy:
        problem = "is empty"
    elif len(tidy) > LONGEST:
        problem = f"is longer than {LONGEST} characters"
    elif not tidy.isprintable():
        problem = "holds a character that cannot be printed"
    if problem:
        raise _refused(name, what, problem)
    return tidy


def folder_name(name: str, what: str = "point name") -> str:
    """The name as a folder's, the same on every system."""
    problem = ""
    if _FORBIDDEN.search(name.strip()):
        problem = 'holds one of < > : " / \\ | ? * or a control character'
    tidy = name if problem else plain_name(name, what)
    if tidy.startswith(".") or tidy.endswith("."):
        problem = problem or "starts or ends with a dot"
    elif _RESERVED.match(tidy):
        problem = "is reserved by some systems"
    if problem:
        raise _refused(name, what, problem)
    return tidy


def _refused(name: str, what: str, problem: str) -> UsageError:
    return UsageError(f"the {what} {name[:LONGEST]!r} {problem}", hint="choose another name")


def stamp(moment: dt.datetime) -> str:
    """A UTC moment for a file name: 20260514T081231Z."""
    return moment.astimezone(dt.UTC).strftime("%Y%m%dT%H%M%SZ")
