"""The sheet of a key: its triads and sevenths, the dominants of its other chords, and what it borrows, by degree."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from coach.music.chords import Chord
from coach.music.key_chords import (
    borrowed_chords,
    dominant_of,
    dominant_targets,
    raised_seventh_chords,
    sevenths,
    triads,
)
from coach.music.keys import KEYS, Key
from coach.music.numerals import numeral
from coach.music.rekey import plain_note

_GAP = 2
_WIDTH = 80


@dataclass(frozen=True)
class KeySheetEntry:
    """A chord under its numeral; `column` 0..6 is the degree it is written under."""

    numeral: str
    chord: Chord
    column: int


@dataclass(frozen=True)
class KeySheet:
    """The chords of one key.

    triads, sevenths   on the key's own scale
    raised             what the raised seventh of a minor key gives; empty in major
    dominants          V/x and V7/x of every other major or minor triad, each under the chord it leads to
    borrowed           triads of the parallel key
    """

    key: Key
    triads: tuple[KeySheetEntry, ...]
    sevenths: tuple[KeySheetEntry, ...]
    raised: tuple[KeySheetEntry, ...]
    dominants: tuple[KeySheetEntry, ...]
    borrowed: tuple[KeySheetEntry, ...]

    @property
    def groups(self) -> tuple[tuple[str, tuple[KeySheetEntry, ...]], ...]:
        """The groups with their names, in the order they are printed; empty ones are left out."""
        every = (
            ("triads", self.triads),
            ("sevenths", self.sevenths),
            ("raised seventh", self.raised),
            ("dominants", self.dominants),
            (f"from {self.key.parallel}", self.borrowed),
        )
        return tuple((name, entries) for name, entries in every if entries)


def make_keysheet(key: Key) -> KeySheet:
    """The sheet of one key."""
    return KeySheet(
        key,
        _place_under_roots(triads(key), key),
        _place_under_roots(sevenths(key), key),
        _place_under_roots(raised_seventh_chords(key), key),
        tuple(_dominants(key)),
        _place_under_roots(borrowed_chords(key), key),
    )


def make_keysheets(key: Key | None = None) -> tuple[KeySheet, ...]:
    """The sheet of `key`, or those of all thirty keys from seven flats to seven sharps, major first."""
    return tuple(make_keysheet(each) for each in ([key] if key else KEYS))


def _place_under_roots(chords: Iterable[Chord], key: Key) -> tuple[KeySheetEntry, ...]:
    return tuple(KeySheetEntry(numeral(c, key), c, (c.root.step - key.tonic.step) % 7) for c in chords)


def _dominants(key: Key) -> Iterable[KeySheetEntry]:
    """The bare triad only where it is not a triad of the key anyway: V/IV of a major key is just I."""
    for quality in ("", "7"):
        for target in dominant_targets(key):
            chord = dominant_of(target, quality)
            if quality or chord not in triads(key):
                yield KeySheetEntry(
                    f"V{quality}/{numeral(target, key)}", chord, (target.root.step - key.tonic.step) % 7
                )


def keysheet_text(sheet: KeySheet) -> tuple[str, ...]:
    """One key's sheet as lines, at most 80 columns wide: numerals over chords, a column for each degree."""
    rows = table_rows(sheet)
    cells = [cell for _, line in rows for entry in line for cell in (entry.numeral, str(entry.chord))]
    wide = max(map(len, cells)) + _GAP
    margin = max(len(name) for name, _ in rows) + _GAP
    lines, last = [f"{sheet.key.title}, {sheet.key.signature_text}"], ""
    for name, line in rows:
        head = name if name != last else ""
        last = name
        lines.append("")
        lines.append(_row_text(head, margin, wide, {e.column: e.numeral for e in line}))
        lines.append(_row_text("", margin, wide, {e.column: str(e.chord) for e in line}))
    renamed = renamed_roots(sheet)
    if renamed:
        lines.append("")
        lines.extend(textwrap.wrap(f"As players say it: {', '.join(renamed)}.", _WIDTH))
    return tuple(lines)


def table_rows(sheet: KeySheet) -> tuple[tuple[str, tuple[KeySheetEntry, ...]], ...]:
    """The rows of the table as (group's name, entries), triads and sevenths of a group on rows of their own."""
    return tuple((name, tuple(line)) for name, entries in sheet.groups for line in _split_by_size(entries))


def _split_by_size(entries: Sequence[KeySheetEntry]) -> list[list[KeySheetEntry]]:
    """Triads on one line, sevenths on the next."""
    both = [[e for e in entries if len(e.chord.tones) == size] for size in (3, 4)]
    return [line for line in both if line]


def renamed_roots(sheet: KeySheet) -> list[str]:
    """What players call the roots that nobody would ask a guitarist for: `Fb is E`."""
    roots = {e.chord.root for _, entries in sheet.groups for e in entries}
    return [f"{root} is {plain_note(root)}" for root in sorted(roots) if plain_note(root) != root]


def _row_text(head: str, margin: int, wide: int, cells: dict[int, str]) -> str:
    return (head.ljust(margin) + "".join(cells.get(k, "").ljust(wide) for k in range(7))).rstrip()
