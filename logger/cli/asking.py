"""Who surveys, told and asked: at the terminal, and where a page is served on the page as well."""

from __future__ import annotations

import io
import sys
from typing import TYPE_CHECKING

import click

from logger.cli.environment import visible
from logger.cli.options import say
from logger.errors import LoggerError

if TYPE_CHECKING:
    from logger.job import Job
    from logger.live.state import Question
    from logger.page.server import Page

GO_ON, YES, NO = "Go on", "Yes", "No"


def at_terminal() -> bool:
    """Whether somebody can be asked: both ends are a terminal."""
    try:
        return sys.stdin.isatty() and sys.stderr.isatty()
    except (AttributeError, ValueError):
        return False


class Surveyor:
    """Somebody at a job with a board; with a page, what was said stands on it.

    Nobody is asked without a terminal.
    """

    def __init__(
        self, job: Job, url: str | None, baud: int | None, page: tuple[str, int] | None
    ) -> None:
        self.job, self.url, self.baud = job, url, baud
        self.asked = at_terminal()
        self.page: Page | None = None
        self._said: list[str] = []  # Since the last question
        if page is not None:
            self.page = _served(job, page, self.asked)
            click.get_current_context().call_on_close(self._leave)

    def say(self, sentence: str) -> None:
        """Tell at the terminal and, with the next question or the last word, on the page."""
        say(sentence)
        self.note(sentence)

    def note(self, words: str) -> None:
        """Tell on the page what the terminal tells in its own way."""
        self._said += [line.removeprefix("- ") for line in visible(words).splitlines()]

    def go_on(self, words: str) -> None:
        """Wait until what was said is read and done."""
        from logger.live.state import Question

        if self.page is not None and self.asked:
            self.answers(words, Question((GO_ON,)))
        elif self.asked:
            click.prompt(f"{words}; Enter starts", "", err=True, show_default=False)

    def confirms(self, words: str) -> bool:
        """Whether the answer is yes, which Enter gives."""
        from logger.live.state import Question

        if self.page is None:
            return click.confirm(words, default=True, err=True)
        return self.answers(words, Question((YES, NO)))[0] == YES

    def answers(self, words: str, question: Question) -> tuple[str, str]:
        """What is entered or chosen on the page, and its kind; empty for Enter at the terminal."""
        from logger.live.keyboard import open_keyboard

        assert self.page is not None
        say(f"{words} [on the page: {', '.join(question.choices)}; or Enter here]")
        said, self._said = self._said, []
        with open_keyboard() as keyboard:
            text, kind = self.page.ask(visible(words), said, question, keyboard)
        say(f"  {text} {kind}".rstrip())
        return text, kind

    def _leave(self) -> None:
        assert self.page is not None
        error = sys.exc_info()[1]
        if isinstance(error, LoggerError):
            self.note(f"{error}{f': {error.hint}' if error.hint else ''}")
        self.page.close(self._said)


def _served(job: Job, address: tuple[str, int], asked: bool) -> Page:
    """A page, its address as text and, on a terminal, as a QR code for the phone's camera."""
    from logger.page.server import Page

    page = Page(job, address)
    page.serve()
    say(f"page: {page.url}")
    say("whoever has this address can end the sweep: show it to your own phone alone")
    if asked:
        import segno

        drawn = io.StringIO()
        segno.make(page.url, error="l").terminal(drawn, border=2, compact=True)
        click.echo(drawn.getvalue(), err=True)
    return page
