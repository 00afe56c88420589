"""`coach patterns`, `coach layers`, and `coach show` for a pattern: what the picking hand does."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from typing import Any

from coach import shelf
from coach.commands.answers import answer, note, table, width, wrapped
from coach.commands.arguments import Command, add_json, whole
from coach.errors import BadInput
from coach.guitar.open_shapes import read_pinned_shapes
from coach.music.chords import read_bars
from coach.music.meter import Meter, beat_text, count_syllables
from coach.picking.layers import FULL, LAYERS, check_layer, distinct_layers, plucks_in_layer
from coach.picking.pattern import STRAIGHT, Pattern
from coach.picking.plucks import SOFT, Pluck
from coach.picking.realise import HeldBar, hold_bars, realise
from coach.picking.tab import NARROWEST, draw_tab_bar, wrap_tab_bars

CHORD = "C"
MOST_BARS = 2000
NO_SHAPE = "xxxxxx"


def _patterns_arguments(parser: ArgumentParser) -> None:
    add_json(parser)


def _patterns(args: Namespace) -> None:
    library = shelf.library()
    for broken in library.broken:
        note(broken.why)
    rows = [
        {
            "id": p.id,
            "title": p.title,
            "meter": str(p.meter),
            "slots": p.slots,
            "bars": len(p.bars),
            "feel": p.feel,
            "tags": list(p.tags),
            "own": p.own,
            "about": p.about,
            "grows_from": p.grows_from or None,
            "chords": p.chords or None,
        }
        for p in library.patterns.values()
    ]
    answer(args.json, rows, _pattern_lines(list(library.patterns.values())))


def _pattern_lines(patterns: Sequence[Pattern]) -> Iterator[str]:
    cells = [
        (
            p.id,
            str(p.meter),
            str(p.slots),
            str(len(p.bars)),
            "straight" if p.share == STRAIGHT else f"swing {float(p.share):.2f}",
            "own" if p.own else "",
            p.title,
        )
        for p in patterns
    ]
    yield from table(("pattern", "meter", "slots", "bars", "feel", "", "title"), cells, right=("slots", "bars"))


def _add_picked(
    parser: ArgumentParser, name: str = "PATTERN", told: str = "a pattern's id, or the path of a pattern file"
) -> None:
    parser.add_argument("pattern", metavar=name, help=told)
    parser.add_argument(
        "--chords", metavar="C", help='bars parted by |, like "C | F G | N" (usual: its own, or C); N is no chord'
    )


def add_show(parser: ArgumentParser, name: str, told: str) -> None:
    """The arguments of `coach show` for a pattern; its first is called `name`, and `told` is its help."""
    _add_picked(parser, name, told)
    parser.add_argument("--loops", metavar="N", default="1", help="how many times round (usual: 1)")
    parser.add_argument("--layer", metavar="L", default=FULL, help=f"how much sounds: {', '.join(LAYERS)}")
    parser.add_argument("--shapes", metavar="PINS", default="", help='shapes to use, like "C=x32010,F=xx3211"')
    parser.add_argument("--why", action="store_true", help="also tell what was moved to fit the shapes, and why")
    add_json(parser)


def show_pattern(args: Namespace) -> None:
    """`coach show` for a pattern."""
    layer = check_layer(args.layer)
    loops = whole(args.loops, "--loops", 1, 999)
    pattern = shelf.library().find(args.pattern)
    held = held_bars(bars_for(args.chords, pattern), pattern.meter, args.shapes)
    check_length(len(held), loops)
    every = realise(pattern, held, loops=loops)
    heard = plucks_in_layer(every, layer)
    data = {
        "pattern": pattern.id,
        "meter": str(pattern.meter),
        "layer": layer,
        "slots": pattern.slots,
        "bars": [bar_row(bar) for bar in held] * loops,
        "plucks": [pluck_row(pluck) for pluck in heard],
    }
    answer(args.json, data, _tab_lines(pattern, held, loops, layer, every, heard, args.why))


def check_length(bars: int, loops: int) -> None:
    """Raises BadInput where so many bars, so many times round, are more than can be had at once."""
    if bars * loops > MOST_BARS:
        raise BadInput(f"{bars} bars {loops} times round are too many", mend=f"keep to {MOST_BARS} bars in all")


def bars_for(asked: str | None, pattern: Pattern) -> str:
    """The chords asked for; else those the pattern is made for, or one easy chord for each of its bars."""
    usual = pattern.chords or " | ".join([CHORD] * len(pattern.bars))
    return usual if asked is None else asked


def held_bars(chords: str, meter: Meter, pins: str = "") -> tuple[HeldBar, ...]:
    """The chords of a command as bars with their shapes. Raises BadMusic or BadShape.

    A pin for a chord that is not among them is told on stderr.
    """
    try:
        pinned = read_pinned_shapes(pins)
    except BadInput as error:
        raise error.at("--shapes") from None
    try:
        bars = read_bars(chords)
        held = hold_bars(bars, meter, shelf.shapes(), pinned)
    except BadInput as error:
        raise error.at("--chords") from None
    for name in sorted(pinned.keys() - {str(chord) for bar in bars for chord in bar}):
        note(f"{name} has a shape in --shapes but is not among the chords.")
    return held


def bar_row(bar: HeldBar) -> dict[str, Any]:
    """A bar's chords and shapes as JSON has them; its first chord stands for the whole bar."""
    chords = [
        {
            "beat": str(hold.beat),
            "chord": str(hold.chord) if hold.chord else "N",
            "shape": str(hold.shape) if hold.shape else NO_SHAPE,
        }
        for hold in bar.holds
    ]
    return {"chord": chords[0]["chord"], "shape": chords[0]["shape"], "chords": chords}


