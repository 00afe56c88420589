"""A song file being read: every problem is collected with its line and its place, and none stops the reading."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, TypeVar

from coach.errors import BadInput
from coach.files.toml_map import Path, TomlMap
from coach.music.tempo import bpm_value

T = TypeVar("T")

MOST_PROBLEMS = 100

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")


@dataclass(frozen=True)
class Problem:
    """Something wrong in a file: its line (from 1), the place in words, what is wrong and how to mend it."""

    line: int
    where: str
    what: str
    mend: str = ""

    @property
    def message(self) -> str:
        """What is wrong and how to mend it, as one sentence."""
        return str(BadInput(self.what, mend=self.mend))

    def __str__(self) -> str:
        """The line, the place and the message."""
        return str(self.error())

    def error(self) -> BadInput:
        """The problem as an error."""
        where = f"line {self.line}" + (f", {self.where}" if self.where else "")
        return BadInput(self.what, where=where, mend=self.mend)


def place_name(path: Path) -> str:
    """A path in a song file in words: `part Verse, bar 3`, `arrangement full, part Verse`; "" for the whole song."""
    said: list[str] = []
    rest = list(path)
    while rest:
        kind = rest.pop(0)
        if kind in ("parts", "arrangements") and rest:
            said.append(f"{str(kind)[:-1]} {rest.pop(0)}")
        elif kind == "bars" and rest:
            number = rest.pop(0)
            # In an arrangement the entries are not in the order of the part's bars.
            what = "its bars, entry" if "arrangements" in path else "bar"
            said.append(f"{what} {int(number) + 1}")
        else:
            break
    return ", ".join(said)


@dataclass
class Reading:
    """What is being read, where it stands, and what was found wrong (`problems`) or merely odd (`notes`)."""

    places: TomlMap
    problems: list[Problem] = field(default_factory=list)
    notes: list[Problem] = field(default_factory=list)

    def problem(self, path: Path, what: str, mend: str = "") -> None:
        """Note a problem at `path`."""
        if len(self.problems) < MOST_PROBLEMS:
            self.problems.append(Problem(self.places.line_of(path), place_name(path), what, mend))

    def odd(self, path: Path, what: str, mend: str = "") -> None:
        """Note something that is no mistake but may not be meant."""
        if len(self.notes) < MOST_PROBLEMS:
            self.notes.append(Problem(self.places.line_of(path), place_name(path), what, mend))

    def tried(self, path: Path, read: Callable[[], T]) -> T | None:
        """What `read` gives; None, and a problem noted, when it raises BadInput."""
        try:
            return read()
        except BadInput as error:
            self.problem(path, error.what, error.mend)
            return None

    def keys(self, path: Path, table: Mapping[str, Any], known: Collection[str]) -> None:
        """A key that is nearly a known one is a problem; any other unknown key is left alone and told."""
        for key in table:
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1, cutoff=0.7)
                if near:
                    self.problem((*path, key), f"'{key}' is not a key here", f"did you mean '{near[0]}'?")
                else:
                    self.odd((*path, key), f"'{key}' is not a key known here, so it is not read", "it may stay")

    def table(self, path: Path, value: Any) -> Mapping[str, Any]:
        """A table; an empty one, and a problem, for anything else. None is a table left out."""
        if value is None:
            return {}
        if not isinstance(value, dict):
            self.problem(path, f"'{path[-1]}' must be a table", f"write it as {path[-1]} = {{ ... }}")
            return {}
        return value

    def text(self, path: Path, value: Any) -> str:
        """Text, its blanks made single; "" for none, and a problem for what is no text."""
        if value is None:
            return ""
        if not isinstance(value, str):
            self.problem(path, f"'{path[-1]}' must be text", "put it in quotation marks")
            return ""
        return " ".join(self.clean(path, value).split())

    def clean(self, path: Path, text: str) -> str:
        """The text without control characters, which could play tricks on a terminal; they are a problem."""
        if _CONTROL.search(text):
            self.problem(path, f"'{path[-1]}' has a control character in it", "write it again with letters alone")
            return ""
        return text

    def truth(self, path: Path, value: Any) -> bool:
        """True or false; false for none."""
        if value is not None and not isinstance(value, bool):
            self.problem(path, f"'{path[-1]}' must be true or false", f"write {path[-1]} = true")
            return False
        return bool(value)

    def whole(self, path: Path, value: Any, low: int, high: int) -> int | None:
        """A whole number within limits; None for none, and a problem for anything else."""
        if value is None:
            return None
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            shown = "this number" if too_long(value) else f"{path[-1]} = {value!r}"[:60]
            self.problem(path, f"{shown} cannot be", f"give a whole number from {low} to {high}")
            return None
        return value

    def tempo(self, path: Path, value: Any) -> Fraction | None:
        """A tempo in bpm; None for none, and a problem for what is no tempo."""
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float | str) or too_long(value):
            self.problem(path, "the tempo must be a number", "write beats per minute, like tempo = 92")
            return None
        return self.tried(path, lambda: bpm_value(value))

    def texts(self, path: Path, value: Any) -> tuple[str, ...]:
        """A list of texts, or one text."""
        if value is None:
            return ()
        if isinstance(value, str):
            return (self.text(path, value),)
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            self.problem(path, f"'{path[-1]}' must be a list of texts", f'write {path[-1]} = ["...", "..."]')
            return ()
        return tuple(self.text((*path, number), item) for number, item in enumerate(value))


def too_long(value: Any) -> bool:
    """Whether it is a number of so many digits that it cannot even be shown (hexadecimal ones have no limit)."""
    return isinstance(value, int) and abs(value) >= 10**9
