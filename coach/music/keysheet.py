"""The sheet of a key: its triads and sevenths, the dominants of its other chords, and what it borrows, by degree."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from coach.music.chords import Chord
from coach.music.key_chords import borrowed, dominant_of, raised, sevenths, targets, triads
from coach.music.keys import KEYS, Key
from coach.music.numerals import numeral
from coach.music.rekey import plain_note

_GAP = 2
_WIDTH = 80


@dataclass(frozen=True)
class Entry:
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
    triads: tuple[Entry, ...]
    sevenths: tuple[Entry, ...]
    raised: tuple[Entry, ...]
    dominants: tuple[Entry, ...]
    borrowed: tuple[Entry, ...]

    @property
    def groups(self) -> tuple[tuple[str, tuple[Entry, ...]], ...]:
        """The groups with their names, in the order they are printed; empty ones are left out."""
        every = (
            ("triads", self.triads),
            ("sevenths", self.sevenths),
            ("raised seventh", self.raised),
            ("dominants", self.dominants),
            (f"from {self.key.parallel}", self.borrowed),
        )
        return tuple((name, entries) for name, entries in every if entries)


def sheet_of(key: Key) -> KeySheet:
    """The sheet of one key."""
    return KeySheet(
        key,
        _under_roots(triads(key), key),
        _under_roots(sevenths(key), key),
        _under_roots(raised(key), key),
        tuple(_dominants(key)),
        _under_roots(borrowed(key), key),
    )


def sheets(key: Key | None = None) -> tuple[KeySheet, ...]:
    """The sheet of `key`, or those of all thirty keys from seven flats to seven sharps, major first."""
    return tuple(sheet_of(each) for each in ([key] if key else KEYS))


def _under_roots(chords: Iterable[Chord], key: Key) -> tuple[Entry, ...]:
    return tuple(Entry(numeral(c, key), c, (c.root.step - key.tonic.step) % 7) for c in chords)


def _dominants(key: Key) -> Iterable[Entry]:
    """The bare triad only where it is not a triad of the key anyway: V/IV of a major key is just I."""
    for quality in ("", "7"):
        for target in targets(key):
            chord = dominant_of(target, quality)
            if quality or chord not in triads(key):
                yield Entry(f"V{quality}/{numeral(target, key)}", chord, (target.root.step - key.tonic.step) % 7)


def text_of(sheet: KeySheet) -> tuple[str, ...]:
    """One key's sheet as lines, at most 80 columns wide: numerals over chords, a column for each degree."""
    rows = rows_of(sheet)
    cells = [cell for _, line in rows for entry in line for cell in (entry.numeral, str(entry.chord))]
    wide = max(map(len, cells)) + _GAP
    margin = max(len(name) for name, _ in rows) + _GAP
    lines, last = [f"{sheet.key.title}, {sheet.key.signature_text}"], ""
    for name, line in rows:
        head = name if name != last else ""
        last = name
        lines.append("")
        lines.append(_row(head, margin, wide, {e.column: e.numeral for e in line}))
        lines.append(_row("", margin, wide, {e.column: str(e.chord) for e in line}))
    renamed = renamed_roots(sheet)
    if renamed:
        lines.append("")
        lines.extend(textwrap.wrap(f"As players say it: {', '.join(renamed)}.", _WIDTH))
    return tuple(lines)


def rows_of(sheet: KeySheet) -> tuple[tuple[str, tuple[Entry, ...]], ...]:
    """The rows of the table as (group's name, entries), triads and sevenths of a group on rows of their own."""
    return tuple((name, tuple(line)) for name, entries in sheet.groups for line in _lines(entries))


def _lines(entries: Sequence[Entry]) -> list[list[Entry]]:
    """Triads on one line, sevenths on the next."""
    both = [[e for e in entries if len(e.chord.tones) == size] for size in (3, 4)]
    return [line for line in both if line]


def renamed_roots(sheet: KeySheet) -> list[str]:
    """What players call the roots that nobody would ask a guitarist for: `Fb is E`."""
    roots = {e.chord.root for _, entries in sheet.groups for e in entries}
    return [f"{root} is {plain_note(root)}" for root in sorted(roots) if plain_note(root) != root]


def _row(head: str, margin: int, wide: int, cells: dict[int, str]) -> str:
    return (head.ljust(margin) + "".join(cells.get(k, "").ljust(wide) for k in range(7))).rstrip()
