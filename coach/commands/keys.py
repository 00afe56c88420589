"""`coach keys`: the key and the capo to play a progression in."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from typing import Any

from coach.commands.answers import answer, table, width, wrapped
from coach.commands.arguments import Command, add_json, whole
from coach.commands.hand import add_hand, hand_given, range_given, tuning_given
from coach.commands.route import bars_given, name_of, points
from coach.commands.theory import key_given
from coach.guitar.key_finder import HIGHEST_CAPO, USUAL_MAX_CAPO, KeyChoice, find_keys
from coach.music.keys import Key

SHOWN = 5


def _keys_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("chords", metavar="CHORDS", help='bars parted by |, like "E | A B7 | E"')
    parser.add_argument("--key", metavar="K", required=True, help="the key the chords are in, like E or 'F# minor'")
    parser.add_argument("--melody", metavar="LOW-HIGH", help="lowest and highest note of the tune in that key")
    parser.add_argument("--voice", metavar="LOW-HIGH", help="what you sing in comfort; with both the key may move")
    parser.add_argument("--max-capo", metavar="F", default=str(USUAL_MAX_CAPO), help="highest fret for it (usual: 7)")
    parser.add_argument("--limit", metavar="N", help="only so many, best first (usual: all; as text the best 5)")
    add_hand(parser)
    add_json(parser)


def _keys(args: Namespace) -> None:
    key = key_given(args.key)
    bars = bars_given(args.chords)
    melody = None if args.melody is None else range_given(args.melody, "--melody")
    voice = None if args.voice is None else range_given(args.voice, "--voice")
    max_capo = whole(args.max_capo, "--max-capo", 0, HIGHEST_CAPO)
    limit = None if args.limit is None else whole(args.limit, "--limit", 1, 999)
    free = melody is not None or voice is not None
    found = find_keys(
        bars, key, hand_given(args), tuning_given(args.tuning),
        melody=melody, voice=voice, fixed=not free, max_capo=max_capo,
    )  # fmt: skip
    data = [_choice_data(choice) for choice in found[:limit]]
    answer(args.json, data, _choice_lines(found[: limit or SHOWN], key, free))


def _choice_data(choice: KeyChoice) -> dict[str, Any]:
    return {
        "shape_key": str(choice.shape_key),
        "capo": choice.capo,
        "sounding_key": str(choice.sounding_key),
        "score": round(choice.score, 2),
        "chords": [name_of(chord) for bar in choice.bars for chord in bar],
        "bars": [[name_of(chord) for chord in bar] for bar in choice.bars],
        "voice_shift": choice.voice_shift,
        "why": list(choice.why),
        "points": {name: points(value) for name, value in choice.parts},
        "shapes": {str(grip.chord): str(grip.shape) for grip in choice.grips},
    }


def _choice_lines(found: Sequence[KeyChoice], key: Key, free: bool) -> Iterator[str]:
    yield f"The sounding key may move from {key.title}." if free else f"It must sound in {key.title}."
    yield ""
    rows = [
        (
            str(number),
            str(c.shape_key),
            str(c.capo),
            str(c.sounding_key),
            f"{c.score:.1f}",
            f"{c.voice_shift:+d}" if c.voice_shift else "0",
            " | ".join(" ".join(map(name_of, bar)) for bar in c.bars),
        )
        for number, c in enumerate(found, start=1)
    ]
    head = ("", "shapes", "capo", "sounds", "score", "voice", "chords")
    for line in table(head, rows, right=("capo", "score", "voice")):
        yield line if len(line) <= width() else line[: width() - 4].rstrip() + " ..."
    for number, choice in enumerate(found, start=1):
        yield ""
        first, *rest = wrapped(f"{'; '.join(choice.why)}.", "   ", width())
        yield f"{number:<3}{first.strip()}"
        yield from rest


COMMANDS = {
    "keys": Command(
        "Ranks every key of shapes and place of the capo for a progression, with reasons. Without a voice it must "
        "sound in its own key, to play along with others; with --melody and --voice it may move to suit the singer.",
        'coach keys "E | A | B7 | C#m" --key E\n'
        'coach keys "G | Em | C | D" --key G --melody D4-D5 --voice A2-D4 --json',
        _keys_arguments,
        _keys,
    ),
}
