"""`coach sheet` and `coach track`: a song or pattern to read, and to play along with."""

from __future__ import annotations

import sys
from argparse import ArgumentParser, Namespace
from collections.abc import Iterator
from fractions import Fraction
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING

from coach.commands.answers import answer, note
from coach.commands.arguments import Command, add_force, add_json, add_paper, decimal, tempo, whole
from coach.commands.chosen import add_chosen, chosen, ladder_of, loops_of, target_of
from coach.commands.picking import CHORD
from coach.commands.tempo import HIGHEST_RATE, LOWEST_RATE
from coach.errors import BadInput
from coach.files.writing import new_file
from coach.handout import SHEETS, Chosen, render, sheet_bytes
from coach.music.tempo import smooth_tempo, stepped_tempo
from coach.song.piece import PieceBar

if TYPE_CHECKING:
    from coach.sound.mixer import Samples
    from coach.tracks import Tempos

LONGEST_S = 3 * 3600
_USUAL_EVERY = 4


# sheet ----------------------------------------------------------------------------------------


def _sheet_arguments(parser: ArgumentParser) -> None:
    add_chosen(parser)
    parser.add_argument("--loops", metavar="N", default="1", help="how many times round a pattern goes (usual: 1)")
    parser.add_argument("--ladder", action="store_true", help="PDF: also the patterns below and above it on its ladder")
    add_paper(parser)
    parser.add_argument("-o", "--out", metavar="F", required=True, help="the file: .txt, .pdf, .musicxml or .mid")
    add_force(parser)
    add_json(parser)


def _sheet(args: Namespace) -> None:
    path = Path(args.out)
    if path.suffix.lower() not in SHEETS:
        raise BadInput(
            f"'{path.suffix or path.name}' is no kind of sheet known here",
            where=str(path),
            mend="end the name in " + ", ".join(SHEETS[:-1]) + f" or {SHEETS[-1]}",
        )
    what = chosen(args, loops=loops_of(args))
    if args.ladder and (what.pattern is None or path.suffix.lower() != ".pdf"):
        raise BadInput("--ladder is for a pattern as PDF", mend="leave it out, or name a .pdf file")
    if args.ladder:
        data, pages = _ladder(what, args.paper)
    else:
        one_way = args.layer is not None or args.sing or what.piece.bars[-1].time > 0
        data, pages = sheet_bytes(what, path.suffix.lower(), args.paper, layers=not one_way)
    with new_file(path, "the sheet", force=args.force) as out:
        out.write(data)
    if path.suffix.lower() == ".pdf":
        _tell_lacking(what)
    bars = len(what.piece.bars)
    told = {"file": str(path), "pages": pages, "bars": bars, **_source(what)}
    on = f" on {_counted(pages, 'page')}" if path.suffix.lower() == ".pdf" else ""
    answer(args.json, told, [f"{path}: {_named(what)}, {_counted(bars, 'bar')}{on}."])


def _tell_lacking(what: Chosen) -> None:
    """A note where title or words have letters that no font of the page has."""
    from coach.paper.pdf.glyphs import missing_letters

    piece = what.piece
    names = "".join((piece.title, piece.arrangement, *piece.order, what.song.source if what.song else ""))
    if missing := missing_letters(names + "".join(word.text for bar in piece.bars for word in bar.words)):
        told = " ".join(missing[:8])
        note(f"the PDF has an empty box for each {told}, which its font lacks; a .txt sheet shows them.")


def _ladder(what: Chosen, paper: str) -> tuple[bytes, int]:
    """The ladder as PDF: patterns of the same meter over the chords asked for, others over their own."""
    from coach.commands.picking import held_bars
    from coach.paper.pdf.document import make_ladder_pdf
    from coach.song.piece import pattern_piece

    assert what.pattern is not None
    asked = [bar.held for bar in what.piece.bars]
    pieces, ladder = [], ladder_of(what.pattern)
    for pattern in ladder:
        same = pattern.meter == what.pattern.meter
        held = asked if same else held_bars(pattern.chords or CHORD, pattern.meter)
        pieces.append(pattern_piece(pattern, held, target_of(pattern), layer=what.piece.bars[0].layer))
    title = f"The ladder through {what.piece.title}"
    sheet = make_ladder_pdf(pieces, title=title, abouts=[pattern.about for pattern in ladder], paper=paper)
    return sheet.data, sheet.pages


