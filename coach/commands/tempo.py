"""`coach ramp` and `coach click`: a tempo plan as a table, and the click that goes with one as a WAV file."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from pathlib import Path
from typing import Any

from coach.commands.answers import answer, note, table
from coach.commands.arguments import Command, add_force, add_json, add_ramp, decimal, tempo, whole
from coach.errors import BadInput
from coach.music.meter import Meter
from coach.music.tempo import TempoPlan, constant_tempo, smooth_tempo, stepped_tempo

USUAL_BARS = 4
MOST_BARS = 2000
LOWEST_RATE, HIGHEST_RATE = 8000, 192000
# A WAV file counts its bytes in 32 bits (RIFF, IBM and Microsoft 1991); two channels of two bytes and a little head.
_MOST_FRAMES = (2**32 - 1024) // 4


@dataclass(frozen=True)
class Planned:
    """A tempo plan, its meter, and how many bars of it are wanted."""

    plan: TempoPlan
    meter: Meter
    bars: int

    def beat(self, bar: int, beat: int = 0) -> Fraction:
        """A beat counted from the plan's origin."""
        return Fraction(bar * self.meter.beats + beat)


def planned(args: Namespace, start: Fraction, end: Fraction) -> Planned:
    """The plan that the options of `add_ramp` and --bars describe. Raises BadInput; notes go to stderr."""
    meter = Meter.parse(args.meter)
    wanted = None if args.bars is None else whole(args.bars, "--bars", 1, MOST_BARS)
    if args.smooth is not None and (args.step is not None or args.every is not None):
        raise BadInput("--smooth and steps cannot both be", mend="give --smooth, or --step and --every")
    if args.smooth is not None:
        over = whole(args.smooth, "--smooth", 1, MOST_BARS)
        plan, length = smooth_tempo(start, end, Fraction(over * meter.beats)), over + USUAL_BARS
    elif start == end and args.step is None and args.every is None:
        plan, length = constant_tempo(start), USUAL_BARS
    else:
        plan, length = _stepped(args, start, end, meter)
    return Planned(plan, meter, wanted or min(length, MOST_BARS))


def _stepped(args: Namespace, start: Fraction, end: Fraction, meter: Meter) -> tuple[TempoPlan, int]:
    """Steps from one tempo to the other, and the bars until the last one is over."""
    every = USUAL_BARS if args.every is None else whole(args.every, "--every", 1, 999)
    if args.step is None:
        from coach.music.ramps import tempo_step

        step = tempo_step(float(start))
        note(f"steps of {float(step):g} bpm every {every} bars; give --step and --every, or --smooth, for others.")
    else:
        step = decimal(args.step, "--step", "0.1", "100")
        _mind_the_step(step, start, end)
    count = ceil(abs(end - start) / step)
    return stepped_tempo(start, end, step, Fraction(every * meter.beats)), (count + 1) * every


def _mind_the_step(step: Fraction, start: Fraction, end: Fraction) -> None:
    """A note where a step is hardly felt or a leap (Drake & Botte 1993, Percept. Psychophys. 54:277-286)."""
    from coach.music.ramps import LARGEST_STEP, SMALLEST_STEP

    low, high = sorted((float(start), float(end)))
    size = float(step)
    if low < high and (size < SMALLEST_STEP * high or size > LARGEST_STEP * low):
        note(
            f"a step of {size:g} bpm is {100 * size / high:.1f} to {100 * size / low:.1f} % of the tempo; "
            "below 1.5 % a change is hardly felt, above 5 % it is a leap."
        )


def _ramp_arguments(parser: ArgumentParser) -> None:
    add_ramp(parser, needed=True)
    parser.add_argument("--bars", metavar="N", help="how many bars (usual: until the end tempo has stood one step)")
    add_json(parser)


def _ramp(args: Namespace) -> None:
    what = planned(args, tempo(args.start, "--from"), tempo(args.to, "--to"))
    bars: list[dict[str, Any]] = [
        {"bar": bar, "bpm": float(what.plan.bpm_at(what.beat(bar))), "start_s": what.plan.seconds(what.beat(bar))}
        for bar in range(what.bars)
    ]
    beats = [
        {"bar": bar, "beat": str(beat), "time_s": what.plan.seconds(what.beat(bar, beat))}
        for bar in range(what.bars)
        for beat in range(what.meter.beats)
    ]
    answer(args.json, {"bars": bars, "beats": beats}, _ramp_lines(what, bars))


def _ramp_lines(what: Planned, bars: list[dict[str, Any]]) -> Iterator[str]:
    """One line a bar, bars from 1 as players count them."""
    cells = [(str(row["bar"] + 1), f"{row['bpm']:.1f}", _clock(row["start_s"])) for row in bars]
    yield from table(("bar", "bpm", "starts"), cells, right=("bar", "bpm", "starts"))
    yield f"{what.bars} bars of {what.meter} last {_clock(what.plan.seconds(what.beat(what.bars)))}."


