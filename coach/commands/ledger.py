"""`coach log` and what belongs to it: reading the ledger, adding to it, writing it out, taking another one in."""

from __future__ import annotations

import difflib
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import chain
from pathlib import Path

from coach import places, shelf
from coach.commands.answers import answer, note, note_ledger, table
from coach.commands.arguments import Command, add_force, add_json, add_paper, tempo, whole
from coach.errors import BadInput
from coach.files.writing import new_file
from coach.log.exchange import export_csv, export_json, merge, take_row
from coach.log.ledger import Ledger
from coach.log.local_days import check_moment, now_here, read_at
from coach.log.takes import MOST_COUNTED, VERDICTS, Take
from coach.picking.layers import FULL, check_layer
from coach.plan.cautions import CAUTIONS

MOST_BARS = MOST_STUMBLES = MOST_COUNTED


def _log_arguments(parser: ArgumentParser) -> None:
    add_json(parser)


def _log(args: Namespace) -> None:
    note_ledger()
    takes = shelf.takes()
    _tell_troubles()
    answer(args.json, [take_row(take) for take in takes], chain(_log_lines(takes), _summary(takes)))


def _tell_troubles() -> None:
    for text in shelf.log_troubles():
        note(text)


def _log_lines(takes: Sequence[Take]) -> Iterator[str]:
    if not takes:
        yield "Nothing was logged yet."
        return
    cells = [
        (
            f"{take.at.astimezone():%Y-%m-%d %H:%M}",
            take.drill,
            f"{take.tempo:g}",
            str(take.bars),
            str(take.stumbles),
            take.verdict or "cut off",
            take.layer,
        )
        for take in takes
    ]
    head = ("when", "drill", "tempo", "bars", "stumbles", "verdict", "layer")
    yield from table(head, cells, right=("tempo", "bars", "stumbles"))


def _summary(takes: Sequence[Take]) -> Iterator[str]:
    """The week in a few words: minutes, takes, and which steady tempos moved."""
    from coach.skill.progress import by_drill, moved, week_words

    if not takes:
        return
    library, now = shelf.library(), now_here()
    today = now.date()
    yield ""
    yield week_words(takes, shelf.playing(library, now).by_day(), today)
    for drill, before, after in moved(shelf.drills_here(library), by_drill(takes), today):
        yield f"{drill.title}: steady at {after:.0f} bpm, {before:.0f} a week ago."


def _add_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("--drill", metavar="D", required=True, help="what was played: an id that `coach drills` lists")
    parser.add_argument("--tempo", metavar="B", required=True, help="its tempo in bpm")
    parser.add_argument("--verdict", metavar="V", required=True, help=f"how it went: {', '.join(VERDICTS)}")
    parser.add_argument("--bars", metavar="N", default="0", help="how many bars were played")
    parser.add_argument("--stumbles", metavar="N", default="0", help="how many stumbles there were (usual: 0)")
    parser.add_argument("--layer", metavar="L", default=FULL, help="how much of the pattern sounded (usual: full)")
    parser.add_argument(
        "--at",
        metavar="ISO",
        help="when, like 2026-03-01T19:30+01:00 (usual: now); without an offset it is this machine's local time",
    )
    add_json(parser)


def _add(args: Namespace) -> None:
    drill = _known_drill(args.drill)
    bpm = tempo(args.tempo, "--tempo")
    bars = whole(args.bars, "--bars", 0, MOST_BARS)
    stumbles = whole(args.stumbles, "--stumbles", 0, MOST_STUMBLES)
    layer = check_layer(args.layer)
    at = now_here() if args.at is None else _moment(args.at)
    note_ledger(writes=True)
    with Ledger(places.ledger()) as ledger:
        added = ledger.add_whole_take(drill, bpm, args.verdict, bars, stumbles, at, layer)
        take = next(t for t in ledger.takes(drill) if t.id == added)
    answer(args.json, take_row(take), [f"Logged: {drill} at {float(bpm):g} bpm, {args.verdict}."])


def _known_drill(name: str) -> str:
    """`name` if it is a drill; a slip in it would found a drill of its own and be missed later. Raises BadInput."""
    known = shelf.library().patterns
    if name not in known:
        near = difflib.get_close_matches(name, known, n=1)
        hint = f"did you mean {near[0]}?" if near else "`coach drills` lists them"
        raise BadInput(f"there is no drill '{name}'", mend=hint)
    return name