def _source(what: Chosen) -> dict[str, str | None]:
    return {
        "song": what.song.id if what.song else None,
        "arrangement": what.piece.arrangement or None,
        "pattern": what.pattern.id if what.pattern else None,
    }


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _named(what: Chosen) -> str:
    return what.piece.title + (f" ({what.piece.arrangement})" if what.piece.arrangement else "")


# track ----------------------------------------------------------------------------------------


def _track_arguments(parser: ArgumentParser) -> None:
    add_chosen(parser)
    parser.add_argument("--tempo", metavar="B", help="bpm, a song's parts in proportion (usual: what it is meant for)")
    parser.add_argument("--to", metavar="B", help="climb to this tempo on the way")
    parser.add_argument("--step", metavar="B", help="in steps of so many bpm (usual: near 3 %% of the tempo)")
    parser.add_argument("--every", metavar="BARS", help="how many bars each step lasts (usual: 4)")
    parser.add_argument("--smooth", metavar="BARS", help="instead of steps, change beat by beat over so many bars")
    parser.add_argument("--loops", metavar="N", help="how many times round (usual: 1, or until the climb is done)")
    parser.add_argument("--count-in", metavar="N", default="1", help="bars counted in, 0 to 8 (usual: 1)")
    parser.add_argument("--no-click", action="store_true", help="no click but the count-in")
    parser.add_argument("--no-thumb", action="store_true", help="leave out the thumb, to play it yourself")
    parser.add_argument("--no-fingers", action="store_true", help="leave out the fingers, to play them yourself")
    parser.add_argument("--no-voice", action="store_true", help="leave out the hummed tune, to sing it yourself")
    parser.add_argument("--rate", metavar="HZ", default="48000", help="samples a second (usual: 48000)")
    parser.add_argument("--bits", metavar="N", default="16", help="16 or 24 (usual: 16)")
    parser.add_argument("-o", "--out", metavar="F", required=True, help="the file: .wav, .flac or .ogg")
    add_force(parser)
    add_json(parser)


def _track(args: Namespace) -> None:
    from coach.sound.sound_files import BITS, check_sound_path, write_sound
    from coach.sound.timing import frames_of
    from coach.tracks import Sounding, plucks_in, track_bars

    path = Path(args.out)
    bits = whole(args.bits, "--bits", 16, 24)
    if bits not in BITS:
        raise BadInput(f"--bits {bits} cannot be", mend="give 16 or 24")
    rate = whole(args.rate, "--rate", LOWEST_RATE, HIGHEST_RATE)
    check_sound_path(path, bits)
    what = chosen(args)
    climb, wanted = _tempos(args, what.piece.bars[0].bpm)
    loops = loops_of(args) if args.loops is not None else max(ceil(Fraction(wanted, len(what.piece.bars))), 1)
    way = Sounding(
        thumb=not args.no_thumb,
        fingers=not args.no_fingers,
        voice=not args.no_voice,
        click=not args.no_click,
        count_in=whole(args.count_in, "--count-in", 0, 8),
        loops=loops,
    )
    if loops * len(what.piece.bars) > 20 * LONGEST_S:  # a bar lasts a tenth of a second at least
        raise BadInput(f"{loops} times round are too many", mend="give fewer --loops")
    bars = track_bars(what.piece, way, climb)
    frames = frames_of(bars, rate)
    if frames > LONGEST_S * rate:
        raise BadInput("the track would last more than three hours", mend="give fewer --loops")
    check_sound_path(path, bits, frames)
    written = write_sound(path, shown(render(bars, rate), frames), rate, bits=bits, force=args.force)
    told = {
        "file": str(path),
        "rate": rate,
        "frames": written,
        "plucks": plucks_in(bars),
        "clicks": sum(len(bar.strokes) for bar in bars),
        "bars": len(bars),
        "loops": loops,
        **_source(what),
    }
    seconds = round(written / rate)
    line = f"{path}: {_named(what)}, {_counted(len(bars), 'bar')}, {seconds // 60}:{seconds % 60:02} at {rate} Hz."
    answer(args.json, told, [line, "Keep the level low, above all in headphones."])


