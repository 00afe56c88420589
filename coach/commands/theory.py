"""`coach numerals`, `coach rekey`, `coach keysheet`: what the chords of a song are in its key, and in another."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from coach.commands.answers import answer, note, width, wrapped
from coach.commands.arguments import Command, add_force, add_json, add_paper
from coach.errors import BadInput
from coach.music.chords import Chord, read_bars
from coach.music.key_chords import BORROWED, DOMINANT, OUTSIDE, role_in_key
from coach.music.keys import Key
from coach.music.keysheet import KeySheet, KeySheetEntry, keysheet_text, make_keysheets
from coach.music.numerals import NONE, numeral, numerals
from coach.music.rekey import capo_to_match, plain_chord, rekey

Bars = Sequence[Sequence[Chord | None]]
HIGH_CAPO = 7


def key_given(text: str, option: str = "--key") -> Key:
    """The key given with `option`. Raises BadMusic that names the nearest one."""
    try:
        return Key.parse(text)
    except BadInput as error:
        raise error.at(option) from None


def _name(chord: Chord | None) -> str:
    return NONE if chord is None else str(chord)


def _flat(bars: Bars) -> list[Chord | None]:
    return [chord for bar in bars for chord in bar]


def _barred(flat: Iterable[str], bars: Bars) -> list[list[str]]:
    """The same bar lines over other words."""
    words = iter(flat)
    return [[next(words) for _ in bar] for bar in bars]


def _stacked(rows: Sequence[Sequence[Sequence[str]]]) -> Iterator[str]:
    """Rows of bars under each other, every chord in a column of its own, wrapped at bar lines."""
    columns = width()
    line = ["|"] * len(rows)
    for bar in zip(*rows, strict=True):
        drawn = [""] * len(rows)
        for cells in zip(*bar, strict=True):
            wide = max(map(len, cells))
            drawn = [f"{text} {cell.ljust(wide)}" for text, cell in zip(drawn, cells, strict=True)]
        if len(line[0]) > 1 and len(line[0]) + len(drawn[0]) + 2 > columns:
            yield from line
            yield ""
            line = ["|"] * len(rows)
        line = [f"{text}{more} |" for text, more in zip(line, drawn, strict=True)]
    yield from line


# numerals -------------------------------------------------------------------------------------


def _add_chords(parser: ArgumentParser) -> None:
    parser.add_argument("chords", metavar="CHORDS", help='like "C Am F G" or, with bars, "C | F G | C"; N is no chord')


def _numerals_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("--key", metavar="K", required=True, help="the key, like C, Bb, Am or 'F# minor'")
    _add_chords(parser)
    add_json(parser)


def _numerals(args: Namespace) -> None:
    key = key_given(args.key)
    bars = read_bars(args.chords)
    data = [
        {
            "chord": _name(chord),
            "numeral": numeral(chord, key),
            "bar": number,
            "standing": role_in_key(chord, key) if chord else None,
        }
        for number, bar in enumerate(bars)
        for chord in bar
    ]
    answer(args.json, data, _numeral_lines(bars, key))


def _numeral_lines(bars: Bars, key: Key) -> Iterator[str]:
    chords = _flat(bars)
    yield f"{key.title}, {key.signature_text}"
    yield ""
    yield from _stacked([_barred(map(_name, chords), bars), _barred(numerals(chords, key), bars)])
    yield from _strangers(chords, key)


def _strangers(chords: Iterable[Chord | None], key: Key) -> Iterator[str]:
    """A line for each kind of chord that the key does not have itself."""
    every = dict.fromkeys(chord for chord in chords if chord)
    heads = {
        BORROWED: f"Borrowed from {key.parallel.title}",
        DOMINANT: "Dominants of other chords of the key",
        OUTSIDE: "From outside the key",
    }
    found = {kind: [str(c) for c in every if role_in_key(c, key) == kind] for kind in heads}
    if any(found.values()):
        yield ""
    for kind, names in found.items():
        if names:
            yield from wrapped(f"{heads[kind]}: {', '.join(names)}.", "", width())


# rekey ----------------------------------------------------------------------------------------


def _rekey_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("--from", dest="old", metavar="K", required=True, help="the key the chords are in")
    parser.add_argument("--to", dest="new", metavar="K", required=True, help="the key they go to, major or minor alike")
    _add_chords(parser)
    add_json(parser)


def _rekey(args: Namespace) -> None:
    old, new = key_given(args.old, "--from"), key_given(args.new, "--to")
    bars = read_bars(args.chords)
    chords = _flat(bars)
    try:
        moved = rekey(chords, old, new)
    except BadInput as error:
        raise error.at("--to") from None
    told = numerals(chords, old)
    names = [_name(chord) for chord in moved]
    said = [_name(chord and plain_chord(chord)) for chord in moved]
    data = {
        "from": str(old),
        "to": str(new),
        "chords": names,
        "capo_to_match": capo_to_match(old, new),
        "numerals": list(told),
        "for_players": said,
        "bars": _barred(names, bars),
    }
    rows = [_barred(row, bars) for row in (map(_name, chords), told, names)]
    answer(args.json, data, _rekey_lines(rows, old, new, dict(zip(names, said, strict=True))))


def _rekey_lines(rows: Sequence[Sequence[Sequence[str]]], old: Key, new: Key, said: dict[str, str]) -> Iterator[str]:
    yield f"{old.title}, numerals, {new.title}"
    yield ""
    yield from _stacked(rows)
    yield ""
    capo = capo_to_match(old, new)
    if not capo:
        yield "Both keys sound the same: no capo."
    else:
        high = "; that is high up a neck" if capo > HIGH_CAPO else ""
        yield f"With a capo at fret {capo} these {new} shapes sound in {old}{high}."
    renamed = [f"{name} is {plain}" for name, plain in said.items() if name != plain]
    if renamed:
        yield from wrapped(f"As players say it: {', '.join(renamed)}.", "", width())


# keysheet -------------------------------------------------------------------------------------


def _keysheet_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("--key", metavar="K", help="one key only (usual: all thirty)")
    parser.add_argument("-o", "--out", metavar="F", help="also write it to this file, .txt or .pdf; an old one is kept")
    add_paper(parser)
    add_force(parser)
    add_json(parser)


def _keysheet(args: Namespace) -> None:
    made = make_keysheets(None if args.key is None else key_given(args.key))
    path = None if args.out is None else _sheet_path(args.out)
    lines = [line for k, sheet in enumerate(made) for line in (*([""] * 2 if k else ()), *keysheet_text(sheet))]
    pages = None
    if path is not None:
        from coach.files.writing import new_file

        content = "".join(f"{line}\n" for line in lines).encode("utf-8")
        if path.suffix.lower() == ".pdf":
            from coach.paper.pdf.keysheet_pdf import make_keysheet_pdf

            printed = make_keysheet_pdf(made, paper=args.paper)
            content, pages = printed.data, printed.pages
        with new_file(path, "the sheet", force=args.force) as out:
            out.write(content)
        note(f"the sheet is in {path}.")
    data = {"file": str(path) if path else None, "pages": pages, "keys": [_sheet_row(sheet) for sheet in made]}
    answer(args.json, data, lines)


def _sheet_row(sheet: KeySheet) -> dict[str, Any]:
    def entries(group: Iterable[KeySheetEntry]) -> list[dict[str, Any]]:
        return [
            {
                "numeral": e.numeral,
                "chord": str(e.chord),
                "notes": [str(tone) for tone in e.chord.tones],
                "for_players": str(plain_chord(e.chord)),
            }
            for e in group
        ]

    return {
        "key": str(sheet.key),
        "title": sheet.key.title,
        "signature": sheet.key.signature,
        "triads": entries(sheet.triads),
        "sevenths": entries(sheet.sevenths),
        "raised": entries(sheet.raised),
        "dominants": entries(sheet.dominants),
        "borrowed": entries(sheet.borrowed),
    }


def _sheet_path(text: str) -> Path:
    path = Path(text)
    if path.suffix.lower() not in (".txt", ".pdf"):
        raise BadInput(
            "the sheet is written as text or PDF", where=text, mend="give the file a name that ends in .txt or .pdf"
        )
    return path


COMMANDS = {
    "numerals": Command(
        "Tells what each chord is in a key, as Roman numerals: V7/V is the dominant of V, flats are counted from the "
        "major scale of the tonic, and a number after a stroke is the bass (I/3 has its third there).",
        'coach numerals --key C "C | Am | D7 G7 | C/E"',
        _numerals_arguments,
        _numerals,
    ),
    "rekey": Command(
        "Moves a progression to another key, numeral by numeral, spelled as the new key spells it, and tells the capo "
        "that makes the new shapes sound in the old key.",
        'coach rekey --from E --to C "E | A B7 | C#m"\ncoach rekey --from Bm --to Am "Bm G | D A/C#" --json',
        _rekey_arguments,
        _rekey,
    ),
    "keysheet": Command(
        "Prints the chords of each key: triads and sevenths, the dominants of its other chords, and what it borrows "
        "from the parallel key.",
        "coach keysheet --key G\ncoach keysheet -o keys.pdf --paper letter",
        _keysheet_arguments,
        _keysheet,
    ),
}
