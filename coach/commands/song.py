"""`coach song` and `coach show`: songs listed, begun, checked and printed."""

from __future__ import annotations

import re
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Any

from coach import places, shelf
from coach.commands import picking
from coach.commands.answers import answer, note, table, width, wrapped
from coach.commands.arguments import Command, add_json, tempo
from coach.errors import BadInput
from coach.picking.layers import FULL

if TYPE_CHECKING:
    from coach.song.chart import ChartBar, Song
    from coach.song.piece import PieceBar

_SONG = "a song's id, or the path of a song file"


def _list_arguments(parser: ArgumentParser) -> None:
    add_json(parser)


def _list(args: Namespace) -> None:
    songs = shelf.songs()
    for broken in songs.broken:
        note(broken.why)
    rows = [
        {
            "id": s.id,
            "title": s.title,
            "key": str(s.key),
            "meter": str(s.meter),
            "tempo": float(s.tempo),
            "parts": list(s.parts),
            "bars": sum(len(s.parts[name].bars) for name in s.order),
            "arrangements": list(s.arrangements),
            "source": s.source,
            "own": s.own,
        }
        for s in songs.songs.values()
    ]
    cells = [
        (
            s.id, str(s.key), str(s.meter), f"{float(s.tempo):g}", str(row["bars"]), ", ".join(s.arrangements),
            "own" if s.own else "", s.title,
        )
        for s, row in zip(songs.songs.values(), rows, strict=True)
    ]  # fmt: skip
    head = ("song", "key", "meter", "bpm", "bars", "arrangements", "", "title")
    answer(args.json, rows, table(head, cells, right=("bpm", "bars")))


def _new_arguments(parser: ArgumentParser) -> None:
    parser.add_argument(
        "file", metavar="FILE", help="the file to begin, like ferry.song.toml; a bare name is put with your songs"
    )
    parser.add_argument("--title", metavar="T", help="its title (usual: the file's name)")
    parser.add_argument("--key", metavar="K", default="G", help="its key, like G or F# minor (usual: G)")
    parser.add_argument("--meter", metavar="M", default="4/4", help="its meter, like 3/4 or 6/8 (usual: 4/4)")
    parser.add_argument("--tempo", metavar="B", default="90", help="its tempo in bpm (usual: 90)")
    add_json(parser)


def _new(args: Namespace) -> None:
    from coach.picking.pattern import difficulty
    from coach.song.files.edit_song import new_song_text
    from coach.song.files.song_file import SUFFIX, song_id
    from coach.song.files.song_shelf import write_song

    path = Path(args.file)
    if re.fullmatch(r"[\w-]+", args.file):
        path = places.songs() / f"{args.file}{SUFFIX}"
    elif not path.name.endswith(SUFFIX) or not song_id(path):
        raise BadInput(f"'{args.file}' does not end in {SUFFIX}", mend=f"name it like {path.stem or 'ferry'}{SUFFIX}")
    title = args.title if args.title is not None else re.sub(r"[-_ ]+", " ", song_id(path)).strip().capitalize()
    beats = tempo(args.tempo, "--tempo")
    fitting = [p for p in shelf.library().patterns.values() if str(p.meter) == args.meter.strip() and not p.chords]
    pattern = min(fitting, key=lambda p: (difficulty(p), p.id)).id if fitting else ""
    write_song(path, new_song_text(title, args.key, args.meter, beats, pattern))
    data = {"file": str(path), "id": song_id(path)}
    answer(args.json, data, [f"{path} is begun: write its bars, then `coach song check {quote(args.file)}`."])


def _check_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help=_SONG)
    add_json(parser)


def _check(args: Namespace) -> None:
    from coach.commands.practice import settings
    from coach.song.files.check_song import check_song
    from coach.song.files.song_file import read_text, song_id

    path = _song_file(args.file) or Path(args.file)
    if not path.exists() and "/" not in args.file and path.suffix != ".toml":
        shelf.songs().find(args.file)  # tells the nearest one
    patterns, hand = shelf.library().patterns, shelf.hand_of(settings())
    checked = check_song(read_text(path), song_id(path), patterns, shelf.shapes(), hand)
    rows = [{"line": p.line, "where": p.where, "message": p.message} for p in checked.problems]
    odd = [{"line": p.line, "where": p.where, "message": p.message} for p in checked.notes]
    lines = [str(p) for p in checked.problems] or [f"{path.name}: nothing is wrong with it."]
    answer(args.json, {"ok": not rows, "problems": rows, "notes": odd}, lines)
    if not args.json:
        for odd_one in checked.notes:
            note(str(odd_one))
    if rows:
        many = f"{len(rows)} problem{'s' if len(rows) > 1 else ''}"
        raise BadInput(many, where=path.name, mend="mend what is listed")


