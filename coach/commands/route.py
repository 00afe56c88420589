"""`coach shapes`: the easiest way through a progression, what stays down, and easier things for a hard chord."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from typing import Any

from coach.commands.answers import answer, note, width, wrapped
from coach.commands.arguments import Command, add_json, whole
from coach.commands.drawings import Drawing, side_by_side
from coach.commands.hand import add_hand, hand_given, tuning_given
from coach.commands.theory import key_given
from coach.errors import BadInput, BadMusic
from coach.guitar.grip import Grip
from coach.guitar.held_tone import HeldTone, find_held_tones
from coach.guitar.key_finder import HIGHEST_CAPO
from coach.guitar.moves import Change
from coach.guitar.route import Route, find_route
from coach.guitar.shape import Shape
from coach.guitar.standins import StandIn, find_standins
from coach.guitar.tuning import Tuning
from coach.music.chords import Chord, read_bars
from coach.music.keys import Key
from coach.music.notes import Note, Pitch
from coach.music.numerals import numeral

NONE = "N"
MOST_CHORDS = 512
MOST_FRET = 15


def bars_given(text: str) -> tuple[tuple[Chord | None, ...], ...]:
    """A progression with at least one chord, and not too many. Raises BadMusic or BadInput."""
    bars = read_bars(text)
    count = sum(map(len, bars))
    if count > MOST_CHORDS:
        raise BadInput(f"{count} chords are too many", mend=f"keep to {MOST_CHORDS}")
    if not any(chord for bar in bars for chord in bar):
        raise BadMusic("there is no chord to play", mend='give chords, like "C | Am | F | G"')
    return bars


def name_of(chord: Chord | None) -> str:
    """The chord's symbol, N for none."""
    return str(chord) if chord else NONE


def points(value: float) -> float:
    """A cost as it is shown."""
    return round(value, 3)


def _shapes_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("chords", metavar="CHORDS", help='bars parted by |, like "C | Am | F G"; N is no chord')
    parser.add_argument("--key", metavar="K", help="the key: tells the numerals, and stand-ins keep to it")
    parser.add_argument("--minimax", action="store_true", help="make the hardest single change as easy as can be")
    parser.add_argument("--loop", action="store_true", help="count the change from the last chord back to the first")
    parser.add_argument(
        "--pin", metavar="PINS", default="", help='shapes that must be used, like "C=x32010,4=xx3211" (4: fourth chord)'
    )
    parser.add_argument(
        "--top", metavar="NOTES", default="", help='notes that must sound on top, like "C=E,2=A4" (2: second chord)'
    )
    parser.add_argument("--easier", metavar="N", help="also list easier stand-ins for a chord (symbol or number)")
    parser.add_argument("--hold", action="store_true", help="also list fingers that can stay down through all chords")
    parser.add_argument("--capo", metavar="F", default="0", help="the fret of the capo; shapes are counted from it")
    parser.add_argument("--max-fret", metavar="F", default="12", help="the highest fret to use (usual: 12)")
    add_hand(parser)
    add_json(parser)


def _shapes(args: Namespace) -> None:
    key = None if args.key is None else key_given(args.key)
    chords = [chord for bar in bars_given(args.chords) for chord in bar]
    hand, tuning = hand_given(args), tuning_given(args.tuning)
    capo = whole(args.capo, "--capo", 0, HIGHEST_CAPO)
    max_fret = whole(args.max_fret, "--max-fret", 0, MOST_FRET)
    pins = _by_chord(args.pin, "--pin", "x32010", _shape, chords)
    tops = _by_chord(args.top, "--top", "E4", _top, chords)
    at = None if args.easier is None else _position(args.easier, chords)
    found = find_route(
        chords, hand, tuning,
        capo=capo, pins=pins, tops=tops, minimax=args.minimax, loop=args.loop, max_fret=max_fret,
    )  # fmt: skip
    easier: tuple[StandIn, ...] | None = None
    if at is not None and (hard := chords[at]) is not None:
        before = found.grips[at - 1] if at else None
        easier = find_standins(
            hard, hand, tuning,
            capo=capo, max_fret=max_fret, instead_of=found.grips[at], before=before, scale=key.scale if key else (),
        )  # fmt: skip
    through = None
    if args.hold:
        through = find_held_tones([c for c in chords if c], hand, tuning, capo=capo, max_fret=max_fret)
    data = _route_data(chords, found, key)
    if easier is not None:
        data["easier"] = [_standin_data(s) for s in easier]
    if through is not None:
        data["hold"] = [_hold_data(tone) for tone in through]
    answer(args.json, data, _route_lines(chords, found, key, capo, tuning, easier, through))


