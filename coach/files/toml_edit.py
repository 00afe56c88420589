"""Changing a TOML text in place: what was asked is changed, and every other letter stays as the player wrote it.

An `Edit` makes its changes one after another and ends with `done`, which reads the new text back: it must say what was
meant, no more and no less, or nothing is changed at all. Comments always stay, also those of what is taken out.
"""

from __future__ import annotations

import copy
import re
import tomllib
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from typing import Any

from coach.errors import BadInput, CoachError
from coach.files.toml_map import ARRAY, INLINE, TABLE, Line, Path, Section, TomlMap, map_toml

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_NO_COMMENT = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*"""|\'\'\'(?:[^\']|\'(?!\'\'))*\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|(?P<said>#[^\r\n]*)',
    re.DOTALL,
)
_OPENING = re.compile(r"(?:[ \t]*(?:#[^\n]*|\r)?\n)*(?:[ \t]*\r?\n|[ \t]*(?:#[^\n]*)?\Z)")
_AFTER = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")


def literal(value: Any) -> str:
    """A TOML value on one line: text, number, true or false, a list, or a table."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return str(value)
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, Mapping):
        inner = ", ".join(f"{key_text(str(k))} = {literal(v)}" for k, v in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    return "[" + ", ".join(literal(item) for item in value) + "]"


def quoted(text: str) -> str:
    """A TOML basic string: backslash, quote and control characters escaped (TOML 1.0, section String)."""
    return '"' + "".join(_escaped(c) for c in text) + '"'


def _escaped(char: str) -> str:
    if char in '"\\':
        return "\\" + char
    return f"\\u{ord(char):04x}" if ord(char) < 32 or ord(char) == 127 else char


def key_text(key: str) -> str:
    """A key as it is written: bare where it may be."""
    return key if _BARE.fullmatch(key) else quoted(key)


class Edit:
    """A text being changed; `data` is what it is to say. Raises BadInput for a text that is no TOML."""

    def __init__(self, text: str) -> None:
        self.text = text
        try:
            self.data: dict[str, Any] = tomllib.loads(text)
        except (ValueError, RecursionError):
            raise BadInput("this is not TOML", mend="mend the file in an editor first") from None
        self.newline = "\r\n" if "\r\n" in text else "\n"
        self._map: TomlMap | None = None

    @property
    def map(self) -> TomlMap:
        """Where everything stands in the text as it is now."""
        if self._map is None:
            self._map = map_toml(self.text)
        return self._map

    def done(self) -> str:
        """The new text. Raises CoachError when it does not say exactly what was meant."""
        try:
            same = _alike(tomllib.loads(self.text), self.data)
        except ValueError:
            same = False
        if not same:
            raise CoachError(
                "the file is written in a way that cannot be changed here without touching more than was asked",
                mend="change it in an editor; nothing was changed",
            )
        return self.text

    # What is asked ------------------------------------------------------------------------------

    def get(self, path: Path) -> Any:
        """The value at `path`, None where there is none."""
        here: Any = self.data
        for step in path:
            try:
                here = here[step]
            except (KeyError, IndexError, TypeError):
                return None
        return here

    def put(self, path: Path, value: Any) -> None:
        """Set the value at `path`; a table is set key by key, and keys that are not in it go."""
        old = self.get(path)
        if old == value and type(old) is type(value):
            return
        if isinstance(value, Mapping) and isinstance(old, dict):
            for key in [k for k in old if k not in value]:
                self.drop((*path, key))
            for key, inner in value.items():
                self.put((*path, key), inner)
            return
        if isinstance(old, dict):
            self.drop(path)
            old = None
        place = self.map.places.get(path)
        self._expect(path, copy.deepcopy(value))
        if place is not None and place.kind != TABLE and not self._in_sections(path):
            self._replace_value(place.value, place.end, literal(value))
        elif self._in_sections(path):
            self._cut_sections(path)
            self._add(path, value)
        else:
            self._add(path, value)

    def drop(self, path: Path) -> None:
        """Take out the value at `path`, if there is one."""
        if self.get(path) is None:
            return
        parent = self.get(path[:-1])
        del parent[path[-1]]
        place = self.map.places[path]
        if place.kind == TABLE or self._in_sections(path):
            self._cut_sections(path)
        elif self._line_at(place.start) is not None and self._line_path(self._line_at(place.start)) == path:
            self._cut_line(self._line_at(place.start))
        else:
            self._cut_member(path)
        # What was only written by what it held is gone with it.
        for length in range(len(path) - 1, 0, -1):
            around = path[:length]
            if not self.get(around) and around not in self.map.places:
                del self.get(around[:-1])[around[-1]]

    def insert(self, path: Path, index: int, value: Mapping[str, Any]) -> None:
        """Put a table into the list at `path`, before the one that has `index` now."""
        self.get(path).insert(index, copy.deepcopy(dict(value)))
        if self._in_sections(path):
            self._insert_section(path, index, value)
            return
        place = self.map.places[path]
        text, written = self.text, literal(value)
        members = self._members(path)
        if not members:
            self._replace_value(place.value, place.end, f"[{self.newline}  {written},{self.newline}]")
        elif index < len(members):
            start = members[index][0]
            indent = text[self._line_start(start) : start]
            alone = not indent.strip()
            self._splice(start, start, f"{written},{self.newline + indent if alone else ' '}")
        else:
            self._append_member(members, place.end, written)

    def rename(self, path: Path, name: str) -> None:
        """Give the key at the end of `path` another name; it keeps its place."""
        parent = self.get(path[:-1])
        items = [(name if key == path[-1] else key, value) for key, value in parent.items()]
        parent.clear()
        parent.update(items)
        new = (*path[:-1], name)
        cuts: list[tuple[int, int, str]] = []
        for section in self.map.sections[1:]:
            if section.path[: len(path)] == path:
                cuts.append((section.start, section.body, self._header((*new, *section.path[len(path) :]))))
        for line in self.map.lines:
            whole, head = self._line_path(line), self.map.sections[line.section].path
            if whole[: len(path)] == path and len(head) < len(path):
                keys = ".".join(key_text(str(k)) for k in (*new, *whole[len(path) :])[len(head) :])
                cuts.append((line.start, self.map.places[whole].value, f"{keys} = "))
        if not cuts:
            place = self.map.places[path]
            cuts.append((place.start, place.value, f"{key_text(name)} = "))
        for start, end, text in sorted(cuts, reverse=True):
            self._splice(start, end, text)

    def append(self, text: str) -> None:
        """Add lines of TOML at the end; what they say becomes part of what is meant. They begin new sections."""
        _merge(self.data, tomllib.loads(text))
        self._splice(len(self.text), len(self.text), self._gap(len(self.text)) + text.replace("\n", self.newline))

    # How it is done -----------------------------------------------------------------------------

    def _expect(self, path: Path, value: Any) -> None:
        here: Any = self.data
        for step in path[:-1]:
            here = here.setdefault(step, {}) if isinstance(here, dict) else here[step]
        here[path[-1]] = value

    def _splice(self, start: int, end: int, new: str) -> None:
        self.text = self.text[:start] + new + self.text[end:]
        self._map = None

    def _comments(self, start: int, end: int) -> list[str]:
        return [m["said"] for m in _NO_COMMENT.finditer(self.text, start, end) if m["said"]]

    def _replace_value(self, start: int, end: int, new: str) -> None:
        """Other text for a value; comments that stood in it go above its line."""
        kept = self._comments(start, end)
        line = self._line_at(start)
        self._splice(start, end, new)
        if kept and line is not None:
            indent = self.text[self._line_start(line.start) : line.start]
            self._splice(line.start, line.start, "".join(f"{c}{self.newline}{indent}" for c in kept))

    def _line_start(self, at: int) -> int:
        return self.text.rfind("\n", 0, at) + 1

    def _line_end(self, at: int) -> int:
        end = self.text.find("\n", at)
        return len(self.text) if end < 0 else end + 1

    def _line_at(self, at: int) -> Line | None:
        lines = self.map.lines
        k = bisect_right(lines, at, key=lambda line: line.start) - 1
        return lines[k] if k >= 0 and at < lines[k].end else None

    def _line_path(self, line: Line | None) -> Path:
        return () if line is None else (*self.map.sections[line.section].path, *line.keys)

    def _in_sections(self, path: Path) -> bool:
        """Whether it is written as sections with headers."""
        return any(s.path[: len(path)] == path for s in self.map.sections[1:])

    def _header(self, path: Path) -> str:
        names = ".".join(key_text(str(step)) for step in path if isinstance(step, str))
        return f"[[{names}]]" if isinstance(path[-1], int) else f"[{names}]"

    def _cut_line(self, line: Line | None) -> None:
        if line is None:
            return
        kept = self._comments(line.start, line.end)
        self._cut(line.start, line.end, kept)

    def _cut(self, start: int, end: int, kept: Sequence[str] = ()) -> None:
        """Take a span out; the line goes with it when nothing else stands on it."""
        first, last = self._line_start(start), self._line_end(end)
        alone = not self.text[first:start].strip() and not self.text[end:last].strip()
        said = self.newline.join(kept)
        if alone:
            self._splice(first, last, said + self.newline if said else "")
        else:
            rest = self.text[end:last]
            if not self.text[first:start].strip() and rest.lstrip(" \t").startswith("#"):
                end += len(rest) - len(rest.lstrip(" \t"))  # its comment takes its place
            self._splice(start, end, said + (self.newline if said else ""))

    def _cut_sections(self, path: Path) -> None:
        """Take out every section and line of a table."""
        spans: list[tuple[int, int]] = []
        for section in self.map.sections[1:]:
            if section.path[: len(path)] == path:
                spans.append((section.start, section.body))
        spans += [(line.start, line.end) for line in self.map.lines if self._line_path(line)[: len(path)] == path]
        for start, end in sorted(spans, reverse=True):
            self._cut(start, end, self._comments(start, end))

    def _members(self, path: Path) -> list[tuple[int, int]]:
        """(start, end) of what stands directly in a bracketed list or table, in order."""
        depth = len(path) + 1
        spans: dict[int, int] = {}
        for other, place in self.map.places.items():
            if len(other) >= depth and other[: len(path)] == path and place.kind != TABLE:
                start = self.map.places[other[:depth]].start if len(other) == depth else place.start
                if len(other) == depth or self.map.places[other[:depth]].kind == TABLE:
                    spans[start] = max(spans.get(start, 0), place.end)
        return sorted(spans.items())

    def _cut_member(self, path: Path) -> None:
        """Take one value out of a bracketed list or table, with its comma."""
        place = self.map.places[path]
        kept = self._comments(place.start, place.end)
        members = self._members(path[:-1])
        number = [start for start, _ in members].index(place.start)
        match = _AFTER.match(self.text, place.end)
        after = match.end() if match else place.end
        if self.map.places[path[:-1]].kind == INLINE:
            if number:
                self._splice(members[number - 1][1], place.end, "")
            else:
                self._splice(place.start, members[1][0] if len(members) > 1 else place.end, "")
            return
        if self.text.startswith(",", after):
            if not self.text[place.end : after].strip(" \t"):
                comma_end = after + 1
                following = self.text[comma_end : self._line_end(comma_end)]
                if following.strip() and not following.lstrip().startswith("#"):
                    comma_end += len(following) - len(following.lstrip())  # the next one takes its place on the line
                self._cut(place.start, comma_end, kept)
            else:  # a comment stands before the comma
                self._splice(after, after + 1, "")
                self._cut(place.start, place.end, kept)
        elif number and not self._comments(members[number - 1][1], place.start):
            self._cut(members[number - 1][1], place.end, kept)
        else:
            self._cut(place.start, place.end, kept)

    def _append_member(self, members: Sequence[tuple[int, int]], closing: int, written: str) -> None:
        """Add a value at the end of a bracketed list."""
        start, end = members[-1]
        indent = self.text[self._line_start(start) : start]
        match = _AFTER.match(self.text, end)
        after = match.end() if match else end
        comma = self.text.startswith(",", after)
        if indent.strip():  # it shares its line with others
            self._splice(after + 1, after + 1, f" {written},") if comma else self._splice(end, end, f", {written}")
            return
        at = self._line_end(after if comma else end)
        if at >= closing:  # the bracket closes on the same line
            at = after + 1 if comma else end
            self._splice(at, at, f"{'' if comma else ','}{self.newline}{indent}{written}")
            return
        self._splice(at, at, f"{indent}{written},{self.newline}")
        if not comma:
            self._splice(end, end, ",")

    def _insert_section(self, path: Path, index: int, value: Mapping[str, Any]) -> None:
        """Add a `[[...]]` table to a list that is written so."""
        lines = [self._header((*path, 0)), *(f"{key_text(k)} = {literal(v)}" for k, v in value.items())]
        block = self.newline.join(lines) + self.newline
        mine = [s for s in self.map.sections[1:] if s.path[: len(path)] == path]
        before = [s for s in mine if int(s.path[len(path)]) < index]
        at = self._after(before[-1]) if before else self._line_start(mine[0].start)
        self._splice(at, at, (self.newline if at and self.text[at - 1] != "\n" else "") + block)

    def _after(self, section: Section) -> int:
        """The start of the line after the last thing of a section."""
        mine = [k.end for k in self.map.lines if section.body <= k.start < section.end]
        return self._line_end(max(mine, default=section.body))

    def _gap(self, at: int) -> str:
        """What parts a new section from the text before it."""
        before = self.text[:at]
        if not before.strip():
            return ""
        return self.newline * (2 - min(2, len(before) - len(before.rstrip("\r\n"))) if "\r" not in before else 1)

    def _add(self, path: Path, value: Any) -> None:
        """Write a value whose key is not there yet."""
        parent = path[:-1]
        place = self.map.places.get(parent)
        own = [s for s in self.map.sections if s.path == parent]
        dotted = [k for k in self.map.lines if self._line_path(k)[: len(parent)] == parent and parent]
        written = f"{key_text(str(path[-1]))} = {literal(value)}"
        if place is not None and place.kind == INLINE:
            members = self._members(parent)
            if members:
                self._splice(members[-1][1], members[-1][1], f", {written}")
            else:
                self._splice(place.value, place.end, f"{{ {written} }}")
        elif own or not parent:
            self._add_line(own[0], written)
        elif dotted and not self._in_sections(parent):
            line = dotted[-1]
            head = self.map.sections[line.section].path
            keys = ".".join(key_text(str(k)) for k in path[len(head) :])
            at = self._line_end(line.end)
            indent = self.text[self._line_start(line.start) : line.start]
            lead = "" if self.text[at - 1 : at] == "\n" else self.newline
            self._splice(at, at, f"{lead}{indent}{keys} = {literal(value)}{self.newline}")
        elif place is None and (self.bracketed(parent) or any(isinstance(step, int) for step in parent)):
            # The table around it is written in brackets or by dotted keys: so must this one be.
            self._add(parent, {path[-1]: value})
        else:
            self._add_section(parent, written)

    def bracketed(self, path: Path) -> bool:
        """Whether a table around `path` is written in braces or by dotted keys, so that it can have no header."""
        for length in range(len(path) - 1, 0, -1):
            around = path[:length]
            place = self.map.places.get(around)
            if place is not None:
                return place.kind in (INLINE, ARRAY) or not self._in_sections(around)
        return False

    def _add_line(self, section: Section, written: str) -> None:
        mine = [k for k in self.map.lines if section.body <= k.start < section.end]
        if not mine and not section.path:
            # Below the comments that the file begins with, where they do not belong to its first table.
            opening = _OPENING.match(self.text)
            at, indent = opening.end() if opening else 0, ""
        else:
            at = self._after(section)
            last = mine[-1] if mine else None
            indent = self.text[self._line_start(last.start) : last.start] if last else ""
        lead = "" if not at or self.text[at - 1] == "\n" else self.newline
        self._splice(at, at, f"{lead}{indent}{written}{self.newline}")

    def _add_section(self, path: Path, written: str) -> None:
        """A new section, before those of the tables in it, else after its kin, else at the end."""
        inner = [s for s in self.map.sections[1:] if s.path[: len(path)] == path]
        kin = [s for s in self.map.sections[1:] if s.path[: len(path) - 1] == path[:-1]] if len(path) > 1 else []
        block = f"{self._header(path)}{self.newline}{written}{self.newline}"
        if inner:
            at = self._line_start(inner[0].start)
            self._splice(at, at, block)
            return
        at = self._after(kin[-1]) if kin else len(self.text)
        self._splice(at, at, self._gap(at) + block)


def _alike(one: Any, other: Any) -> bool:
    """Whether two values say the same; what is not a number is like itself."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_alike(value, other[key]) for key, value in one.items())
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_alike, one, other))
    return bool(one == other) or (isinstance(one, float) and isinstance(other, float) and one != one and other != other)


def _merge(into: dict[str, Any], other: Mapping[str, Any]) -> None:
    for key, value in other.items():
        if isinstance(value, dict) and isinstance(into.get(key), dict):
            _merge(into[key], value)
        else:
            into[key] = value
