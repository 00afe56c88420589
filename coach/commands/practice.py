"""`coach today` and `coach drills`: what to practise now and why, and how all of it stands."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from coach import places, shelf
from coach.commands.answers import answer, note, note_ledger, table, width, wrapped
from coach.commands.arguments import Command, add_json, whole
from coach.log.ledger_status import begun
from coach.picking.layers import FULL, THUMB
from coach.settings import Settings, read_settings

if TYPE_CHECKING:
    from coach.plan.planner import Block, Plan

LAYER_WORDS: dict[str, str] = {FULL: "all of it", THUMB: "thumb alone, to sing over"}


def settings() -> Settings:
    """The player's settings; what could not be used is told on stderr."""
    found = read_settings(places.settings())
    for problem in found.problems:
        note(problem)
    return found.settings


def _today_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("--minutes", metavar="M", help="how long, 1 to 240 (usual: the player's setting, 20 at first)")
    add_json(parser)


def _today(args: Namespace) -> None:
    minutes = None if args.minutes is None else whole(args.minutes, "--minutes", 1, 240)
    note_ledger()
    plan = shelf.plan_today(settings(), datetime.now().astimezone(), minutes)
    answer(args.json, plan.as_json(), plan_lines(plan))


def plan_lines(plan: Plan) -> Iterator[str]:
    """The plan as text: each block with its minutes, tempos and layer, and below it the reasons."""
    columns = width()
    yield f"Today: {plan.length()}"
    for block in plan.blocks:
        yield ""
        listen = "listen: " if block.listened else ""
        yield f"{block.minutes:3} min  {listen}{block.title}{_tempos(block)}"
        for why in block.why:
            yield from wrapped(why, " " * 9, columns)
    if plan.notes:
        yield ""
    for text in plan.notes:
        yield from wrapped(text, "", columns)


def _tempos(block: Block) -> str:
    tempos, layer = block.tempos(), block.layer or FULL
    return f": {tempos}, {LAYER_WORDS.get(layer, layer)}" if tempos else ""


def _drills_arguments(parser: ArgumentParser) -> None:
    add_json(parser)


def _drills(args: Namespace) -> None:
    note_ledger()
    rows = drill_rows_here(datetime.now().astimezone())
    answer(args.json, rows, _drill_lines(rows))


def drill_rows_here(now: datetime) -> list[dict[str, Any]]:
    """A row for each drill of the player's own, with its trouble and remedy in words where there are any.

    What is kept beside the ledger is read; takes only of drills played in the latest four weeks, for their curves.
    Raises CoachError.
    """
    from coach.plan.overview import drill_rows

    library = shelf.library()
    drills = shelf.drills_here(library)
    if not begun(places.ledger()):
        return [{**row, "trouble": None, "remedy": None} for row in drill_rows(drills, (), now)]
    from coach.log.ledger import Ledger
    from coach.plan.checkup import findings
    from coach.skill.diagnosis import LATELY_DAYS
    from coach.skill.estimates import Estimates

    with Ledger(places.ledger()) as ledger, Estimates(ledger) as estimates:
        pasts = estimates.pasts()
        rows = drill_rows(drills, (), now, estimates.steadies(drills, now.date()), pasts)
        since = now.date() - timedelta(LATELY_DAYS)
        lately = [d for d in drills if d.id in pasts and pasts[d.id].last_day > since]
        for text in estimates.troubles():
            note(text)
        told = findings(ledger, lately, library, now.date(), piece_of=shelf.pieces(library, settings()))
    for row in rows:
        found = told.get(row["drill"])
        row["trouble"] = found.trouble_words if found is not None else None
        row["remedy"] = found.remedy_words if found is not None else None
    return rows


def _drill_lines(rows: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    from coach.plan.need import percent

    def cell(value: object) -> str:
        return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)

    cells = [
        (
            row["drill"],
            row["state"],
            cell(row["steady_bpm"]),
            "" if row["low"] is None else f"{row['low']:g}-{row['high']:g}",
            cell(row["target"]),
            "" if row["recall"] is None else percent(row["recall"]),
            cell(row["due"]),
        )
        for row in rows
    ]
    head = ("drill", "state", "steady", "within", "target", "recall", "due")
    yield from table(head, cells, right=("steady", "within", "target", "recall"))
    yield "Tempos in bpm; steady is empty until enough was played to know it."
    columns = width()
    for row in rows:
        if row["trouble"] or row["remedy"]:
            yield ""
            yield row["drill"]
            for told in filter(None, (row["trouble"], row["remedy"] and f"remedy: {row['remedy']}")):
                yield from wrapped(told, " " * 4, columns)


COMMANDS = {
    "today": Command(
        "Prints today's practice: what to play, for how long, at which tempos, and why. Rests are part of the minutes.",
        "coach today --minutes 30\ncoach today --json",
        _today_arguments,
        _today,
    ),
    "drills": Command(
        "Lists everything that can be practised, with its steady tempo (the one you can hold), its target, and how "
        "well it is remembered.",
        "coach drills --json",
        _drills_arguments,
        _drills,
    ),
}
