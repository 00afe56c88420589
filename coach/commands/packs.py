"""`coach pack` and `coach unpack`: what a student gets in one zip, and how it is taken into one's own library."""

from __future__ import annotations

import re
import shutil
import tempfile
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

from coach import places, shelf
from coach.commands.answers import answer, note
from coach.commands.arguments import Command, add_force, add_json, add_paper, tempo
from coach.commands.chosen import add_chosen, chosen, loops_of
from coach.commands.paper import shown
from coach.errors import BadInput, CoachError, reason
from coach.handout import library_files, make_pack, patterns_named
from coach.paper.pack import LIBRARY, comparable_name, printable_name
from coach.paper.unpack import place_all, same_file, take_apart
from coach.picking.pattern_file import read_pattern
from coach.song.files.song_file import read_song

_PATTERN_LOOPS = "8"
_HANDOUTS = "handouts"


# pack -----------------------------------------------------------------------------------------


def _pack_arguments(parser: ArgumentParser) -> None:
    add_chosen(parser)
    parser.add_argument("--tempo", metavar="B", help="the tempo that is 100 %% (usual: what it is meant for)")
    parser.add_argument("--loops", metavar="N", help="how often a track goes round (usual: 8 a pattern, 1 a song)")
    add_paper(parser)
    parser.add_argument("--wav", action="store_true", help="tracks as WAV, also where FLAC could be written")
    parser.add_argument("-o", "--out", metavar="F.zip", required=True, help="the file to write; an old one is kept")
    add_force(parser)
    add_json(parser)


def _pack(args: Namespace) -> None:
    from coach.sound.sound_files import has_flac

    path = Path(args.out)
    if path.suffix.lower() != ".zip":
        raise BadInput("a pack is a zip", where=str(path), mend="end the name in .zip")
    target = None if args.tempo is None else tempo(args.tempo, "--tempo")
    what = chosen(args)
    args.loops = args.loops or (_PATTERN_LOOPS if what.pattern else "1")
    loops = loops_of(args)
    share = target / what.piece.bars[0].bpm if target else Fraction(1)
    ending = ".flac" if has_flac() and not args.wav else ".wav"
    files = library_files(
        what, args.name, lambda id_: note(f"there is no pattern '{id_}', which an arrangement of '{args.name}' names.")
    )
    contents = make_pack(
        path, what, files, shown, share=share, loops=loops, paper=args.paper, ending=ending, force=args.force
    )
    told = {"file": str(path), "bytes": path.stat().st_size, "files": sorted(contents)}
    answer(args.json, told, [f"{path}: {len(contents)} files.", *(f"  {one}" for one in sorted(contents))])


# unpack ---------------------------------------------------------------------------------------


def _unpack_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("pack", metavar="F.zip", help="a zip that `coach pack` made")
    parser.add_argument("--into", metavar="DIR", help=f"where sheets and tracks go (usual: {_HANDOUTS} in your folder)")
    parser.add_argument("--keep-mine", action="store_true", help="leave out what differs from yours, take the rest")
    add_json(parser)


def _unpack(args: Namespace) -> None:
    pack, home = Path(args.pack), places.home()
    fresh = [folder for folder in (home, *home.parents) if not folder.exists()]
    try:
        home.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=".unpack-", dir=home))
    except OSError as error:
        raise CoachError(
            f"this folder cannot be written ({reason(error)})", where=str(home), mend="choose another with COACH_HOME"
        ) from None
    try:
        told = _taken_in(pack, beside, args)
    except OSError as error:
        raise CoachError(
            f"the pack could not be unpacked ({reason(error)})", where=str(pack), mend="make room"
        ) from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)
        for folder in fresh:  # nothing is left of what was only made for this
            if not any(folder.iterdir()):
                folder.rmdir()
    answer(args.json, told, _unpack_lines(told))