def _shape(text: str) -> Shape:
    return Shape.parse(text)


def _top(text: str) -> Note | Pitch:
    """A note, or with an octave a pitch."""
    return Pitch.parse(text) if text[-1:].isdigit() else Note.parse(text)


def _by_chord(text: str, option: str, like: str, read: Any, chords: Sequence[Chord | None]) -> dict[int | str, Any]:
    """Read `"C=x32010,4=xx3211"`: by chord symbol, or by position from 0 where a number from 1 is given."""
    found: dict[int | str, Any] = {}
    for item in filter(None, (part.strip() for part in text.split(","))):
        name, equals, value = (part.strip() for part in item.partition("="))
        try:
            if not equals:
                raise BadInput(f"'{item}' has no =", mend=f"write CHORD={like}, or a number like 1={like}")
            where: int | str = _number(name, chords) if name.isdigit() else str(Chord.parse(name))
            found[where] = read(value)
        except BadInput as error:
            raise error.at(option) from None
        if isinstance(where, str) and where not in {str(c) for c in chords}:
            note(f"{where} stands in {option} but is not among the chords.")
    return found


def _number(text: str, chords: Sequence[Chord | None]) -> int:
    """A chord's number from 1 as a position from 0."""
    if not 1 <= int(text[:9]) <= len(chords):
        last = f"1 to {len(chords)}" if len(chords) > 1 else "1"
        raise BadInput(f"there is no chord number {text}", mend=f"the chords have the numbers {last}")
    return int(text) - 1


def _position(text: str, chords: Sequence[Chord | None]) -> int:
    """Where the chord that `--easier` names stands. Raises BadInput."""
    try:
        if text.isdigit():
            return _number(text, chords)
        wanted = str(Chord.parse(text))
    except BadInput as error:
        raise error.at("--easier") from None
    names = [name_of(c) for c in chords]
    if wanted not in names:
        there = ", ".join(dict.fromkeys(n for n in names if n != NONE))
        raise BadInput(f"--easier names {wanted}, which is not among the chords", mend=f"name one of {there}")
    return names.index(wanted)


def _route_data(chords: Sequence[Chord | None], found: Route, key: Key | None) -> dict[str, Any]:
    shapes = []
    for chord, grip in zip(chords, found.grips, strict=True):
        row: dict[str, Any] = {"chord": name_of(chord), **_grip_data(grip)}
        if key is not None:
            row["numeral"] = numeral(chord, key)
        shapes.append(row)
    held = [_change_data(number, change, chords) for number, change in enumerate(found.changes)]
    return {"shapes": shapes, "cost": points(found.cost), "hardest": points(found.hardest), "held": held}


def _grip_data(grip: Grip | None) -> dict[str, Any]:
    if grip is None:
        return {"shape": "xxxxxx", "fingers": "......", "bass": None, "missing": [], "cost": 0.0}
    bass = {"r": grip.bass.r, "a": grip.bass.a, "f": grip.bass.f}
    return {
        "shape": str(grip.shape),
        "fingers": grip.shape.fingers,
        "bass": bass,
        "missing": list(grip.missing),
        "cost": points(grip.cost),
    }


def _change_data(number: int, change: Change, chords: Sequence[Chord | None]) -> dict[str, Any]:
    return {
        "from": name_of(chords[number]),
        "to": name_of(chords[(number + 1) % len(chords)]),
        "fingers": [{"finger": s.finger, "string": s.string, "fret": s.fret} for s in change.held],
        "slides": [{"finger": s.finger, "string": s.string, "fret": s.fret, "to": s.to} for s in change.slides],
        "moved": list(change.moved),
        "lifted": list(change.lifted),
        "rings": list(change.rings),
        "travel_mm": round(change.travel_mm, 1),
        "cost": points(change.cost),
        "says": str(change),
    }


