"""What the page of arrangements shows, as pure functions of the song and its arrangements."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from textwrap import wrap

from rich.text import Text

from coach.guitar.key_finder import KeyChoice
from coach.picking.pattern import Pattern
from coach.screens.shared.shape_view import HEIGHT, WIDTH, shape_rows
from coach.song.arrangement import Arrangement, pattern_under
from coach.song.arranging.overrides import said_by_hand
from coach.song.chart import HOLD, SILENT, Song
from coach.song.perform import chords_in_key, sounding_key
from coach.song.piece import PieceBar

LANES = "lanes of its own"
BOTH = 110  # cells from which two arrangements stand side by side
Place = tuple[str, int]  # part, bar in it from 0
Played = Mapping[Place, PieceBar]
Titles = Mapping[str, str]  # pattern's id -> title


@dataclass(frozen=True)
class Row:
    """A line of the page: a part's name (`bar` is -1), or one of its bars."""

    part: str
    bar: int

    @property
    def place(self) -> Place:
        """Where it is."""
        return self.part, self.bar


def rows_of(song: Song) -> tuple[Row, ...]:
    """A line for each part that is played, and for each of its bars."""
    names = dict.fromkeys(song.order)
    return tuple(Row(name, bar) for name in names for bar in range(-1, len(song.parts[name].bars)))


def charted(song: Song, arrangement: Arrangement | None, place: Place) -> tuple[str, ...]:
    """The chords of a bar as charted, by their names in the arrangement's key; N for none."""
    bar = song.parts[place[0]].bars[place[1]]
    key = arrangement.key if arrangement is not None and arrangement.key else song.key
    return tuple(str(chord) if chord else "N" for _, chord in chords_in_key(bar, song.key, key))


def chords_of(names: Sequence[str], played: PieceBar | None) -> tuple[str, ...]:
    """The chords of a bar; where something else stands in for one it is named beside it: `F(Am7)`."""
    if played is None:
        return tuple(names)
    held = [str(hold.chord) if hold.chord else "N" for hold in played.held.holds]
    return tuple(name if name == other else f"{name}({other})" for name, other in zip(names, held, strict=True))


def shapes_of(played: PieceBar | None) -> str:
    """The shapes of a bar."""
    return "" if played is None else " ".join(str(h.shape) if h.shape else "-" for h in played.held.holds)


def picking_of(song: Song, arrangement: Arrangement, place: Place, titles: Titles) -> str:
    """What is picked in a bar: each pattern's title once."""
    part, number = place
    way = song.parts[part].bars[number].way
    if way == SILENT:
        return "silent"
    if way == HOLD:
        return "plucked once, rings"
    chords = charted(song, arrangement, place)
    names = dict.fromkeys(pattern_under(arrangement, part, number, chord) for chord in chords)
    return ", ".join(titles.get(name, name) if name else LANES for name in names)



@dataclass(frozen=True)
class Columns:
    """How wide the columns are: bar and chords, words, and for each arrangement shown its shapes and its picking."""

    chords: int
    words: int
    shapes: int
    picking: int
    shown: int


