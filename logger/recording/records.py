"""The recording's line format: one place for what writer and reader must agree on.

First line ``horizon-logger recording 1``, then one record a line: ``h`` header, ``s`` sentence,
``n`` note, ``x`` bytes that were no sentence, ``e`` the seal.
"""

from __future__ import annotations

import json
from typing import Any

MAGIC = b"horizon-logger recording "
VERSION = 1
FIRST_LINE = MAGIC + b"%d" % VERSION

PURPOSES = ("sweep", "compass", "level", "bearing", "plane")
LEAF_STATES = ("in leaf", "bare", "none")


def compact_json(value: Any) -> bytes:
    """One line of JSON: no spaces, real letters, NaN refused."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    # A lone surrogate (from undecodable bytes in a file name, say) has no UTF-8.
    return text.encode("utf-8", errors="replace")


LONGEST_TEXT = 200


def printable(text: str) -> str:
    """A name or remark on one line of sane length, nothing in it that steers a terminal."""
    return "".join(c if c.isprintable() else " " for c in text[:LONGEST_TEXT]).strip()
