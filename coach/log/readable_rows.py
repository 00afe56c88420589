"""Which of the ledger's rows can be read: the one place where that is decided, for every reader.

Whoever reads a table reads READABLE[table] (or AS_THEY_LIE[table]) in its place. A row in which a column does not hold
(a day that is in no calendar, a word with a changed byte, a tempo nobody can play) is left out of every answer. It
stays in the file, is listed by `coach doctor`, and can be put aside: written into a file, and then spoken of no more.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from coach.log.local_days import DAYS_AHEAD
from coach.log.notes import NoteKind
from coach.log.takes import MOST_COUNTED, VERDICTS, Mode
from coach.music.tempo import FASTEST_BPM, SLOWEST_BPM

MOST_TEXT = 100_000
_MARKS_A_NOTE = 200

Rows = Callable[..., list[tuple[Any, ...]]]
"""What gives the rows of a query, as Ledger.rows does."""

_DAY = "[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]"
_TIME = "T[0-9][0-9]:[0-9][0-9]:[0-9][0-9].[0-9][0-9][0-9][0-9][0-9][0-9]Z"
# GLOB and length() see a text only up to a 0 byte in it; as a blob all of it counts.
_SHAPE = f"typeof(at) = 'text' AND length(CAST(at AS BLOB)) = 27 AND at GLOB '{_DAY}{_TIME}'"
# SQLite counts 30 February as 2 March; so what it comes to by counting is compared with what stands there.
# A plus keeps a column out of the choice of an index: these bounds hold for nearly all rows, those of a query for few.
_MOMENT = (
    f"{_SHAPE} AND +at >= '1970' AND +at <= strftime('%Y-%m-%dT%H:%M:%fZ', 'now', '+{DAYS_AHEAD} day')"
    " AND strftime('%Y-%m-%dT%H:%M:%S', substr(at, 1, 19), '+0 days') IS substr(at, 1, 19)"
)
IS_DAY = f"typeof(local_day) = 'text' AND local_day GLOB '{_DAY}'"
"""What can be a local day at all, in SQL."""
_LOCAL_DAY = (
    f"{IS_DAY} AND date(local_day, '+0 days') IS local_day"
    " AND abs(julianday(local_day) - julianday(substr(at, 1, 10))) <= 1"
)
_TEMPO = f"typeof(tempo) = 'real' AND tempo BETWEEN {SLOWEST_BPM} AND {FASTEST_BPM}"


def _text(name: str, most: int, printable: int) -> str:
    plain = f"length({name}) = length(CAST({name} AS BLOB)) AND {name} NOT GLOB '*[^ -~]*'"
    return (
        f"typeof({name}) = 'text' AND length({name}) <= {most}"
        f" AND ({plain} OR plain_text(CAST({name} AS BLOB), {printable}))"
    )


def _word(name: str) -> str:
    return f"{_text(name, 200, 1)} AND trim({name}) <> ''"


def _count(name: str) -> str:
    return f"typeof({name}) = 'integer' AND {name} BETWEEN 0 AND {MOST_COUNTED}"


def _one_of(name: str, words: Iterable[str]) -> str:
    known = ", ".join(f"'{word}'" for word in words)
    return f"typeof({name}) = 'text' AND {name} IN ({known})"


_COLUMNS: Mapping[str, Mapping[str, str]] = {
    "takes": {
        "id": _word("id"),
        "at": _MOMENT,
        "local_day": _LOCAL_DAY,
        "drill": _word("drill"),
        "tempo": _TEMPO,
        "layer": _word("layer"),
        "mode": _one_of("mode", Mode),
    },
    "passes": {
        "take": _word("take"),
        "number": _count("number"),
        "at": _SHAPE,  # nobody asks when a pass ended
        "tempo": _TEMPO,
        "bars": _count("bars"),
        "stumbles": _count("stumbles"),
        "clean": "typeof(clean) = 'integer' AND clean IN (0, 1)",
        "layer": _word("layer"),
    },
    "stumbles": {
        "id": _word("id"),
        "take": _word("take"),
        "at": _MOMENT,
        "bar": _count("bar"),
        "beat": "typeof(beat) = 'text' AND is_beat(CAST(beat AS BLOB))",
        "tempo": _TEMPO,
        "pass_no": _count("pass_no"),
    },
    "wholes": {"take": _word("take"), "bars": _count("bars"), "stumbles": _count("stumbles")},
    "verdicts": {
        "id": _word("id"),
        "take": _word("take"),
        "at": _MOMENT,
        "verdict": _one_of("verdict", VERDICTS),
    },
    "notes": {
        "id": _word("id"),
        "at": _MOMENT,
        "local_day": _LOCAL_DAY,
        "kind": _word("kind"),
        "text": _text("text", MOST_TEXT, 0),
        "take": f"take IS NULL OR ({_word('take')})",
    },
}
"""What must hold of each column, in SQL."""

_OF_A_TAKE = ("passes", "stumbles", "wholes", "verdicts")
_WHOLE = {table: " AND ".join(f"({holds})" for holds in columns.values()) for table, columns in _COLUMNS.items()}
READABLE: Mapping[str, str] = {
    table: f"(SELECT rowid AS place, * FROM {table} WHERE {holds})" for table, holds in _WHOLE.items()
}
"""Each table's readable rows, to be read in the place of the table; `place` is the row's number."""

AS_THEY_LIE: Mapping[str, str] = {
    table: f"(SELECT rowid AS place, * FROM {table} NOT INDEXED WHERE {holds})" for table, holds in _WHOLE.items()
}
"""The same for who reads all of a table: an index may be damaged too, and then leaves out rows without a word."""


def teach(db: sqlite3.Connection) -> None:
    """Give a connection the functions that READABLE asks for. Raises sqlite3.Error."""
    db.create_function("plain_text", 2, _plain_text, deterministic=True)
    db.create_function("is_beat", 1, _is_beat, deterministic=True)


def _plain_text(told: bytes | None, printable: int) -> bool:
    if told is None:
        return False
    try:
        text = told.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return text.isprintable() if printable else "\0" not in text


def _is_beat(told: bytes | None) -> bool:
    """True for a fraction as the ledger writes it: `3`, `3/2`."""
    if told is None:
        return False
    over, slash, under = told.removeprefix(b"-").partition(b"/")
    return len(told) <= 20 and over.isdigit() and (not slash or (under.isdigit() and int(under) > 0))


@dataclass(frozen=True)
class Unread:
    """A row that is left out: its table and number, the columns that do not hold, and what stands there.

    values  by column; a text that is no UTF-8, a blob and a number without end as {"hex" or "real": ...}
    mark    by which the row is known again, in this ledger and in another one
    """

    table: str
    row: int
    columns: tuple[str, ...]
    values: Mapping[str, Any]
    mark: str

    def as_json(self) -> dict[str, Any]:
        """What is written of it into a file."""
        return {"table": self.table, "row": self.row, "cannot_be_read": list(self.columns), "values": self.values}


def unread_rows(rows: Rows, after: Mapping[str, int] | None = None) -> list[Unread]:
    """The rows of every table that are left out, those after the numbers given by table. Raises as `rows` does."""
    found = []
    for table, columns in _COLUMNS.items():
        belongs = " AND EXISTS (SELECT 1 FROM takes t WHERE t.id = x.take)" if table in _OF_A_TAKE else ""
        told = ", ".join(
            f"typeof({c}), CASE WHEN typeof({c}) IN ('text', 'blob') THEN hex({c}) ELSE {c} END" for c in columns
        )
        query = (
            f"SELECT rowid, {told}, {', '.join(f'({holds}) IS TRUE' for holds in columns.values())} FROM {table} x"
            f" WHERE rowid > ? AND (({_WHOLE[table]}){belongs}) IS NOT TRUE ORDER BY rowid"
        )
        for row, *cells in rows(query, (after or {}).get(table, 0)):
            held = cells[2 * len(columns) :]
            pairs = list(zip(cells[: 2 * len(columns) : 2], cells[1 : 2 * len(columns) : 2], strict=True))
            bad = tuple(name for name, holds in zip(columns, held, strict=True) if not holds)
            values = {name: _value(*pair) for name, pair in zip(columns, pairs, strict=True)}
            mark = sha256(repr((table, pairs)).encode()).hexdigest()[:32]
            found.append(Unread(table, row, bad, values, mark))
    return found


def _value(kind: str, told: Any) -> Any:
    if kind == "blob":
        return {"hex": told}
    if kind == "real" and (told != told or told in (float("inf"), float("-inf"))):
        return {"real": str(told)}
    if kind == "text":
        try:
            return bytes.fromhex(told).decode("utf-8")
        except UnicodeDecodeError:
            return {"hex": told}
    return told


def write_aside_notes(marks: Iterable[str]) -> list[str]:
    """The texts of the notes that say that these rows were put aside."""
    all_ = sorted(set(marks))
    return [json.dumps(all_[n : n + _MARKS_A_NOTE]) for n in range(0, len(all_), _MARKS_A_NOTE)]


def read_put_aside(rows: Rows) -> set[str]:
    """The marks of the rows that were put aside. Raises as `rows` does."""
    found: set[str] = set()
    for (text,) in rows(f"SELECT text FROM {READABLE['notes']} WHERE kind = ?", NoteKind.PUT_ASIDE):
        try:
            told = json.loads(text)
        except (ValueError, RecursionError):
            continue
        if isinstance(told, list):
            found.update(mark for mark in told if isinstance(mark, str))
    return found


def left_out(unread: Iterable[Unread], aside: set[str]) -> list[Unread]:
    """Those that were not put aside."""
    return [one for one in unread if one.mark not in aside]


def describe_unread(count: int, where: str = ": `coach doctor` says more") -> str:
    """The one sentence about so many rows that are left out, and where more of them is said."""
    what = "1 entry" if count == 1 else f"{count} entries"
    return f"{what} of the log cannot be read and {'is' if count == 1 else 'are'} left out{where}."
