"""The pattern library: shipped and own patterns by id; a broken file is listed and never stops the rest."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from pathlib import Path

from coach.errors import BadPattern
from coach.files.reading import files_in
from coach.picking.pattern import Pattern, difficulty
from coach.picking.pattern_file import read_pattern


@dataclass(frozen=True)
class BrokenFile:
    """A file or folder that could not be read, and the sentence that says why."""

    path: Path
    why: str


@dataclass(frozen=True)
class Library:
    """Patterns by id in ladder order, and the files that could not be read."""

    patterns: dict[str, Pattern]
    broken: tuple[BrokenFile, ...] = ()

    def find(self, name: str) -> Pattern:
        """The pattern with this id, or the one in this file. Raises BadPattern that names the nearest id."""
        if name in self.patterns:
            return self.patterns[name]
        path = Path(name)
        if path.suffix == ".toml" or "/" in name or path.is_file():
            return read_pattern(path, own=True)
        for broken in self.broken:
            if broken.path.stem == name:
                raise BadPattern(broken.why.rstrip("."))
        near = difflib.get_close_matches(name, self.patterns, n=1)
        hint = f"did you mean {near[0]}?" if near else "`coach patterns` lists them"
        raise BadPattern(f"there is no pattern '{name}'", mend=hint)


def read_library(shipped: Path, own: Path) -> Library:
    """Read both folders. An own pattern stands before a shipped one of the same id."""
    patterns: dict[str, Pattern] = {}
    broken: list[BrokenFile] = []
    for folder, mine in ((shipped, False), (own, True)):
        files, trouble = files_in(folder, ".toml")
        if trouble:
            broken.append(BrokenFile(folder, trouble))
        for path in files:
            try:
                patterns[path.stem] = read_pattern(path, own=mine)
            except BadPattern as error:
                broken.append(BrokenFile(path, str(error)))
    return Library(_ladder_order(patterns), tuple(broken))


def _ladder_order(patterns: dict[str, Pattern]) -> dict[str, Pattern]:
    """First rungs by difficulty, each followed by what grows from it."""
    children: dict[str, list[Pattern]] = {}
    for pattern in patterns.values():
        parent = pattern.grows_from if pattern.grows_from in patterns and pattern.grows_from != pattern.id else ""
        children.setdefault(parent, []).append(pattern)
    ordered: dict[str, Pattern] = {}

    def walk(parent: str) -> None:
        for pattern in sorted(children.get(parent, ()), key=lambda p: (difficulty(p), p.id)):
            if pattern.id not in ordered:
                ordered[pattern.id] = pattern
                walk(pattern.id)

    walk("")
    # A circle of files that grow from each other has no first rung: they still belong in the list.
    for pattern in sorted(patterns.values(), key=lambda p: (difficulty(p), p.id)):
        ordered.setdefault(pattern.id, pattern)
    return ordered
