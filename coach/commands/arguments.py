"""What a command takes: the command as a value, a parser that complains in one sentence, readers of numbers."""

from __future__ import annotations

import argparse
import difflib
import re
import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import NoReturn

from coach.errors import BadInput, BadMusic
from coach.music.tempo import bpm_value

_NUMBER = re.compile(r"\d{1,6}(\.\d{1,6})?")


@dataclass(frozen=True)
class Command:
    """One command: a line on what it does, examples for its help, its arguments, and the deed itself.

    The deed gets the parsed arguments and prints its answer; it raises CoachError when it cannot.
    """

    about: str
    example: str
    arguments: Callable[[argparse.ArgumentParser], None]
    deed: Callable[[argparse.Namespace], None]

    def parser(self, name: str) -> argparse.ArgumentParser:
        """The parser of this command under its name."""
        parser = SentenceParser(
            prog=f"coach {name}",
            description=textwrap.fill(self.about, 78),
            epilog="example:\n" + "\n".join(f"  {line}" for line in self.example.splitlines()),
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
        )
        self.arguments(parser)
        return parser


class SentenceParser(argparse.ArgumentParser):
    """Argparse, but a mistake is one sentence (a BadInput) instead of a page of usage."""

    def error(self, message: str) -> NoReturn:
        """Raise BadInput with the mistake in plain words."""
        raise BadInput(*self._plain(message), mend=f"see {self.prog} --help")

    def parse_args(self, args=None, namespace=None):  # type: ignore[no-untyped-def]
        """Parse; a word that fits nowhere is told with the nearest option."""
        found, rest = self.parse_known_args(args, namespace)
        if rest:
            word = rest[0].split("=")[0]
            if not word.startswith("-"):
                raise BadInput(f"'{word}' is one word too many", mend=f"see {self.prog} --help")
            near = difflib.get_close_matches(word, self._option_string_actions, n=1)
            hint = f"did you mean {near[0]}?" if near else f"see {self.prog} --help"
            raise BadInput(f"'{word}' is not an option of {self.prog}", mend=hint)
        return found

    def _plain(self, message: str) -> tuple[str]:
        missing = re.match(r"the following arguments are required: (.*)", message)
        if missing:
            return (f"{self.prog} needs {missing[1]}",)
        lone = re.match(r"argument (.*?): expected (one|at least one) argument", message)
        if lone:
            return (f"{lone[1]} needs a value after it",)
        return (message.removeprefix("argument "),)


def add_json(parser: argparse.ArgumentParser) -> None:
    """The option every command that answers with data has."""
    parser.add_argument("--json", action="store_true", help="print one JSON document and nothing else")


def add_force(parser: argparse.ArgumentParser) -> None:
    """The option of every command that writes a file."""
    parser.add_argument("--force", action="store_true", help="write over a file that exists")


def add_paper(parser: argparse.ArgumentParser) -> None:
    """The option of every command that prints."""
    parser.add_argument("--paper", metavar="P", default="a4", help="of a PDF: a4 or letter (usual: a4)")


def add_ramp(parser: argparse.ArgumentParser, *, needed: bool) -> None:
    """The options that shape a tempo plan."""
    parser.add_argument("--from", dest="start", metavar="B", required=needed, help="tempo at the beginning, in bpm")
    parser.add_argument("--to", metavar="B", required=needed, help="tempo at the end, in bpm; may be lower")
    parser.add_argument("--step", metavar="B", help="go in steps of this many bpm (usual: near 3 %% of the tempo)")
    parser.add_argument("--every", metavar="BARS", help="how many bars each step lasts (usual: 4)")
    parser.add_argument("--smooth", metavar="BARS", help="instead of steps, change beat by beat over this many bars")
    parser.add_argument("--meter", metavar="M", default="4/4", help="meter, like 3/4 or 6/8 (usual: 4/4)")


def tempo(text: str, option: str) -> Fraction:
    """A tempo in bpm given with `option`. Raises BadMusic."""
    if not _NUMBER.fullmatch(text):
        raise BadMusic(f"{option} '{text}' is not a tempo", mend="give beats per minute, like 84 or 92.5")
    return bpm_value(text, name=option)


def decimal(text: str, option: str, low: str, high: str) -> Fraction:
    """A number between two limits, exact. Raises BadInput."""
    if not _NUMBER.fullmatch(text) or not Fraction(low) <= Fraction(text) <= Fraction(high):
        raise BadInput(f"{option} '{text}' cannot be", mend=f"give a number from {low} to {high}")
    return Fraction(text)


def whole(text: str | int, option: str, low: int, high: int) -> int:
    """A whole number between two limits. Raises BadInput."""
    if not re.fullmatch(r"[0-9]{1,9}", str(text)) or not low <= int(text) <= high:
        raise BadInput(f"{option} '{text}' cannot be", mend=f"give a whole number from {low} to {high}")
    return int(text)