def _clock(seconds: float) -> str:
    """Minutes and seconds: `1:07.50`."""
    hundredths = round(seconds * 100)
    return f"{hundredths // 6000}:{hundredths % 6000 / 100:05.2f}"


def _click_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("--tempo", metavar="B", help="tempo in bpm; with a ramp, the tempo at the beginning")
    parser.add_argument("--bars", metavar="N", help="how many bars; with a ramp it may be left out")
    parser.add_argument("--ramp", action="store_true", help="says that a ramp follows; its own options are enough")
    add_ramp(parser, needed=False)
    parser.add_argument("--rate", metavar="HZ", default="48000", help="samples a second (usual: 48000)")
    parser.add_argument("-o", "--out", metavar="F.wav", required=True, help="the file to write; an old one is kept")
    add_force(parser)
    add_json(parser)


def _click(args: Namespace) -> None:
    what = _click_plan(args)
    rate = whole(args.rate, "--rate", LOWEST_RATE, HIGHEST_RATE)
    path = _wav_path(args.out)
    frames = what.plan.frame(what.beat(what.bars), rate)
    if frames > _MOST_FRAMES:
        raise BadInput("so long a sound is too much for a WAV file", mend="give fewer --bars or a lower --rate")

    from coach.sound.mixer import render_bars
    from coach.sound.score import BEAT, DOWN, BarScore, Stroke
    from coach.sound.timing import clicks_of
    from coach.sound.wav import write_wav

    beats = what.meter.beats
    strokes = tuple(Stroke(Fraction(beat), BEAT if beat else DOWN) for beat in range(beats))
    ends = [what.plan.bpm_at(what.beat(bar)) for bar in range(what.bars + 1)]
    scores = [
        BarScore(bar, Fraction(beats), ends[bar], ends[bar + 1] if args.smooth is not None else ends[bar], strokes)
        for bar in range(what.bars)
    ]
    # The file ends with its last bar, so that it can go round without a gap.
    written = write_wav(path, render_bars(scores, rate, tail_s=0.0), rate, force=args.force)
    clicks = [
        {"bar": c.bar, "beat": str(c.beat), "frame": c.frame, "accent": c.kind == DOWN} for c in clicks_of(scores, rate)
    ]
    said = f"{path}: {what.bars} bars of {what.meter}, {len(clicks)} clicks, {_clock(written / rate)} at {rate} Hz."
    answer(args.json, {"file": str(path), "rate": rate, "frames": written, "clicks": clicks}, [said])


def _click_plan(args: Namespace) -> Planned:
    """One tempo, or a ramp that begins at --from (or --tempo) where any of its options is given."""
    ramped = args.ramp or any(v is not None for v in (args.start, args.to, args.step, args.every, args.smooth))
    if not ramped:
        if args.tempo is None or args.bars is None:
            missing = " and ".join(n for n, v in (("--tempo", args.tempo), ("--bars", args.bars)) if v is None)
            raise BadInput(f"coach click needs {missing}", mend="for example --tempo 84 --bars 8")
        bpm = tempo(args.tempo, "--tempo")
        return planned(args, bpm, bpm)
    first, option = (args.tempo, "--tempo") if args.start is None else (args.start, "--from")
    if first is None or args.to is None:
        raise BadInput("a ramp needs both its ends", mend="give --from and --to")
    if args.tempo is not None and tempo(args.tempo, "--tempo") != tempo(first, option):
        note("the ramp begins at --from; --tempo is left aside.")
    return planned(args, tempo(first, option), tempo(args.to, "--to"))


def _wav_path(text: str) -> Path:
    path = Path(text)
    if path.is_dir():
        raise BadInput("this is a folder", where=text, mend="name a .wav file in it")
    if path.suffix.lower() != ".wav":
        raise BadInput("the click is written as WAV", where=text, mend="give the file a name that ends in .wav")
    return path


COMMANDS = {
    "ramp": Command(
        "Prints a tempo plan: the tempo of each bar and when it starts. Steps land on the end tempo exactly. "
        "Without --step, --every or --smooth it climbs by about 3 % every 4 bars.",
        "coach ramp --from 72 --to 84 --step 3 --every 4\ncoach ramp --from 60 --to 90 --smooth 16 --meter 6/8 --json",
        _ramp_arguments,
        _ramp,
    ),
    "click": Command(
        "Writes the very click that the stage plays as a WAV file, at one tempo or over a ramp.",
        "coach click --tempo 84 --bars 8 -o click.wav\n"
        "coach click --from 72 --to 84 --step 3 --every 4 -o climb.wav --json",
        _click_arguments,
        _click,
    ),
}