def _standin_data(standin: StandIn) -> dict[str, Any]:
    return {
        "kind": standin.kind,
        "chord": str(standin.grip.chord),
        **_grip_data(standin.grip),
        "recipe": standin.recipe,
        "lost": list(standin.lost),
        "gained": list(standin.gained),
        "saves": points(standin.saves),
    }


def _hold_data(tone: HeldTone) -> dict[str, Any]:
    return {
        "finger": tone.finger,
        "string": tone.string,
        "fret": tone.fret,
        "note": str(tone.note),
        "shapes": [{"chord": str(g.chord), "shape": str(g.shape), "fingers": g.shape.fingers} for g in tone.grips],
        "cost": points(tone.cost),
        "says": str(tone),
    }


def _route_lines(
    chords: Sequence[Chord | None],
    found: Route,
    key: Key | None,
    capo: int,
    tuning: Tuning,
    easier: Sequence[StandIn] | None,
    through: Sequence[HeldTone] | None,
) -> Iterator[str]:
    head = [key.title] if key else []
    head += [f"capo on {capo}"] if capo else []
    head += [tuning.title] if tuning.title != "Standard" else []
    if head:
        yield ", ".join(head)
        yield ""
    drawn: dict[tuple[str, str], Grip] = {}
    for grip in found.grips:
        if grip is not None:
            drawn.setdefault((str(grip.chord), str(grip.shape)), grip)
    yield from side_by_side([Drawing(_title(g, key), g.shape, g.bass, str(g.shape)) for g in drawn.values()])
    yield ""
    numbers = len(str(len(chords)))
    for number, change in enumerate(found.changes):
        one, other = chords[number], chords[(number + 1) % len(chords)]
        first, *rest = wrapped(f"{name_of(one)} to {name_of(other)}: {change}.", " " * (numbers + 2), width())
        yield f"{number + 1:>{numbers}}  {first.strip()}"
        yield from rest
    if len(found.changes) > 1:
        yield ""
        yield _hardest_line(chords, found)
    if easier is not None:
        yield ""
        yield from _standin_lines(easier)
    if through is not None:
        yield ""
        yield from _hold_lines(through)


def _title(grip: Grip, key: Key | None) -> str:
    return f"{grip.chord} {numeral(grip.chord, key)}" if key else str(grip.chord)


def _hardest_line(chords: Sequence[Chord | None], found: Route) -> str:
    worst = max(
        range(len(found.changes)),
        key=lambda n: (found.changes[n].cost + _own(found.grips[(n + 1) % len(chords)]), -n),
    )
    one, other = name_of(chords[worst]), name_of(chords[(worst + 1) % len(chords)])
    return f"The hardest change is {worst + 1}, {one} to {other}."


def _own(grip: Grip | None) -> float:
    return grip.cost if grip else 0.0


def _standin_lines(easier: Sequence[StandIn]) -> Iterator[str]:
    if not easier:
        yield "Nothing easier was found that still tells the chord."
        return
    yield "Easier:"
    for standin in easier:
        name = standin.recipe or str(standin.grip.chord)
        yield f"  {standin.kind:<8}  {name}  {standin.grip.shape}  fingers {standin.grip.shape.fingers}"
        for words, what in ((standin.gained, "gained"), (standin.lost, "lost")):
            if words:
                yield from wrapped(f"{what}: {'; '.join(words)}", " " * 12, width())


def _hold_lines(through: Sequence[HeldTone]) -> Iterator[str]:
    if not through:
        yield "No finger can stay down through all of these chords."
        return
    yield "Through all of it:"
    for tone in through:
        yield from wrapped(f"{tone}.", "  ", width())
        shapes = dict.fromkeys(f"{g.chord} {g.shape}" for g in tone.grips)
        yield from wrapped(", ".join(shapes), " " * 6, width())


COMMANDS = {
    "shapes": Command(
        "Finds the easiest way through a progression: which shape for each chord, so that holding them and changing "
        "between them together is as little work as can be, and says what stays down at each change.",
        'coach shapes "C | Am | F | G" --key C\n'
        'coach shapes "G | C | D" --pin "C=x32010" --top "3=F#4" --minimax --json\n'
        'coach shapes "C | G | F" --easier F',
        _shapes_arguments,
        _shapes,
    ),
}