def _moment(text: str) -> datetime:
    """The moment a player writes; without an offset it is local time. Raises BadInput."""
    try:
        bare = datetime.fromisoformat(text.strip())
        at = check_moment(bare.astimezone() if bare.tzinfo is None else read_at(text))
    except BadInput as error:
        raise BadInput(f"--at '{text}': {error.what}", mend=error.mend) from None
    except (ValueError, OverflowError, OSError):
        raise BadInput(f"--at '{text}' is not a time", mend="give date and time, like 2026-03-01T19:30+01:00") from None
    if at > now_here():
        note(f"{text} lies in the future.")
    return at


def _export_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("file", metavar="F.{csv,json}", help="csv: a line a take; json: all of it, to merge elsewhere")
    add_force(parser)
    add_json(parser)


def _export(args: Namespace) -> None:
    ways = {".csv": export_csv, ".json": export_json}
    way = ways.get(Path(args.file).suffix.lower())
    if way is None:
        raise BadInput("the log goes into CSV or JSON", where=args.file, mend="give a name that ends in .csv or .json")
    note_ledger()
    with Ledger(places.ledger()) as ledger:
        count = way(ledger, args.file, args.force)
    _tell_troubles()
    answer(args.json, {"file": args.file, "takes": count}, [f"{args.file}: {_takes(count)}."])


def _takes(count: int) -> str:
    return f"{count} take" + ("" if count == 1 else "s")


def _merge_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("other", metavar="OTHER", help="another ledger.sqlite3, or a JSON export; it is only read")
    add_json(parser)


def _merge(args: Namespace) -> None:
    if not Path(args.other).exists():
        raise BadInput("there is no such file", where=args.other, mend="give another ledger or a JSON export")
    note_ledger(writes=True)
    with Ledger(places.ledger()) as ledger:
        added = merge(ledger, args.other)
    answer(args.json, {"added": added}, [f"{args.other}: {_takes(added['takes'])} added."])


def _blank_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("--days", metavar="N", default="7", help="columns, 1 to 14 (usual: 7)")
    add_paper(parser)
    parser.add_argument("-o", "--out", metavar="F.pdf", required=True, help="the file to write")
    add_force(parser)
    add_json(parser)


def _blank(args: Namespace) -> None:
    from coach.commands.practice import settings
    from coach.paper.pdf.record_sheet import make_record_pdf

    path = Path(args.out)
    if path.suffix.lower() != ".pdf":
        raise BadInput("the record is a PDF", where=args.out, mend="give a name that ends in .pdf")
    blocks = shelf.plan_today(settings(), now_here()).blocks
    titles = list(dict.fromkeys(block.title for block in blocks if block.drill))
    days = whole(args.days, "--days", 1, 14)
    sheet = make_record_pdf(titles, verdicts=VERDICTS, cautions=CAUTIONS, days=days, paper=args.paper)
    with new_file(path, "the record", force=args.force) as out:
        out.write(sheet.data)
    told = {"file": str(path), "pages": sheet.pages}
    answer(args.json, told, [f"{path}: a record of {days} days to fill in by hand."])


COMMANDS = {
    "log": Command(
        "Lists every take, the oldest first, and sums up the week; `coach log add`, `log export`, `log merge` and "
        "`log blank` have a help of their own.",
        "coach log --json",
        _log_arguments,
        _log,
    ),
    "log add": Command(
        "Adds a take that was played away from the coach. The log only grows: nothing in it is changed.",
        "coach log add --drill outside-in --tempo 84 --verdict held --bars 32 --stumbles 1",
        _add_arguments,
        _add,
    ),
    "log export": Command(
        "Writes the log into a file: CSV for a spreadsheet, JSON to keep or to merge on another machine.",
        "coach log export practice.csv",
        _export_arguments,
        _export,
    ),
    "log merge": Command(
        "Takes in what another machine's log has and this one lacks. Doing it twice changes nothing.",
        "coach log merge laptop.json",
        _merge_arguments,
        _merge,
    ),
    "log blank": Command(
        "Prints a blank practice record with the drills of today's plan, to fill in by hand where no screen is.",
        "coach log blank -o record.pdf",
        _blank_arguments,
        _blank,
    ),
}
