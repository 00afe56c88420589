"""Exporting the ledger (CSV, JSON) and merging two ledgers.

CSV has one line a take, for a spreadsheet. JSON has every row of every table and can be merged back in. Merging adds
the rows that are missing, by their ids: doing it twice changes nothing, and the order of two merges does not matter.
"""

from __future__ import annotations

import csv
import io
import json
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from coach.errors import BadInput, CoachError, reason
from coach.files.reading import ordinary, read_ordinary
from coach.files.writing import new_file
from coach.log.foreign_ledger import Rows, read_foreign
from coach.log.ledger import Ledger
from coach.log.local_days import utc_text
from coach.log.readable_rows import AS_THEY_LIE, Unread, unread_rows
from coach.log.schema import COLUMNS, LATER_COLUMNS, VERSION
from coach.log.takes import Take

LARGEST_JSON = 1 << 30  # bytes: some hundred thousand takes
LONGEST_TEXT, LONGEST_WORD = 100_000, 1000
"""Letters in the text of a note, and in a name or any other value."""
_HEAD = "steady_thumb_ledger"
_CONTRACT = ("id", "at", "drill", "tempo", "bars", "stumbles", "verdict", "layer")
_FIELDS = (*_CONTRACT, "local_day", "mode", "clean_passes", "passes")


def take_row(take: Take) -> dict[str, Any]:
    """A take as `coach log --json` and the CSV give it; `tempo` in bpm, `at` in UTC."""
    return {
        "id": take.id,
        "at": utc_text(take.at),
        "drill": take.drill,
        "tempo": round(take.tempo, 2),
        "bars": take.bars,
        "stumbles": take.stumbles,
        "verdict": take.verdict,
        "layer": take.layer,
        "local_day": take.local_day.isoformat(),
        "mode": take.mode,
        "clean_passes": sum(p.clean for p in take.passes),
        "passes": len(take.passes),
    }


def export_csv(ledger: Ledger, path: Path | str, force: bool = False) -> int:
    """Write one line a take; gives how many. An existing file is kept unless `force`. Raises CoachError."""
    takes = ledger.takes()
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, _FIELDS)
    writer.writeheader()
    writer.writerows(take_row(take) for take in takes)
    _write_beside(Path(path), out.getvalue(), force)
    return len(takes)


def export_json(ledger: Ledger, path: Path | str, force: bool = False) -> int:
    """Write all that can be read; gives how many takes. An existing file is kept unless `force`. Raises CoachError."""
    document: dict[str, Any] = {_HEAD: VERSION}
    with ledger.one_moment():
        for table, names in COLUMNS.items():
            # In the order of their own values, so that ledgers with the same rows are written the same.
            rows = ledger.rows(f"SELECT {', '.join(names)} FROM {AS_THEY_LIE[table]} ORDER BY {', '.join(names)}")
            document[table] = _of_takes_there(table, [dict(zip(names, row, strict=True)) for row in rows], document)
    _write_beside(Path(path), json.dumps(document, ensure_ascii=False, indent=1) + "\n", force)
    return len(document["takes"])


def _of_takes_there(
    table: str, rows: list[dict[str, Any]], document: Mapping[str, list[dict[str, Any]]]
) -> list[dict[str, Any]]:
    """The rows but for those of a take that could not be read; a note stands alone where its take is not there."""
    if table == "takes":
        return rows
    there = {take["id"] for take in document["takes"]}
    if table == "notes":
        return [row if row["take"] in there else {**row, "take": None} for row in rows]
    return [row for row in rows if row["take"] in there]


def _write_beside(path: Path, text: str, force: bool) -> None:
    """Write a text file whole, or not at all."""
    with new_file(path, "the log", force=force) as file:
        file.write(text.encode("utf-8"))


