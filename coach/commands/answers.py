"""What a command says: one JSON document or lines of text on stdout; notes and warnings on stderr."""

from __future__ import annotations

import json
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

from coach.errors import MOST_LETTERS, shortened, without_control_signs

PIPED_WIDTH = 80


def answer(as_json: bool, data: Any, lines: Iterable[str]) -> None:
    """Print `data` as one JSON document, or the lines of text; `lines` are not made when they are not wanted."""
    if as_json:
        print(json.dumps(data, indent=1))
    else:
        for line in lines:
            print(without_control_signs(line.rstrip()))


def note(text: str) -> None:
    """One line on stderr that does not stop anything."""
    line = " ".join(text.split())
    print(shortened(without_control_signs(f"note: {line}"), MOST_LETTERS), file=sys.stderr)


def note_ledger(*, writes: bool = False) -> None:
    """Tell what is to be known of the player's ledger as a whole, before it is opened (to write, with `writes`)."""
    from coach import shelf

    trouble = shelf.ledger_trouble(writes=writes)
    if trouble:
        note(trouble)


def width() -> int:
    """Columns there are for text: the terminal's, or 80 when the answer goes into a pipe or file."""
    return shutil.get_terminal_size((PIPED_WIDTH, 24)).columns if sys.stdout.isatty() else PIPED_WIDTH


def wrapped(text: str, indent: str, columns: int) -> list[str]:
    """`text` in lines of at most `columns`, each after `indent`."""
    return textwrap.wrap(text, max(columns, 30), initial_indent=indent, subsequent_indent=indent)


def table(head: Sequence[str], rows: Sequence[Sequence[str]], *, right: Iterable[str] = ()) -> list[str]:
    """Columns under their heads, two blanks apart; those named in `right` are set to the right."""
    wide = [max(len(row[k]) for row in (head, *rows)) for k in range(len(head))]
    to_right = {k for k, name in enumerate(head) if name in set(right)}
    return [
        "  ".join(cell.rjust(wide[k]) if k in to_right else cell.ljust(wide[k]) for k, cell in enumerate(row)).rstrip()
        for row in (head, *rows)
    ]
