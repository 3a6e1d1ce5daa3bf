#!/usr/bin/env python
"""Bring the document's catalogues up to the messages in the code; new ones have no translation.

``logger/report/words/<language>.po`` keeps what is translated; run ``python
tools/make_catalogue.py``, then translate what it names.
"""

from __future__ import annotations

import io
import re
from itertools import chain
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po, write_po

from logger.access import FAIL, PASS, TOO_CLOSE
from logger.access.intervals import REMEDIES
from logger.calibration.choose import PURPOSES
from logger.report.language import LOCALES, messages_of
from logger.safety import LONG_NOTICE

HOME = Path(__file__).parent.parent
REPORT = HOME / "logger" / "report"
CHECKS = HOME / "docs" / "reference" / "checks.md"
MONTHLY = "monthly means of daily global horizontal irradiation"  # As the sky calls itself
KEYWORDS = {"w": None, "N_": None, "count": (1, 2)}


def messages() -> Catalog:
    """Every message of the report room, and what it says of other rooms' words."""
    catalogue = Catalog()
    for _, _, message, _, _ in extract_from_dir(str(REPORT), [("*.py", "python")], {}, KEYWORDS):
        catalogue.add(message)
    elsewhere = (*LONG_NOTICE, *REMEDIES.items(), PURPOSES, (PASS, FAIL, TOO_CLOSE), [MONTHLY])
    for message in (*messages_of("document.typ"), *chain.from_iterable(elsewhere)):
        catalogue.add(message)
    return catalogue


def checks() -> list[str]:
    """Names of the checks, which other rooms give; without a translation they stay English."""
    return re.findall(r"^\| ([a-z][^|]*?) \|", CHECKS.read_text(encoding="utf-8"), re.M)[1:]


def main() -> None:
    template = messages()
    for name in checks():
        template.add(name)
    for language in LOCALES:
        path = REPORT / "words" / f"{language}.po"
        if language == "en":
            continue  # the messages themselves
        known = Catalog(locale=language, header_comment=f"# The document's words: {language}.")
        if path.exists():
            known = read_po(io.BytesIO(path.read_bytes()), locale=language)
        known.update(template, no_fuzzy_matching=True)
        known.obsolete.clear()
        known.fuzzy = False
        out = io.BytesIO()
        write_po(out, known, width=100, no_location=True, sort_output=True)
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(out.getvalue())
        for message in known:
            said = message.string or ""
            if message.id and not all([said] if isinstance(said, str) else said):
                print(f"{language}: not translated: {message.id}")


if __name__ == "__main__":
    main()
