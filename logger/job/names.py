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
    _refuse(not tidy, name, what, "is empty")
    _refuse(len(tidy) > LONGEST, name, what, f"is longer than {LONGEST} characters")
    _refuse(not tidy.isprintable(), name, what, "holds a character that cannot be printed")
    return tidy


def folder_name(name: str) -> str:
    """A point's name as its folder's, the same on every system."""
    what, problem = "point name", 'holds one of < > : " / \\ | ? * or a control character'
    _refuse(_FORBIDDEN.search(name.strip()), name, what, problem)
    tidy = plain_name(name, what)
    _refuse(tidy[0] == "." or tidy[-1] == ".", name, what, "starts or ends with a dot")
    _refuse(_RESERVED.match(tidy), name, what, "is reserved by some systems")
    return tidy


def _refuse(wrong: object, name: str, what: str, problem: str) -> None:
    if wrong:
        whole = f"the {what} {name[:LONGEST]!r} {problem}"
        raise UsageError(whole, hint="choose another name")


def stamp(moment: dt.datetime) -> str:
    """A UTC moment for a file name: 20260514T081231Z."""
    return moment.astimezone(dt.UTC).strftime("%Y%m%dT%H%M%SZ")
