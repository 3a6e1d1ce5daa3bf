"""Names that people give and files must bear: taken as they are, or refused with a reason."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata

from logger.errors import UsageError

LONGEST = 80
_FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]')
_RESERVED = re.compile(r"(?i)^(con|prn|aux|nul|com\d|lpt\d)(\..*)?$")


def folder_name(name: str, what: str = "point") -> str:
    """The name as a folder's, the same on every system."""
    tidy = unicodedata.normalize("NFC", name.strip())
    problem = ""
    if not tidy:
        problem = "is empty"
    elif len(tidy) > LONGEST:
        problem = f"is longer than {LONGEST} characters"
    elif _FORBIDDEN.search(tidy):
        problem = 'holds one of < > : " / \\ | ? * or a control character'
    elif not tidy.isprintable():
        problem = "holds a character that cannot be printed"
    elif tidy.startswith(".") or tidy.endswith("."):
        problem = "starts or ends with a dot"
    elif _RESERVED.match(tidy):
        problem = "is reserved by some systems"
    if problem:
        raise UsageError(
            f"the {what} name {name[:LONGEST]!r} {problem}", hint="choose another name"
        )
    return tidy


def stamp(moment: dt.datetime) -> str:
    """A UTC moment for a file name: 20260514T081231Z."""
    return moment.astimezone(dt.UTC).strftime("%Y%m%dT%H%M%SZ")