def pluck_row(pluck: Pluck) -> dict[str, Any]:
    """A pluck as JSON has it."""
    return {
        "bar": pluck.bar,
        "beat": str(pluck.beat),
        "string": pluck.string,
        "fret": pluck.fret,
        "midi": pluck.midi,
        "finger": pluck.finger,
        "role": pluck.role,
        "sounds_at": str(pluck.sounds_at),
        "stress": pluck.stress,
        "why": pluck.why,
    }


def _tab_lines(
    pattern: Pattern,
    held: Sequence[HeldBar],
    loops: int,
    layer: str,
    every: Sequence[Pluck],
    heard: Sequence[Pluck],
    why: bool,
) -> Iterator[str]:
    yield f"{pattern.title}, {pattern.meter}" + ("" if layer == FULL else f", layer {layer} (· is left out)")
    yield ""
    slot_width = NARROWEST + _needs_room(pattern, heard)
    drawn, before = [], ""
    for number in range(len(held) * loops):
        bar = held[number % len(held)]
        mine = [p for p in every if p.bar == number]
        sounding = [p for p in heard if p.bar == number]
        # The first bar of each time round names its chord anew.
        chord_before = before if number % len(held) else ""
        drawn.append(
            draw_tab_bar(
                mine, sounding, bar, pattern.meter, pattern.slots, slot_width,
                line="-", barline="|", chord_before=chord_before,
            )
        )  # fmt: skip
        last = bar.holds[-1].chord
        before = str(last) if last else "N"
    yield from wrap_tab_bars(drawn, width()).splitlines()
    if why:
        yield ""
        yield from _moves(heard)


def _needs_room(pattern: Pattern, heard: Sequence[Pluck]) -> bool:
    """True where two cells a slot are too few: frets over 9, ghosts in brackets, two fingers at once, a count to 12."""
    fingers = [(p.bar, p.beat) for p in heard if p.finger != "p"]
    count = count_syllables(pattern.meter, pattern.slots)
    return (
        len(set(fingers)) < len(fingers)
        or any(p.fret > 9 or p.stress == SOFT for p in heard)
        or any(len(word) > 1 for word in count)
    )


def _moves(heard: Sequence[Pluck]) -> Iterator[str]:
    moved = [p for p in heard if p.why]
    if not moved:
        yield "Nothing was moved to fit the shapes."
    for p in moved:
        yield from wrapped(f"bar {p.bar + 1}, beat {beat_text(p.beat)}, {p.finger}: {p.why}.", "", width())


def _layers_arguments(parser: ArgumentParser) -> None:
    _add_picked(parser)
    add_json(parser)


def _layers(args: Namespace) -> None:
    pattern = shelf.library().find(args.pattern)
    plucks = realise(pattern, held_bars(bars_for(args.chords, pattern), pattern.meter))
    rows = [{"layer": name, "plucks": len(plucks_in_layer(plucks, name))} for name in distinct_layers(plucks)]
    cells = [(str(row["layer"]), str(row["plucks"]), LAYERS[str(row["layer"])]) for row in rows]
    answer(args.json, rows, table(("layer", "plucks", "what sounds"), cells, right=("plucks",)))


COMMANDS = {
    "patterns": Command(
        "Lists the picking patterns, shipped and your own, in the order they grow from each other. "
        "A file that cannot be read is told on stderr and the rest is listed.",
        "coach patterns --json",
        _patterns_arguments,
        _patterns,
    ),
    "layers": Command(
        "Lists the layers of a pattern over chords, from the thumb alone to all of it, with the plucks in each.",
        'coach layers outside-in --chords "C | Am"',
        _layers_arguments,
        _layers,
    ),
}
