"""Pattern files: TOML in, a Pattern out, and back; every problem is told with its line."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

from coach.errors import BadInput, BadPattern
from coach.music.chords import read_bars
from coach.music.meter import Meter
from coach.picking.pattern import LANES, MOST_SLOTS, STRAIGHT, Pattern, PatternBar, make_pattern_bar

LARGEST_FILE = 256 * 1024
_KEYS = ("title", "about", "meter", "slots", "feel", "tags", "grows_from", "chords", "bars")
_NEEDED = ("title", "meter", "slots", "bars")
LEAST_SHARE, LARGEST_SHARE = 0.5, 0.75


def read_pattern(path: Path, *, own: bool = False) -> Pattern:
    """Read one pattern file; its id is the file's stem. Raises BadPattern with file and line."""
    try:
        if path.is_dir():
            raise BadPattern("this is a folder, not a pattern file", mend="give the path of a .toml file")
        if path.exists() and not path.is_file():
            # A pipe or a device may have no end.
            raise BadPattern("this is not an ordinary file", mend="give the path of a .toml file")
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
        if len(raw) > LARGEST_FILE:
            raise BadPattern(
                f"the file is larger than {LARGEST_FILE // 1024} KiB", mend="a pattern file is a page of text at most"
            )
        text = raw.decode("utf-8-sig")  # some editors put a mark at the start
    except UnicodeDecodeError:
        raise BadPattern("this is not a text file", where=path.name, mend="a pattern file is TOML in UTF-8") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadPattern(f"cannot be read ({reason})", where=str(path), mend="check the path") from None
    except BadPattern as error:
        raise error.at(path.name) from None
    try:
        return parse_pattern(text, path.stem, own=own)
    except BadPattern as error:
        raise error.at(path.name) from None


