"""`coach neck`, `coach name`: every shape of a chord, and every chord of a shape."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from typing import Any

from coach import shelf
from coach.commands.answers import answer, width, wrapped
from coach.commands.arguments import Command, add_json, whole
from coach.commands.drawings import Drawing, side_by_side
from coach.commands.hand import add_hand, hand_given, tuning_given
from coach.errors import BadInput
from coach.guitar.bass import bass_of
from coach.guitar.grip import Grip
from coach.guitar.naming import ChordName, name_shape
from coach.guitar.search import USUAL_MAX_FRET, find_grips, usual_first
from coach.guitar.shape import HIGHEST_FRET, Shape
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import Chord
from coach.music.keys import Key

DRAWN = 10  # how many shapes the text form draws where --limit does not say
MOST_CAPO = 12


# neck -----------------------------------------------------------------------------------------


def _neck_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("chord", metavar="CHORD", help="a chord symbol, like F, Bbmaj7 or D/F#")
    parser.add_argument(
        "--max-fret", metavar="N", default=str(USUAL_MAX_FRET), help=f"highest fret (usual: {USUAL_MAX_FRET})"
    )
    parser.add_argument(
        "--limit", metavar="N", help=f"only the N easiest (usual: all as JSON; as text the first {DRAWN} are drawn)"
    )
    parser.add_argument("--capo", metavar="N", default="0", help="names and frets count from a capo at this fret")
    add_hand(parser)
    add_json(parser)


def _neck(args: Namespace) -> None:
    chord = Chord.parse(args.chord)
    capo = whole(args.capo, "--capo", 0, MOST_CAPO)
    max_fret = whole(args.max_fret, "--max-fret", 0, HIGHEST_FRET - capo)
    limit = None if args.limit is None else whole(args.limit, "--limit", 1, 100_000)
    hand, tuning = hand_given(args), tuning_given(args.tuning)
    found = usual_first(find_grips(chord, hand, tuning, capo=capo, max_fret=max_fret), _usual(chord, tuning))
    wanted = found if limit is None else found[:limit]
    data = [_grip_row(grip, tuning) for grip in wanted]
    answer(args.json, data, _neck_lines(chord, found, wanted if limit else found[:DRAWN]))


def _usual(chord: Chord, tuning: Tuning) -> Sequence[Shape]:
    """The trade's own open shapes of the chord, which settle equal costs."""
    return shelf.shapes().open.get(str(chord), ()) if tuning.pitches == STANDARD.pitches else ()


def _grip_row(grip: Grip, tuning: Tuning) -> dict[str, Any]:
    barre = grip.barre and {"fret": grip.barre[0], "from": grip.barre[1], "to": grip.barre[2]}
    return {
        "chord": str(grip.chord),
        "shape": str(grip.shape),
        "fingers": grip.shape.fingers,
        "barre": barre,
        "notes": _notes(grip, tuning),
        "bass": {"r": grip.bass.r, "a": grip.bass.a, "f": grip.bass.f},
        "cost": round(grip.cost, 3),
        "span_mm": round(grip.span_mm, 1),
        "missing": list(grip.missing),
        "why": _why(grip),
    }


def _notes(grip: Grip, tuning: Tuning) -> list[str]:
    """What each sounding string plays, from string 6 on, spelled for the chord."""
    spelled = {note.pitch_class: str(note) for note in (grip.chord.lowest, *grip.chord.tones)}
    return [spelled[(grip.shape.midi(string, tuning) or 0) % 12] for string in grip.shape.sounding]


def _why(grip: Grip) -> list[str]:
    return [f"{reason} {points:.1f}" for reason, points in grip.parts]


def _neck_lines(chord: Chord, found: Sequence[Grip], drawn: Sequence[Grip]) -> Iterator[str]:
    if not found:
        yield f"No shape for {chord} is within this hand's reach. A longer --span, --thumb or more frets give more."
        return
    count = f"{len(found)} shape{'s' if len(found) > 1 else ''}"
    few = f", the {len(drawn)} easiest" if 1 < len(drawn) < len(found) else ""
    yield f"{chord}: {count}{few}. Under each: the thumb's root, alternate and fifth, then what it costs."
    yield ""
    yield from side_by_side([Drawing(str(g.shape), g.shape, g.bass, _under(g)) for g in drawn])
    yield ""
    first = drawn[0]
    why = ", ".join(_why(first)) or "nothing to hold"
    yield from wrapped(f"{first.shape} costs {first.cost:.1f}: {why}.", "", width())


def _under(grip: Grip) -> str:
    return f"{grip.cost:.1f}" + "".join(f" no {tone}" for tone in grip.missing)


# name -----------------------------------------------------------------------------------------


def _name_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("shape", metavar="SHAPE", help="string 6 to string 1, x is muted, like x32010 or 8(10)(10)988")
    parser.add_argument("--key", metavar="K", help="the key it is heard in, like C or F#m; it orders and spells")
    parser.add_argument("--tuning", metavar="T", default="standard", help="its name, or six pitches from string 6")
    add_json(parser)


def _name(args: Namespace) -> None:
    shape, tuning = Shape.parse(args.shape), tuning_given(args.tuning)
    try:
        key = None if args.key is None else Key.parse(args.key)
    except BadInput as error:
        raise error.at("--key") from None
    found = name_shape(shape, tuning, key)
    data = [
        {
            "chord": str(r.chord),
            "notes": [str(note) for note in r.notes],
            "reading": r.why,
            "score": r.score,
            "missing": list(r.missing),
        }
        for r in found
    ]
    answer(args.json, data, _name_lines(shape, tuning, key, found))


def _name_lines(shape: Shape, tuning: Tuning, key: Key | None, found: Sequence[ChordName]) -> Iterator[str]:
    best = found[0] if found else None
    yield from side_by_side([Drawing(str(shape), shape, bass_of(shape, best.chord, tuning) if best else None)])
    if best is None:
        yield "No chord known here sounds like this."
        return
    yield f"sounds {' '.join(map(str, best.notes))}" + (f" in {key.title}" if key else "")
    yield ""
    wide = max(len(str(r.chord)) for r in found)
    for r in found:
        first, *rest = wrapped(r.why, " " * (wide + 2), width())
        yield f"{str(r.chord).ljust(wide)}  {first.strip()}"
        yield from rest


COMMANDS = {
    "neck": Command(
        "Searches every shape of a chord that the hand can hold and draws them, easiest first: for the fretting hand "
        "and for a picking hand that wants root, alternate and fifth bass and three treble strings. "
        "Stop at pain, numbness or tingling, and do not stretch through it.",
        "coach neck F --limit 4\ncoach neck D/F# --thumb --span 4 --json\ncoach neck G --tuning dadgad",
        _neck_arguments,
        _neck,
    ),
    "name": Command(
        "Names a shape: every chord it can be, the likeliest first, with the reasons.",
        "coach name x33010 --key C\ncoach name 000230 --tuning dadgad --json",
        _name_arguments,
        _name,
    ),
}