def _show_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("name", metavar="FILE", help=_SONG)
    _add_performed(parser)
    parser.add_argument("--layer", metavar="L", help="how much of the picking sounds (usual: full)")
    add_json(parser)


def _add_performed(parser: ArgumentParser) -> None:
    parser.add_argument("--arrangement", metavar="A", help="a song's arrangement, as tab with the words under it")
    parser.add_argument("--sing", action="store_true", help="thin the picking under the words, as when singing")


def _show(args: Namespace) -> None:
    if args.arrangement is None and not args.sing and args.layer is None:
        song = shelf.songs().find(args.name)
        answer(args.json, _chart_data(song), _chart_lines(song))
        return
    _show_performed(args)


def _show_performed(args: Namespace) -> None:
    from coach.commands.chosen import chosen
    from coach.paper.text_tab import write_text_tab
    from coach.song.perform import sounding_key

    args.chords, args.shapes = None, ""
    found = chosen(args)
    song, arrangement, piece = found.song, found.arrangement, found.piece
    if song is None or arrangement is None:
        raise BadInput(f"'{args.name}' is a pattern", mend=f"`coach show {args.name}` prints it")
    data = {
        "song": song.id,
        "arrangement": arrangement.name,
        "key": str(piece.key),
        "capo": piece.capo,
        "sounding_key": str(sounding_key(song, arrangement)),
        "meter": str(song.meter),
        "layers": list(piece.layers),
        "order": list(piece.order),
        "bars": [
            {
                **picking.bar_row(bar.held),
                "bar": bar.number,
                "part": bar.part,
                "part_bar": bar.part_bar,
                "time": bar.time,
                "meter": str(bar.meter),
                "beats": str(bar.beats),
                "slots": bar.slots,
                "bpm": float(bar.bpm),
                "way": bar.way,
                "layer": bar.layer,
                **_sung(bar),
            }
            for bar in piece.bars
        ],
        "plucks": [picking.pluck_row(pluck) for bar in piece.bars for pluck in bar.sounding],
    }
    answer(args.json, data, write_text_tab(piece, width()).splitlines() if not args.json else ())


def _sung(bar: ChartBar | PieceBar) -> dict[str, Any]:
    """Words, tune and breaths of a bar, charted or played."""
    return {
        "words": [{"beat": str(word.beat), "text": word.text} for word in bar.words],
        "tune": [
            {"beat": str(n.beat), "length": str(n.length), "pitch": str(n.pitch), "tied": n.tied} for n in bar.tune
        ],
        "breaths": [str(beat) for beat in bar.breaths],
    }


def _chart_data(song: Song) -> dict[str, Any]:
    key, bpm = song.original
    return {
        "id": song.id,
        "title": song.title,
        "key": str(song.key),
        "meter": str(song.meter),
        "tempo": float(song.tempo),
        "original": {"key": key and str(key), "tempo": bpm and float(bpm)},
        "voice": song.voice and {"low": str(song.voice[0]), "high": str(song.voice[1])},
        "source": song.source,
        "order": list(song.order),
        "parts": [
            {
                "name": part.name,
                "meter": str(part.meter or song.meter),
                "tempo": float(part.tempo or song.tempo),
                "bars": [
                    {
                        "chords": [{"beat": str(b), "chord": str(c) if c else "N"} for b, c in bar.chords],
                        "beats": str((part.meter or song.meter).beats if bar.beats is None else bar.beats),
                        "way": bar.way,
                        **_sung(bar),
                    }
                    for bar in part.bars
                ],
            }
            for part in song.parts.values()
        ],
        "arrangements": [
            {
                "name": a.name,
                "key": str(a.key or song.key),
                "capo": a.capo,
                "pattern": a.way.pattern,
                "singing": a.singing,
                "why": list(a.why),
            }
            for a in song.arrangements.values()
        ],
    }