def merge(ledger: Ledger, other_path: Path | str) -> dict[str, int]:
    """Add every row of another ledger (or of a JSON export) that this one lacks; gives the rows added for each table.

    The other file is only read, older layouts included. All or nothing: on trouble this ledger stays as it was.
    Raises BadInput or CoachError.
    """
    other = Path(other_path)
    rows = _from_json(other) if _looks_like_json(other) else read_foreign(other)
    for table, own in rows.items():
        _check_values(table, own, str(other))
    added = {}
    try:
        with ledger.transaction() as db:
            last = {t: db.execute(f"SELECT coalesce(max(rowid), 0) FROM {t}").fetchone()[0] for t in COLUMNS}
            for table, names in COLUMNS.items():
                before = db.total_changes
                marks = ", ".join("?" * len(names))
                # Only an id that is there already is passed over; a row that breaks a rule stops the merge.
                db.executemany(
                    f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks}) ON CONFLICT DO NOTHING", rows[table]
                )
                added[table] = db.total_changes - before
            _check_readable(unread_rows(lambda query, *values: db.execute(query, values).fetchall(), last), str(other))
    except sqlite3.IntegrityError as error:
        raise BadInput(f"an entry in it is not sound ({error}), so nothing was taken over", where=str(other)) from None
    return added


def _check_readable(unread: Sequence[Unread], where: str) -> None:
    """Raises BadInput where a row that was taken over would be left out of every answer (days before 1970 or ahead of
    now, tempos nobody can play, and the like)."""
    if unread:
        count = "an entry" if len(unread) == 1 else f"{len(unread)} entries"
        one = f"{unread[0].table}: {', '.join(unread[0].columns) or 'its take is not there'}"
        mend = "`coach log export` on the other machine leaves out what cannot be read; merge that file"
        raise BadInput(f"{count} in it cannot be read ({one}), so nothing was taken over", where=where, mend=mend)


def _looks_like_json(path: Path) -> bool:
    try:
        with ordinary(path) as file:
            return file.read(64).lstrip().startswith(b"{")
    except OSError as error:
        what = f"this file cannot be read ({reason(error)})"
        raise BadInput(what, where=str(path), mend="give a ledger or a JSON export") from None


def _from_json(path: Path) -> Rows:
    where = str(path)
    try:
        if path.stat().st_size > LARGEST_JSON:
            raise BadInput(f"it is larger than {LARGEST_JSON >> 20} MiB", where=where, mend="merge the ledger itself")
        document = json.loads(read_ordinary(path).decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError) as error:
        raise BadInput(f"this JSON cannot be read ({error})", where=where, mend="export it again") from None
    version = document.get(_HEAD)
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise BadInput("this JSON is not an exported ledger", where=where, mend="export it again")
    if version > VERSION:
        raise CoachError("this export was written by a newer version", where=where, mend="update the coach")
    return {table: [_from_dict(table, row, where) for row in _list(document, table, where)] for table in COLUMNS}


def _list(document: dict[str, Any], table: str, where: str) -> Iterable[Any]:
    rows = document.get(table, [])
    if not isinstance(rows, list):
        raise BadInput(f"'{table}' is not a list", where=where, mend="export it again")
    return rows


def _from_dict(table: str, row: Any, where: str) -> tuple[Any, ...]:
    values = []
    for name in COLUMNS[table]:
        if not isinstance(row, dict) or not (name in row or (table, name) in LATER_COLUMNS):
            raise BadInput(f"an entry of '{table}' has no '{name}'", where=where, mend="export it again")
        value = row.get(name, LATER_COLUMNS.get((table, name)))
        values.append(value)
    return tuple(values)


def _check_values(table: str, rows: Iterable[tuple[Any, ...]], where: str) -> None:
    """Raise BadInput for a value that none of our tables may hold, though the file's own let it."""
    for name, column in zip(COLUMNS[table], zip(*rows, strict=True), strict=False):
        kinds = set(map(type, column))
        longest = LONGEST_TEXT if name == "text" else LONGEST_WORD
        if not kinds <= {str, int, float, type(None)}:
            trouble = "not a text or a number"
        elif str in kinds and max(len(value) for value in column if isinstance(value, str)) > longest:
            trouble = "too long"
        elif kinds & {int, float} and not all(
            -(2**63) < value < 2**63 for value in column if isinstance(value, int | float)
        ):  # an endless number and none at all are not in there either
            trouble = "too large"
        else:
            continue
        raise BadInput(f"'{name}' in '{table}' is {trouble}", where=where, mend="export it again")