def parse_pattern(text: str, pattern_id: str, *, own: bool = False) -> Pattern:
    """A Pattern from the text of its file. Raises BadPattern with `line N`."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise BadPattern("this is not TOML", where=_toml_place(str(error)), mend=_toml_hint(str(error))) from None
    except ValueError:
        # tomllib lets the interpreter's own limit on digits through.
        raise BadPattern("a number in it is far too long", mend="write numbers of a few digits") from None
    except RecursionError:
        raise BadPattern("brackets are nested too deep", mend="a pattern file has one level of tables") from None
    return _Reading(text, data).pattern(pattern_id, own)


class _Reading:
    """One file being read: knows on which line a key stands."""

    def __init__(self, text: str, data: Mapping[str, Any]) -> None:
        self.lines = text.splitlines()
        self.data = data

    def pattern(self, pattern_id: str, own: bool) -> Pattern:
        for key in self.data:
            if key not in _KEYS:
                near = difflib.get_close_matches(key, _KEYS, n=1)
                hint = f"did you mean '{near[0]}'?" if near else "keys are " + ", ".join(_KEYS)
                raise self.problem(key, f"'{key}' is not a key of a pattern file", hint)
        for key in _NEEDED:
            if key not in self.data:
                raise BadPattern(f"'{key}' is missing", mend=f"add a line {_EXAMPLES[key]}")
        slots = self.slots()
        meter = self.meter()
        return Pattern(
            id=pattern_id,
            title=self.text_of("title"),
            about=self.text_of("about"),
            meter=meter,
            slots=slots,
            bars=self.bars(slots),
            share=self.share(),
            tags=self.tags(),
            grows_from=self.text_of("grows_from"),
            chords=self.chords(),
            own=own,
        )

    def problem(self, key: str, what: str, mend: str, bar: int | None = None) -> BadPattern:
        line = self.line_of(key, bar) or (0 if bar is None else self.line_of("bars"))
        return BadPattern(what, where=f"line {line}" if line else "", mend=mend)

    def line_of(self, key: str, bar: int | None = None) -> int:
        """Line (from 1) of `key`, within the `bar`-th [[bars]] table when given; 0 when not found."""
        table = -1
        for number, line in enumerate(self.lines, start=1):
            if re.match(r"\s*\[\[\s*bars\s*\]\]", line):
                table += 1
                if key == "bars" and (bar is None or bar == table):
                    return number
            elif (bar is None or table == bar) and re.match(rf"\s*\[?\s*\"?{re.escape(key)}\"?\s*[=.\]]", line):
                return number
        return 0

    def text_of(self, key: str) -> str:
        value = self.data.get(key, "")
        if not isinstance(value, str):
            raise self.problem(key, f"'{key}' must be text", "put it in quotation marks")
        return " ".join(value.split())

    def slots(self) -> int:
        value = self.data["slots"]
        if not isinstance(value, int) or isinstance(value, bool) or not 1 <= value <= MOST_SLOTS:
            raise self.problem("slots", f"slots = {value!r} cannot be", f"give a whole number from 1 to {MOST_SLOTS}")
        return value

    def meter(self) -> Meter:
        try:
            return Meter.parse(self.data["meter"])
        except BadInput as error:
            raise self.problem("meter", error.what, error.mend) from None

    def share(self) -> Fraction:
        value = self.data.get("feel", "straight")
        if value == "straight":
            return STRAIGHT
        if isinstance(value, int | float) and not isinstance(value, bool) and LEAST_SHARE <= value <= LARGEST_SHARE:
            return Fraction(str(value)).limit_denominator(1000)
        raise self.problem("feel", f"feel = {value!r} cannot be", 'write "straight" or a swing share from 0.5 to 0.75')

    def chords(self) -> str:
        text = self.text_of("chords")
        if text:
            try:
                read_bars(text)
            except BadInput as error:
                raise self.problem("chords", f"chords: {error.where}: {error.what}", error.mend) from None
        return text

    def tags(self) -> tuple[str, ...]:
        value = self.data.get("tags", [])
        if not isinstance(value, list) or not all(isinstance(tag, str) for tag in value):
            raise self.problem("tags", "'tags' must be a list of words", 'write tags = ["plain"]')
        return tuple(value)

    def bars(self, slots: int) -> tuple[PatternBar, ...]:
        tables = self.data["bars"]
        if not isinstance(tables, list) or not tables or not all(isinstance(t, dict) for t in tables):
            raise self.problem(
                "bars", "'bars' must be one or more [[bars]] tables", "begin each bar with a line [[bars]]"
            )
        return tuple(self.bar(table, number, slots) for number, table in enumerate(tables))

    def bar(self, table: Mapping[str, Any], number: int, slots: int) -> PatternBar:
        for lane, text in table.items():
            if lane not in LANES or len(lane) != 1:
                raise self.problem(
                    lane, f"'{lane}' is not a lane (bar {number + 1})", "lanes are p, i, m and a", number
                )
            if not isinstance(text, str):
                raise self.problem(
                    lane, f"lane {lane} must be text (bar {number + 1})", "put its tokens in quotation marks", number
                )
        done: list[tuple[str, str]] = []
        for lane in LANES:
            if lane in table:
                done.append((lane, table[lane]))
                try:
                    bar = make_pattern_bar(done, slots)
                except BadPattern as error:
                    raise self.problem(lane, f"{error.what} (bar {number + 1})", error.mend, number) from None
        if not done or not bar.aims:
            raise self.problem(
                "bars",
                f"bar {number + 1} is silent",
                'give it at least one lane with a pluck, like p = "r . a ."',
                number,
            )
        return bar


_EXAMPLES = {
    "title": 'like title = "Outside in"',
    "meter": 'like meter = "4/4"',
    "slots": "like slots = 8",
    "bars": "[[bars]] and below it the lanes",
}


def _toml_place(message: str) -> str:
    match = re.search(r"at line (\d+)", message)
    return f"line {match.group(1)}" if match else "the end of the file"


def _toml_hint(message: str) -> str:
    reason = re.sub(r"\s*\(at .*", "", message).strip()
    return f"the reader says: {reason[:1].lower()}{reason[1:]}" if reason else ""


def pattern_text(pattern: Pattern) -> str:
    """The file of a pattern: reading it back gives an equal one."""
    head = [
        f"title = {_quoted(pattern.title)}",
        f"about = {_quoted(pattern.about)}",
        f'meter = "{pattern.meter}"',
        f"slots = {pattern.slots}",
        f"feel = {_quoted(pattern.feel) if isinstance(pattern.feel, str) else pattern.feel}",
        f"tags = [{', '.join(_quoted(tag) for tag in pattern.tags)}]",
    ]
    if pattern.grows_from:
        head.append(f"grows_from = {_quoted(pattern.grows_from)}")
    if pattern.chords:
        head.append(f"chords = {_quoted(pattern.chords)}")
    for bar in pattern.bars:
        head.append("[[bars]]")
        used = {aim.finger for aim in bar.aims}
        head += [f'{lane} = "{bar.lane(lane, pattern.slots)}"' for lane in LANES if lane in used]
    return "\n".join(head) + "\n"


def _quoted(text: str) -> str:
    """A TOML basic string: backslash, quote and control characters escaped (TOML 1.0, section String)."""
    return '"' + "".join(_escaped(c) for c in text) + '"'


def _escaped(char: str) -> str:
    if char in '"\\':
        return "\\" + char
    return f"\\u{ord(char):04x}" if ord(char) < 32 or ord(char) == 127 else char