def _chart_lines(song: Song) -> Iterator[str]:
    yield song.title
    facts = [f"in {song.key.title}", str(song.meter), f"{float(song.tempo):g} bpm"]
    if song.voice:
        facts.append(f"voice {song.voice[0]} to {song.voice[1]}")
    yield ", ".join(facts)
    yield from wrapped("order: " + ", ".join(song.order), "", width())
    for part in song.parts.values():
        own = [f"in {part.meter}"] * bool(part.meter) + [f"at {float(part.tempo or 0):g} bpm"] * bool(part.tempo)
        yield ""
        yield part.name + (f" ({', '.join(own)})" if own else "")
        yield from _bar_lines([_bar_cells(bar) for bar in part.bars])
    if song.arrangements:
        yield ""
        rows = [(a.name, str(a.key or song.key), str(a.capo), a.way.pattern) for a in song.arrangements.values()]
        yield from table(("arrangement", "key", "capo", "pattern"), rows, right=("capo",))
    if song.source:
        yield ""
        yield from wrapped(f"source: {song.source}", "", width())


def _bar_cells(bar: ChartBar) -> tuple[str, str]:
    """(chords, words) of a bar, each chord and syllable after the one before; syllables that go on are joined."""
    chords = " ".join(str(chord) if chord else "N" for _, chord in bar.chords)
    chords += {"hold": " (held)", "silent": " (silent)"}.get(bar.way, "")
    said = " ".join(word.text for word in bar.words)
    return chords, re.sub(r"- (?=\S)", "", said)


def _bar_lines(cells: Sequence[tuple[str, str]]) -> Iterator[str]:
    """Chords over words, bars side by side as far as the width allows."""
    room = width() - 1
    row: list[tuple[str, str]] = []

    def wide(bars: Sequence[tuple[str, str]]) -> int:
        return sum(max(len(chords), len(words)) + 3 for chords, words in bars)

    def lines() -> Iterator[str]:
        for k in (0, 1):
            if any(bar[k] for bar in row):
                yield "".join(("| ", "  ")[k] + bar[k].ljust(max(map(len, bar)) + 1) for bar in row) + "|"[k:]

    for cell in cells:
        if row and wide([*row, cell]) > room:
            yield from lines()
            row = []
        row.append(cell)
    yield from lines()


def _show_either_arguments(parser: ArgumentParser) -> None:
    picking.add_show(parser, "PATTERN_OR_SONG", "an id, or the path of a pattern or song file")
    _add_performed(parser)


def _show_either(args: Namespace) -> None:
    if args.chords is not None or _song_file(args.pattern) is None:
        if args.arrangement is not None or args.sing:
            raise BadInput(f"'{args.pattern}' is no song", mend="leave out --arrangement and --sing, or name a song")
        if args.chords is None and args.pattern not in shelf.library().patterns:
            from coach.commands.chosen import is_song

            args.name = args.pattern
            is_song(args)  # tells the nearest of songs and patterns
        picking.show_pattern(args)
        return
    args.name = args.pattern
    for option, given in (("--loops", args.loops != "1"), ("--shapes", args.shapes), ("--why", args.why)):
        if given:
            raise BadInput(f"{option} is for patterns, and '{args.name}' is a song", mend="leave it out")
    if args.layer == FULL:
        args.layer = None
    _show(args)


def _song_file(name: str) -> Path | None:
    from coach.song.files.song_shelf import song_file

    return song_file(name, places.shipped("shared") / "songs", places.songs())


COMMANDS = {
    "song": Command(
        "Lists the songs, shipped and your own. A file that cannot be read is told on stderr and the rest is listed.",
        "coach song --json",
        _list_arguments,
        _list,
    ),
    "song new": Command(
        "Begins a song file with one part of four bars and, where there is a pattern in its meter, a plain "
        "arrangement. It never takes the place of a file.",
        'coach song new ferry.song.toml --title "Ferry song" --key D --tempo 84',
        _new_arguments,
        _new,
    ),
    "song check": Command(
        "Tells everything that is wrong with a song file, line by line, and what keeps its arrangements from being "
        "played. Exit code 2 when something is.",
        "coach song check last-boat --json",
        _check_arguments,
        _check,
    ),
    "song show": Command(
        "Prints a song: its chart, chords over words; with --arrangement, --sing or --layer the arrangement as tab.",
        "coach song show last-boat\ncoach song show last-boat --arrangement plain --sing",
        _show_arguments,
        _show,
    ),
    "show": Command(
        "Prints a pattern over chords as tab: string 1 on top, fingers above, the thumb below, then the count. "
        "For a song its chart, or with --arrangement, --sing or --layer the arrangement as tab.",
        'coach show outside-in --chords "C | F G | C" --layer thumb\n'
        'coach show outside-in --chords "C | F" --shapes "C=x32010,F=xx3211" --json\n'
        "coach show last-boat --arrangement plain --sing",
        _show_either_arguments,
        _show_either,
    ),
}