def columns(width: int, arrangements: int) -> Columns:
    """The columns that fit `width` cells; both tiers where there is room."""
    shown = min(arrangements, 2) if width >= BOTH else 1
    chords = 12 if width < 100 else 14
    shapes = 15
    left = width - 5 - chords - shown * (shapes + 2)
    picking = max(min(left // (shown + 1), 26), 10)
    return Columns(chords, max(left - shown * (picking + 1), 0), shapes, picking, shown)


def head_line(cols: Columns, names: Sequence[str], chosen: str) -> Text:
    """The names of the columns; the arrangement in hand is marked."""
    text = Text(no_wrap=True)
    text.append(" bar " + "chords".ljust(cols.chords) + ("words".ljust(cols.words) if cols.words else ""), "dim")
    for name in names[: cols.shown]:
        mine = name == chosen
        title = f"{'▸' if mine else ' '}{name}"
        text.append(" " + title.ljust(cols.shapes + cols.picking + 2), "bold" if mine else "dim")
    return text


def row_line(
    song: Song,
    row: Row,
    shown: Sequence[tuple[Arrangement, Played]],
    titles: Titles,
    cols: Columns,
    *,
    chosen: bool = False,
    at: int = 0,
    in_hand: str = "",
) -> Text:
    """One line: a part's name, or a bar with its words and what is held and picked in each arrangement shown.

    A star stands at a bar of which the player has said something in the arrangement in hand.
    """
    text = Text(no_wrap=True)
    if row.bar < 0:
        times = song.order.count(row.part)
        again = f", {times} times" if times > 1 else ""
        meter = song.parts[row.part].meter
        text.append(f"{row.part}{again}" + (f", {meter}" if meter else ""), "bold underline")
        return text
    base = "bold" if chosen else ""
    mine, played_here = next(((a, p.get(row.place)) for a, p in shown if a.name == in_hand), (None, None))
    names = charted(song, mine, row.place)
    named = chords_of(names, played_here)
    own = mine is not None and any(said_by_hand(mine, row.part, row.bar, name) for name in names)
    text.append(f"{'▸' if chosen else ' '}{row.bar + 1:>3}{'*' if own else ' '}", base or "dim")
    cell = Text()
    for number, chord in enumerate(named):
        mark = chosen and number == at and len(named) > 1
        cell.append(f"{'›' if mark else ''}{chord} ", "bold reverse" if mark else base)
    text.append_text(_fit(cell, cols.chords))
    if cols.words:
        said = " ".join(w.text for w in song.parts[row.part].bars[row.bar].words)
        text.append_text(_fit(Text(said, style=base or "italic"), cols.words))
    for arrangement, played in shown:
        piece_bar = played.get(row.place)
        look = base if arrangement.name == in_hand else "dim"
        text.append(" ")
        text.append_text(_fit(Text(shapes_of(piece_bar), style=look), cols.shapes + 1))
        picked = picking_of(song, arrangement, row.place, titles)
        text.append_text(_fit(Text(picked, style=look), cols.picking))
    return text


def _fit(text: Text, width: int) -> Text:
    """The text in exactly `width` cells, the last of them blank."""
    text.truncate(max(width - 1, 0), overflow="ellipsis", pad=True)
    return text.append(" ") if width else text


def sum_line(song: Song, arrangement: Arrangement, bpm: int, scope: str, span: str) -> str:
    """The arrangement in one line."""
    capo = f", capo {arrangement.capo}" if arrangement.capo else ""
    sounds = sounding_key(song, arrangement)
    key = arrangement.key or song.key
    heard = f" (sounds in {sounds.title})" if sounds != key else ""
    early = ", a bar early" if arrangement.early else ""
    return (
        f"{key.title} shapes{capo}{heard} · {bpm} bpm · choose for {scope} · hear {span}"
        f" · under words: {arrangement.singing}{early}"
    )


def reasons(
    arrangement: Arrangement, row: Row, chord: str, patterns: Mapping[str, Pattern], width: int
) -> Iterator[str]:
    """Why it is so here and throughout, the narrowest first, wrapped to `width`."""
    way = arrangement.parts.get(row.part)
    own = way.bars.get(row.bar) if way else None
    if own is not None and own.why:
        yield from _wrapped(f"this bar: {own.why}", width)
    recipe = (way.stand_in.get(chord) if way else None) or arrangement.way.stand_in.get(chord)
    if recipe:
        yield from _wrapped(f"{recipe} stands in for {chord}", width)
    name = pattern_under(arrangement, row.part, row.bar, chord)
    if name in patterns:
        yield from _wrapped(f"{patterns[name].title}: {patterns[name].about}", width)
    mine = [line for line in arrangement.why if line.split(" ")[0] == chord and line.split(" ")[1:2] not in _MODES]
    for line in mine:
        yield from _wrapped(line, width)
    rest = [line for line in arrangement.why if line not in mine]
    if rest:
        yield ""
        yield f"{arrangement.name}, throughout"
    for line in rest:
        yield from _wrapped(line, width)


def _wrapped(text: str, width: int) -> list[str]:
    return wrap(f"- {text}", max(width, 20), subsequent_indent="  ")


_MODES = (["major"], ["minor"])  # `G major shapes` is about the key


def held_shapes(played: PieceBar | None, at: int, width: int, why: str = "") -> Text:
    """The shapes of a bar side by side, the chord looked at among them and marked."""
    holds = played.held.holds if played is not None else ()
    fit = max(width // (WIDTH + 1), 1)
    first = min(max(at - fit // 2, 0), max(len(holds) - fit, 0))
    lines = [Text() for _ in range(HEIGHT)]
    for number in range(first, min(first + fit, len(holds))):
        hold, mine = holds[number], number == at
        name = f"{'▸' if mine else ' '}{hold.chord or 'N'}"
        for line, drawn in zip(lines, shape_rows(name, hold.shape, hold.bass), strict=False):
            line.append(drawn.ljust(WIDTH + 1)[: WIDTH + 1], "bold" if mine else "")
    return Text("\n").join([*lines, Text(why, "dim")] if why else lines)


def key_options(places: Sequence[KeyChoice]) -> list[tuple[str, str]]:
    """The ranked keys to choose from."""
    return [(str(number), _key_line(place)) for number, place in enumerate(places)]


def _key_line(place: KeyChoice) -> str:
    return f"{place.shape_key!s:<3} shapes, capo {place.capo:<2} sounds in {place.sounding_key!s:<3} {place.score:5.1f}"
