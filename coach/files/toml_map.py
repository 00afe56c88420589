"""Where everything stands in a TOML text: the line of each key, and the spans that an editor may put other text in.

Only for text that `tomllib` has read already: what is wrong with a file is that reader's to say. A path is a tuple
of keys and of indices from 0, as one would reach the value in what `tomllib` gives: ("parts", "Verse", "bars", 3).
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field

Path = tuple[str | int, ...]

TABLE, INLINE, ARRAY, PLAIN = "table", "inline", "array", "plain"

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BASIC = re.compile(r'"(?:[^"\\\n]|\\.)*"')
_LITERAL = re.compile(r"'[^'\n]*'")
_LONG_BASIC = re.compile(r'"""(?:[^"\\]|\\.|"(?!""))*"""(?:"{0,2})', re.DOTALL)
_LONG_LITERAL = re.compile(r"'''(?:[^']|'(?!''))*'''(?:'{0,2})", re.DOTALL)
_TOKEN = re.compile(r"[^,\]}#\r\n]*")


@dataclass(frozen=True)
class Place:
    """Where a value stands: `start` of its key (or of itself in an array), `value` to `end` its own text; offsets.

    A TABLE is written as a section or by dotted keys: its span is that of its header, or of the first dotted key.
    """

    kind: str
    start: int
    value: int
    end: int


@dataclass(frozen=True)
class Line:
    """One `key = value` outside all brackets: the path of its section, its own keys, where it starts and ends."""

    section: int
    keys: tuple[str, ...]
    start: int
    end: int


@dataclass(frozen=True)
class Section:
    """`[path]` or `[[path]]`: where its header starts, where its own lines begin, where the next header starts."""

    path: Path
    start: int
    body: int
    end: int


@dataclass
class TomlMap:
    """The places of a text; `sections[0]` is what stands before the first header."""

    text: str
    places: dict[Path, Place] = field(default_factory=dict)
    sections: list[Section] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    _breaks: list[int] = field(default_factory=list)

    def line_of(self, path: Path) -> int:
        """Line (from 1) of the value, or of the nearest thing around it."""
        for length in range(len(path), 0, -1):
            place = self.places.get(path[:length])
            if place is not None:
                return bisect_right(self._breaks, place.start - 1) + 1
        return 1


def map_toml(text: str) -> TomlMap:
    """The places of everything in `text`, which must be TOML."""
    found = TomlMap(text, _breaks=[m.start() for m in re.finditer("\n", text)])
    _Scan(found).run()
    return found


class _Scan:
    def __init__(self, found: TomlMap) -> None:
        self.found, self.text, self.at = found, found.text, 0
        self.counts: dict[Path, int] = {}

    def run(self) -> None:
        text, found = self.text, self.found
        open_at, body, here = 0, 0, Path()
        heads: list[tuple[Path, int, int]] = []
        self.blank()
        while self.at < len(text):
            if text[self.at] == "[":
                heads.append((here, open_at, body))
                open_at = self.at
                here = self.header()
                body = self.at
            else:
                self.line(len(heads), here)
            self.blank()
        heads.append((here, open_at, body))
        for number, (path, start, begins) in enumerate(heads):
            ends = heads[number + 1][1] if number + 1 < len(heads) else len(text)
            found.sections.append(Section(path, start, begins, ends))

    def blank(self) -> None:
        match = _BLANK.match(self.text, self.at)
        self.at = match.end() if match else self.at

    def space(self) -> None:
        match = _SPACE.match(self.text, self.at)
        self.at = match.end() if match else self.at

    def header(self) -> Path:
        start = self.at
        many = self.text.startswith("[[", start)
        self.at += 2 if many else 1
        keys = list(self.keys())
        self.at += 2 if many else 1
        path: Path = ()
        for number, key in enumerate(keys):
            path = (*path, key)
            last = number == len(keys) - 1
            if last and many:
                count = self.counts[path] = self.counts.get(path, 0) + 1
                self.put(path, Place(ARRAY, start, start, self.at))
                path = (*path, count - 1)
            elif path in self.counts:
                path = (*path, self.counts[path] - 1)
            self.put(path, Place(TABLE, start, start, self.at))
        return path

    def put(self, path: Path, place: Place) -> None:
        self.found.places.setdefault(path, place)

    def keys(self) -> Iterator[str]:
        """The keys of a dotted key; leaves the place after it."""
        while True:
            self.space()
            yield self.key()
            self.space()
            if not self.text.startswith(".", self.at):
                return
            self.at += 1

    def key(self) -> str:
        for pattern in (_BARE_KEY, _BASIC, _LITERAL):
            match = pattern.match(self.text, self.at)
            if match:
                self.at = match.end()
                if pattern is _BARE_KEY:
                    return match.group()
                return str(tomllib.loads(f"k = {match.group()}")["k"])
        raise ValueError(f"no key at {self.at}")

    def line(self, section: int, here: Path) -> None:
        start = self.at
        keys = tuple(self.keys())
        self.pair(start, here, keys)
        self.found.lines.append(Line(section, keys, start, self.at))

    def pair(self, start: int, here: Path, keys: tuple[str, ...]) -> None:
        """What stands after a key: the sign and the value."""
        for length in range(1, len(keys)):
            self.put((*here, *keys[:length]), Place(TABLE, start, start, start))
        self.at += 1  # the =
        self.space()
        self.value(start, (*here, *keys))

    def value(self, start: int, path: Path) -> None:
        begins, kind = self.at, PLAIN
        text = self.text
        if text.startswith('"""', begins):
            self.take(_LONG_BASIC)
        elif text.startswith("'''", begins):
            self.take(_LONG_LITERAL)
        elif text.startswith('"', begins):
            self.take(_BASIC)
        elif text.startswith("'", begins):
            self.take(_LITERAL)
        elif text.startswith("[", begins):
            kind = ARRAY
            self.at += 1
            self.blank()
            number = 0
            while text[self.at] != "]":
                self.value(self.at, (*path, number))
                number += 1
                self.comma()
            self.at += 1
        elif text.startswith("{", begins):
            kind = INLINE
            self.at += 1
            self.blank()
            while text[self.at] != "}":
                at = self.at
                self.pair(at, path, tuple(self.keys()))
                self.comma()
            self.at += 1
        else:
            self.take(_TOKEN)
            self.at = begins + len(text[begins : self.at].rstrip())
        self.put(path, Place(kind, start, begins, self.at))

    def comma(self) -> None:
        self.blank()
        if self.text.startswith(",", self.at):
            self.at += 1
            self.blank()

    def take(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.at)
        if match is None:
            raise ValueError(f"no value at {self.at}")
        self.at = match.end()