def _tempos(args: Namespace, written: Fraction) -> tuple[Tempos, int]:
    """The tempo of each bar as --tempo and the ramp say, and how many bars the ramp takes.

    A ramp counts in bars, whatever their meter. Raises BadInput.
    """
    from coach.tracks import at_share

    start = written if args.tempo is None else tempo(args.tempo, "--tempo")
    if args.to is None:
        for option in ("step", "every", "smooth"):
            if getattr(args, option) is not None:
                raise BadInput(f"--{option} needs a tempo to go to", mend="give --to")
        return at_share(start / written), 0
    end = tempo(args.to, "--to")
    if args.smooth is not None:
        if args.step is not None or args.every is not None:
            raise BadInput("--smooth and steps cannot both be", mend="give --smooth, or --step and --every")
        over = whole(args.smooth, "--smooth", 1, 2000)
        plan, wanted = smooth_tempo(start, end, Fraction(over)), over + _USUAL_EVERY
    else:
        every = _USUAL_EVERY if args.every is None else whole(args.every, "--every", 1, 999)
        if args.step is None:
            from coach.music.ramps import tempo_step

            step = Fraction(tempo_step(float(start)))
            note(f"steps of {float(step):g} bpm every {every} bars; give --step and --every, or --smooth, for others.")
        else:
            step = decimal(args.step, "--step", "0.1", "100")
        plan = stepped_tempo(start, end, step, Fraction(every))
        wanted = (ceil(abs(end - start) / step) + 1) * every
    stepped = args.smooth is None

    def at(number: int, bar: PieceBar) -> tuple[Fraction, Fraction]:
        first = plan.bpm_at(Fraction(number))
        last = first if stepped else plan.bpm_at(Fraction(number + 1))
        return bar.bpm * first / written, bar.bpm * last / written

    return at, wanted


def shown(pieces: Iterator[Samples], frames: int) -> Iterator[Samples]:
    """The same pieces, telling on stderr how far it is where a person looks at it."""
    if not sys.stderr.isatty():
        yield from pieces
        return
    done, told = 0, -1
    for piece in pieces:
        done += len(piece)
        share = min(100 * done // max(frames, 1), 100)
        if share != told:
            bar = ("=" * (share // 4)).ljust(25)
            print(f"\r[{bar}] {share:3} %", end="", file=sys.stderr, flush=True)
            told = share
        yield piece
    print("\r" + " " * 40 + "\r", end="", file=sys.stderr, flush=True)


COMMANDS = {
    "sheet": Command(
        "Writes a song or pattern as a handout: text tab, PDF, MusicXML or MIDI, as the file's name ends. "
        "A part that comes again unchanged is printed once.",
        "coach sheet last-boat --arrangement plain --sing -o last-boat.pdf\n"
        'coach sheet outside-in --chords "C | F" -o outside-in.txt\n'
        "coach sheet outside-in --ladder -o ladder.pdf --paper letter",
        _sheet_arguments,
        _sheet,
    ),
    "track": Command(
        "Writes a track to play along with: guitar, click, count-in and, for songs, the tune hummed. "
        "WAV, and FLAC or Ogg where the library soundfile is there.",
        "coach track last-boat --tempo 60 --sing --no-voice -o slow-boat.wav\n"
        'coach track outside-in --chords "C | Am | F | G" --tempo 72 --loops 4 -o slow.wav\n'
        "coach track outside-in --tempo 66 --to 84 --step 3 --every 4 --no-thumb -o climb.flac",
        _track_arguments,
        _track,
    ),
}
