"""`coach song arrange`, `coach song import`: songs made with help."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Any

from coach import places, shelf
from coach.commands.answers import answer, note, width, wrapped
from coach.commands.arguments import Command, add_json, whole
from coach.errors import BadInput, CoachError

if TYPE_CHECKING:
    from coach.music.keys import Key
    from coach.music.notes import Pitch
    from coach.song.arrangement import Arrangement
    from coach.song.chart import Song

BOTH = "both"
SUFFIX = ".song.toml"


def _arrange_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("song", metavar="SONG", help="a song's id, or the path of a song file")
    parser.add_argument("--tier", metavar="T", default=BOTH, help="plain (eighths), full (sixteenths) or both (usual)")
    parser.add_argument("--key", metavar="K", help="the key it must sound in (usual: its own, or what suits the voice)")
    parser.add_argument("--voice", metavar="LOW-HIGH", help="what you sing in comfort, like A2-D4: the key may move")
    parser.add_argument("--max-capo", metavar="F", default="7", help="highest fret for the capo (usual: 7)")
    parser.add_argument("--melody", action="store_true", help="put the tune on the top strings")
    parser.add_argument("--early", action="store_true", help="thin the picking one bar before the words begin")
    parser.add_argument("--name", metavar="A", help="a name for the arrangement (usual: the tier's)")
    parser.add_argument("--force", action="store_true", help="take the place of what has that name already")
    parser.add_argument("-o", "--out", metavar="FILE", help=f"write the song there, a name that ends in {SUFFIX}")
    add_json(parser)


@dataclass(frozen=True)
class _Target:
    """Where the changed song goes: `before` is the text that is changed there, None for a new file.

    With `replace` a file that the player named is written over, whatever it says.
    """

    path: Path
    before: str | None
    replace: bool = False


def _arrange(args: Namespace) -> None:
    from coach.commands.hand import range_given
    from coach.commands.practice import settings
    from coach.guitar.key_finder import HIGHEST_CAPO
    from coach.song.arranging.arranger import propose
    from coach.song.files.edit_song import set_arrangement
    from coach.song.files.song_file import parse_song, read_text, song_id

    songs = shelf.songs()
    path = songs.path_of(args.song)
    text = read_text(path)
    song = songs.find(args.song)
    names = _names(args)
    if not args.force:
        _check_free(song, names.values())
    target = _target(args, path, text, song.own)
    voice = None if args.voice is None else range_given(args.voice, "--voice")
    key = _key(args.key)
    max_capo = whole(args.max_capo, "--max-capo", 0, HIGHEST_CAPO)
    patterns, book, hand = shelf.library().patterns, shelf.shapes(), shelf.hand_of(settings())
    made = [
        propose(
            song, patterns, book, hand, tier=tier, name=name, voice=voice, max_capo=max_capo, key=key,
            melody=args.melody, early=args.early,
        )
        for tier, name in names.items()
    ]  # fmt: skip
    for arrangement in made:
        text = set_arrangement(text, arrangement)
    _write(target, text)
    written = parse_song(text, song_id(target.path), own=True)
    rows = [_row(written, arrangement, tier) for tier, arrangement in zip(names, made, strict=True)]
    data = {"song": written.id, "file": str(target.path), "arrangements": rows}
    answer(args.json, data, _lines(written, made, target.path))


def _names(args: Namespace) -> dict[str, str]:
    """Tier -> the name its arrangement gets."""
    from coach.song.arranging.tiers import TIERS

    if args.tier == BOTH:
        return {tier: tier if args.name is None else f"{_named(args.name)}-{tier}" for tier in TIERS}
    if args.tier not in TIERS:
        raise BadInput(f"--tier '{args.tier}' cannot be", mend=f"use one of {', '.join(TIERS)}, {BOTH}")
    return {args.tier: args.tier if args.name is None else _named(args.name)}


def _named(text: str) -> str:
    name = " ".join(text.split())
    if not name or len(name) > 40 or not name.isprintable():
        raise BadInput(f"--name '{text}' cannot be", mend="give a short name, like evening")
    return name


def _key(text: str | None) -> Key | None:
    from coach.commands.theory import key_given

    return None if text is None else key_given(text)


def _check_free(song: Song, names: Any) -> None:
    taken = [name for name in names if name in song.arrangements]
    if taken:
        raise CoachError(
            f"{song.id} has {'arrangements' if len(taken) > 1 else 'an arrangement'} {' and '.join(taken)} already",
            mend="give another name with --name, or --force to take their place",
        )


def _target(args: Namespace, path: Path, text: str, own: bool) -> _Target:
    """The file to write: what -o says, else the song's own, else a copy of a shipped one among the player's songs."""
    if args.out is not None:
        out = _song_path(args.out)
        if out.exists() and out.resolve() == path.resolve():
            return _Target(path, text)
        return _Target(out, None, replace=args.force)
    if own:
        return _Target(path, text)
    return _Target(places.songs() / path.name, None)


def _song_path(text: str) -> Path:
    """The file of -o. Raises BadInput where it could not be found again as a song."""
    path = Path(text)
    if not path.name.endswith(SUFFIX) or path.name == SUFFIX:
        like = path.stem.strip(".") or "ferry"
        raise BadInput(f"'{text}' does not end in {SUFFIX}", mend=f"name it like {like}{SUFFIX}")
    return path


def _write(target: _Target, text: str) -> None:
    from coach.song.files.song_file import read_text
    from coach.song.files.song_shelf import write_song

    before = target.before
    if before is None and target.replace and target.path.is_file():
        before = read_text(target.path)
    write_song(target.path, text, before=before)


def _row(song: Song, arrangement: Arrangement, tier: str) -> dict[str, Any]:
    from coach.song.perform import sounding_key

    way = arrangement.way
    return {
        "name": arrangement.name,
        "tier": tier,
        "key": str(arrangement.key or song.key),
        "capo": arrangement.capo,
        "sounding_key": str(sounding_key(song, arrangement)),
        "shift": arrangement.shift,
        "pattern": way.pattern,
        "by_chord": dict(way.by_chord),
        "shapes": {chord: str(shape) for chord, shape in way.shapes.items()},
        "stand_in": dict(way.stand_in),
        "singing": arrangement.singing,
        "early": arrangement.early,
        "why": list(arrangement.why),
        "bars": [
            {
                "part": name,
                "bar": number,
                "pattern": bar.pattern or None,
                "slots": bar.slots or None,
                "lanes": dict(bar.lanes),
                "shapes": {chord: str(shape) for chord, shape in bar.shapes.items()},
                "why": bar.why,
            }
            for name, part in arrangement.parts.items()
            for number, bar in sorted(part.bars.items())
        ],
    }


def _lines(song: Song, made: Sequence[Arrangement], path: Path) -> Iterator[str]:
    shared = [reason for reason in made[0].why if all(reason in other.why for other in made[1:])]
    if len(made) > 1:
        yield f"{' and '.join(a.name for a in made)}:"
        for reason in shared:
            yield from _hanging(reason)
        yield ""
    for arrangement in made:
        way = arrangement.way
        capo = f", capo on {arrangement.capo}" if arrangement.capo else ""
        yield f"{arrangement.name}: {way.pattern}, {(arrangement.key or song.key).title} shapes{capo}"
        for reason in arrangement.why:
            if len(made) == 1 or reason not in shared:
                yield from _hanging(reason)
        shapes = ", ".join(f"{chord} {shape}" for chord, shape in way.shapes.items())
        yield from _hanging(f"shapes: {shapes}")
        yield from _bar_lines(arrangement)
        yield ""
    yield f"Written into {path}; change what you like in it, bar by bar."
    yield f"See it: coach song show {quote(song.id)} --arrangement {quote(made[0].name)}"


def _hanging(text: str) -> Iterator[str]:
    first, *rest = wrapped(text, "    ", width())
    yield f"  - {first.strip()}"
    yield from rest


def _bar_lines(arrangement: Arrangement) -> Iterator[str]:
    """The bars with a way of their own, those for the same reason together."""
    by_reason: dict[tuple[str, str], list[int]] = {}
    for name, part in arrangement.parts.items():
        for number, bar in sorted(part.bars.items()):
            by_reason.setdefault((name, bar.why), []).append(number + 1)
    for (name, why), bars in by_reason.items():
        which = ", ".join(map(str, bars))
        yield from _hanging(f"{name}, bar{'s' if len(bars) > 1 else ''} {which}: {why}")


def _import_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", help="a lead sheet, .musicxml or .mxl")
    parser.add_argument("--name", metavar="ID", help="the song's id (usual: made of the file's name)")
    parser.add_argument("-o", "--out", metavar="FILE", help=f"write it there, a name that ends in {SUFFIX}")
    add_json(parser)


def _import(args: Namespace) -> None:
    from coach.song.files.song_shelf import write_song
    from coach.song.files.song_text import song_text
    from coach.song.leadsheet.lead_sheet import read_leadsheet, slug

    path = Path(args.file)
    if args.out is not None:
        out = _song_path(args.out)
    else:
        if args.name is not None and slug(args.name) != args.name:
            raise BadInput(f"--name '{args.name}' is no id", mend=f"write it like {slug(args.name)}")
        out = places.songs() / f"{args.name or slug(path.stem)}{SUFFIX}"
    if out.exists():
        raise CoachError("this file exists already", where=str(out), mend="choose another --name or -o file")
    sheet = read_leadsheet(path, out.name.removesuffix(SUFFIX))
    write_song(out, song_text(sheet.song))
    song = sheet.song
    data = {
        "song": song.id,
        "file": str(out),
        "title": song.title,
        "key": str(song.key),
        "meter": str(song.meter),
        "tempo": float(song.tempo),
        "bars": sum(len(song.parts[name].bars) for name in song.order),
        "parts": list(song.parts),
        "order": list(song.order),
        "voice": song.voice and {"low": str(song.voice[0]), "high": str(song.voice[1])},
        "notes": list(sheet.notes),
    }
    answer(args.json, data, _import_lines(song, out))
    for text in sheet.notes:
        note(text)


def _import_lines(song: Song, out: Path) -> Iterator[str]:
    facts = [song.key.title, str(song.meter), f"{float(song.tempo):g} bpm"]
    if song.voice:
        facts.append(f"the tune from {_spoken(song.voice)}")
    yield from wrapped(f"{song.title}: {', '.join(facts)}; parts {', '.join(song.order)}.", "", width())
    yield f"Written to {out}."
    yield f"Next: coach song arrange {quote(song.id)} --voice A2-D4"


def _spoken(reach: tuple[Pitch, Pitch]) -> str:
    return f"{reach[0]} to {reach[1]}"


# "song NAME" -> the command; `coach/cli.py` names this module in the rows of the same names.
COMMANDS: dict[str, Command] = {
    "song arrange": Command(
        "Proposes an arrangement of a song, or two: key and capo, shapes, a pattern under every chord, easier things "
        "for hard chords, and says why. It is written into the song; a shipped song is copied to yours first. An "
        "arrangement of the same name is kept unless --force is given.",
        "coach song arrange last-boat --voice A2-D4\n"
        "coach song arrange last-boat --tier full --melody --name evening --json",
        _arrange_arguments,
        _arrange,
    ),
    "song import": Command(
        "Brings in a lead sheet from a MusicXML file: tune, chords, words, key, meter, tempo and repeats become a song "
        "of yours. What could not be kept is told. Needs the extra `scores` (music21).",
        "coach song import ferry.musicxml --name ferry",
        _import_arguments,
        _import,
    ),
}
