"""The words of a document in a language, and its numbers and dates by the customs of that language.

A message is a whole sentence with named fields; in the code it stands in English. Other languages
stand in ``words/<language>.po``.
"""

from __future__ import annotations

import datetime as dt
import gettext
import io
import math
import re
from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from logger.errors import UsageError

LOCALES = {"en": "en_GB", "de": "de_DE"}
REMARKS = {"de": "Deutsche Fassung: von keinem muttersprachlichen Vermesser gelesen"}
"""Of languages that no native surveyor has read yet."""
DASH = "–"
NBSP = "\N{NO-BREAK SPACE}"


def N_(message: str) -> str:  # noqa: N802 - gettext's name for it
    """Mark a message that is translated where it is shown."""
    return message


def messages_of(template: str) -> list[str]:
    """What a template of this room says by itself, beside its data."""
    text = files("logger.report").joinpath(template).read_text("utf-8")
    return re.findall(r'\bw\("(.*?)"\)', text)


class Words:
    """Says messages, numbers and dates in one language."""

    def __init__(self, language: str = "en") -> None:
        from babel import Locale

        if language not in LOCALES:
            raise UsageError(f"language {language!r} is none of {', '.join(LOCALES)}")
        self.language = language
        self._locale = Locale.parse(LOCALES[language])
        self._messages = _catalogue(language)

    @property
    def remark(self) -> str:
        """What a reader must know of this language's words; empty for English."""
        return REMARKS.get(self.language, "")

    def __call__(self, message: str, /, **named: Any) -> str:
        """A message with its fields filled in."""
        said = self._messages.gettext(message)
        return said.format(**named) if named else said

    def count(self, one: str, many: str, n: int, /, **named: Any) -> str:
        """The message for one or for many; its field ``n`` is the number."""
        return self._messages.ngettext(one, many, n).format(n=n, **named)

    def number(self, value: float | None, decimals: int = 0) -> str:
        """A number; a dash where it is not defined."""
        from babel.numbers import format_decimal

        if value is None or not math.isfinite(value):
            return DASH
        rounded = round(value, decimals) + 0.0  # no negative zero
        pattern = "0." + "0" * decimals if decimals else "0"
        return format_decimal(rounded, format=pattern, locale=self._locale).replace("-", "−")

    def percent(self, share: float, decimals: int = 0) -> str:
        """A share in per cent; a dash where it is not defined."""
        number = self.number(share * 100, decimals)
        return number if number == DASH else f"{number}{NBSP}%"

    def date(self, day: dt.date) -> str:
        """Such as 14 May 2026."""
        from babel.dates import format_date

        return format_date(day, "long", locale=self._locale)

    def day(self, day: dt.date) -> str:
        """Such as 14 May: a day of any year."""
        from babel.dates import format_skeleton

        return format_skeleton("MMMd", day, locale=self._locale).replace(" ", NBSP)

    def month(self, month: int, width: str = "wide") -> str:
        """Name of a month, 0 to 11: ``wide``, ``abbreviated`` or ``narrow``."""
        return str(self._locale.months["stand-alone"][width][month + 1]).rstrip(".")

    def months(self, months: Sequence[int], width: str = "wide") -> str:
        """Months by name, three and more on end as a span."""
        runs: list[list[int]] = []
        for m in sorted(months):
            if runs and m == runs[-1][-1] + 1:
                runs[-1].append(m)
            else:
                runs.append([m])
        told: list[str] = []
        for run in runs:
            first, last = self.month(run[0], width), self.month(run[-1], width)
            span = self(N_("{first} to {last}"), first=first, last=last)
            told += [span] if len(run) > 2 else [self.month(m, width) for m in run]
        return self.listed(told)

    def listed(self, items: Sequence[str]) -> str:
        """Such as: one, two and three."""
        from babel.lists import format_list

        return format_list(list(items), locale=self._locale)


@cache
def _catalogue(language: str) -> gettext.NullTranslations:
    if language == "en":
        return gettext.NullTranslations()
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po

    source = files("logger.report").joinpath("words", f"{language}.po").read_bytes()
    compiled = io.BytesIO()
    write_mo(compiled, read_po(io.BytesIO(source)))
    compiled.seek(0)
    return gettext.GNUTranslations(compiled)