def _taken_in(pack: Path, beside: Path, args: Namespace) -> dict[str, object]:
    names = take_apart(pack, beside, {"patterns": read_pattern, "songs": read_song})
    moves: dict[Path, Path] = {}
    already, kept = [], []
    for name in names:
        folder, _, last = name.rpartition("/")
        if folder not in LIBRARY:
            continue
        there = _there(folder, last)
        if there is None:
            moves[beside / name] = _own(folder) / last
        elif same_file(beside / name, there):
            already.append(str(there))
        elif args.keep_mine:
            kept.append(str(there))
        else:
            whose = "the coach brings" if there.parent != _own(folder) else "you have"
            raise BadInput(
                f"{whose} another {printable_name(name)}, and nothing is overwritten",
                where=pack.name,
                mend="give --keep-mine to take the rest, or have it packed under another name",
            )
    papers = [name for name in names if name.rpartition("/")[0] not in LIBRARY]
    parent = Path(args.into) if args.into else places.home() / _HANDOUTS
    target, same = _handout_folder(parent, pack, beside, papers)
    if same:
        already += [str(target / name) for name in papers]
    else:
        moves |= {beside / name: target / name for name in papers}
    _mind_missing_patterns(beside, names)
    place_all(moves)
    return {
        "file": str(pack),
        "added": [str(path) for path in moves.values()],
        "already": already,
        "kept": kept,
        "folder": str(target) if papers else None,
    }


def _own(folder: str) -> Path:
    return places.patterns() if folder == "patterns" else places.songs()


def _there(folder: str, last: str) -> Path | None:
    """The file of this name that the player has or the coach brings, whatever its case."""
    shipped = places.shipped("patterns") if folder == "patterns" else places.shipped("shared") / "songs"
    for place in (_own(folder), shipped):
        if place.is_dir():
            for path in place.iterdir():
                if comparable_name(path.name) == comparable_name(last):
                    return path
    return None


def _handout_folder(parent: Path, pack: Path, beside: Path, papers: list[str]) -> tuple[Path, bool]:
    """A folder for sheets and tracks that is not there yet, or the one where the very same lie already (True)."""
    stem = re.sub(r"[^\w()&+-]+", " ", pack.stem).strip(" -") or "pack"
    for number in range(1, 1000):
        target = parent / (stem if number == 1 else f"{stem}-{number}")
        if not target.exists():
            return target, False
        if papers and all((target / n).is_file() and same_file(beside / n, target / n) for n in papers):
            return target, True
    raise CoachError("there are a thousand of it already", where=str(parent), mend="remove those you do not need")


def _mind_missing_patterns(beside: Path, names: list[str]) -> None:
    known = set(shelf.library().patterns) | {Path(name).stem for name in names if name.startswith("patterns/")}
    for name in names:
        if name.startswith("songs/"):
            for id_ in patterns_named(read_song(beside / name)):
                if id_ not in known:
                    note(f"the song names a pattern '{id_}' that is neither in the pack nor on your shelf.")


def _unpack_lines(told: dict[str, object]) -> Iterator[str]:
    for key, said in (("added", "new"), ("already", "there already"), ("kept", "yours is kept")):
        paths = told[key]
        assert isinstance(paths, list)
        for path in paths:
            yield f"{said}: {path}"


COMMANDS = {
    "pack": Command(
        "Puts what a student needs into one zip: sheet (PDF and text), tracks at 70, 85 and 100 % of the tempo, "
        "the pattern and song files, and a README with the cautions.",
        "coach pack last-boat --sing -o last-boat.zip\n"
        'coach pack outside-in --chords "C | Am | F | G" -o outside-in.zip',
        _pack_arguments,
        _pack,
    ),
    "unpack": Command(
        "Takes a pack into your own library: patterns and songs to yours, sheets and tracks into a folder. Nothing "
        "is overwritten and nothing in it is run; a pack that is not as it should be is refused as a whole.",
        "coach unpack outside-in.zip\ncoach unpack outside-in.zip --into ~/Documents --json",
        _unpack_arguments,
        _unpack,
    ),
}
