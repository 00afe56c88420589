"""`coach listen`: hears a recorded take, says what was played of what was meant, and logs it when asked."""

from __future__ import annotations

import os
import re
from argparse import ArgumentParser, Namespace
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from coach import shelf
from coach.commands.answers import answer, note, table, width, wrapped
from coach.commands.arguments import Command, add_json, tempo, whole
from coach.commands.picking import bars_for, check_length, held_bars
from coach.errors import BadInput
from coach.guitar.tuning import STANDARD
from coach.music.meter import beat_text
from coach.music.tempo import constant_tempo
from coach.picking.layers import FULL, LAYERS, check_layer, plucks_in_layer
from coach.picking.pattern import Pattern
from coach.picking.plucks import FINGER_WORDS
from coach.picking.realise import HeldBar, realise

if TYPE_CHECKING:
    from coach.ear.report import Evenness, Report

MOST_LOOPS = 999
_MOST_TIMES = 2  # as long as the longest recording may be what is meant
_CAVEATS = (
    "The ear can be wrong: soft plucks, above all under singing, may be missed. What is unsure counts neither way.",
)
_SECONDS = re.compile(r"\d{1,5}(\.\d{1,6})?")


def _listen_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("take", metavar="TAKE.wav", help="the recording: WAV; FLAC, Ogg or MP3 where they can be read")
    parser.add_argument("--pattern", metavar="P", required=True, help="the pattern: its id, or the path of its file")
    parser.add_argument("--chords", metavar="C", help='bars parted by |, like "C | F" (usual: its own, or C)')
    parser.add_argument("--tempo", metavar="B", required=True, help="the tempo it was played at, in bpm")
    parser.add_argument("--shapes", metavar="PINS", default="", help='shapes that were held, like "C=x32010,F=xx3211"')
    parser.add_argument("--loops", metavar="N", default="1", help="how many times round it was played (usual: 1)")
    parser.add_argument("--layer", metavar="L", default=FULL, help=f"how much was played: {', '.join(LAYERS)}")
    parser.add_argument("--offset", metavar="S", help="where the first beat falls, in seconds (usual: found by itself)")
    parser.add_argument("--log", action="store_true", help="also write the take into the log, once for each recording")
    add_json(parser)


def _listen(args: Namespace) -> None:
    layer = check_layer(args.layer)
    bpm = tempo(args.tempo, "--tempo")
    loops = whole(args.loops, "--loops", 1, MOST_LOOPS)
    offset = _offset(args.offset)
    pattern = shelf.library().find(args.pattern)
    chords = bars_for(args.chords, pattern)
    held = held_bars(chords, pattern.meter, args.shapes)
    check_length(len(held), loops)
    plucks = plucks_in_layer(realise(pattern, held, loops=loops), layer)
    if not plucks:
        raise BadInput("there is nothing to be plucked in that", where="--chords", mend="give chords to pick")

    # The ear's products of arrays are many and small: more threads only wait for one another.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from coach.commands.recordings import MOST_S, read_recording
    from coach.ear.hearing import hear
    from coach.ear.meant import meant_of
    from coach.ear.report import report

    path = Path(args.take)
    recording = read_recording(path)
    if recording.note:
        note(recording.note)
    if offset is not None and offset >= recording.seconds:
        what = f"--offset {args.offset} lies behind its end"
        raise BadInput(what, where=str(path), mend="give seconds from its start")
    meant = meant_of(plucks, constant_tempo(bpm), pattern.meter)
    if meant[-1].time_s > _MOST_TIMES * MOST_S:
        what = f"{len(held)} bars {loops} times round at that tempo last {meant[-1].time_s / 60:.0f} minutes"
        raise BadInput(what, where="--loops", mend=f"keep below {_MOST_TIMES * MOST_S / 60:.0f} minutes")
    found = report(hear(recording.samples, recording.rate, meant, offset, shapes=_open_to(held)))
    told = found.as_json()
    if args.log:
        from coach.commands.heard_log import log_heard

        told["logged"], sentence = log_heard(
            found, path, recording.seconds, pattern, chords, len(held), loops, bpm, layer
        )
        note(sentence)
    answer(args.json, told, _lines(found, pattern, float(bpm), len(held), loops, recording.seconds))


def _offset(text: str | None) -> float | None:
    if text is None:
        return None
    if not _SECONDS.fullmatch(text):
        raise BadInput(f"--offset '{text}' cannot be", mend="give seconds from the start of the recording, like 2.5")
    return float(text)


def _open_to(held: Sequence[HeldBar]) -> list[dict[int, int]]:
    """For each hold the pitch of every string that its shape lets sound."""
    shapes = [hold.shape for bar in held for hold in bar.holds if hold.shape is not None]
    return [{s: STANDARD.open_midi(s) + (shape.fret(s) or 0) for s in shape.sounding} for shape in shapes]


# in words -----------------------------------------------------------------------------------------


def _lines(found: Report, pattern: Pattern, bpm: float, round_bars: int, loops: int, seconds: float) -> Iterator[str]:
    columns = width()
    heard = found.heard
    times = "once" if loops == 1 else f"{loops} times"
    yield f"{pattern.title} at {bpm:g} bpm, {round_bars} bars {times} round: {found.verdict}."
    begin = "Nothing of it was found in" if heard.offset_s is None else f"It begins at {heard.offset_s:.2f} s of"
    yield f"{begin} the {seconds:.1f} s of the recording."
    yield ""
    yield from _finger_table(found, bpm)
    yield ""
    yield from _slips(found, round_bars, columns)
    for text in _looks(found, round_bars):
        yield from wrapped(text, "", columns)
    for text in _CAVEATS:
        yield from wrapped(text, "", columns)


def _finger_table(found: Report, bpm: float) -> Iterator[str]:
    rows = []
    for finger, name in FINGER_WORDS.items():
        mine = [p for p in found.heard.plucks if p.meant.finger == finger]
        if mine:
            count = Counter(p.status for p in mine)
            even = found.timing.by_finger.get(finger)
            rows.append((name, *(str(count[s]) for s in ("hit", "missed", "wrong", "unsure")), *_even_cells(even)))
    head = ("finger", "hit", "missed", "wrong", "unsure", "early/late", "spread")
    yield from table(head, rows, right=head[1:])
    if found.timing.drift_ms_per_min is not None and _drifts(found):
        drift = found.timing.drift_ms_per_min
        played = bpm / (1 + drift / 60_000)
        yield f"It gets {_by(drift)} by {abs(drift):.0f} ms a minute: it was played at {played:.1f} bpm, not {bpm:g}."


def _even_cells(even: Evenness | None) -> tuple[str, str]:
    if even is None or even.bias_ms is None:
        return "", ""
    spread = "" if even.spread_ms is None else f"{even.spread_ms:.0f} ms"
    return f"{round(even.bias_ms):+d} ms", spread


def _by(lateness: float) -> str:
    return "later" if lateness > 0 else "earlier"


def _drifts(found: Report) -> bool:
    """Whether a drift can be told: above 0.3 % (Dahl & Madison, RPPW10)."""
    drift = found.timing.drift_ms_per_min
    return drift is not None and abs(drift) > 0.003 * 60_000


def _slips(found: Report, round_bars: int, columns: int) -> Iterator[str]:
    if not found.stumbles:
        yield "No stumble was heard."
        return
    rows = []
    for slip in found.stumbles[:24]:
        when = "" if slip.time_s is None else f"{slip.time_s:.2f} s"
        bar = f"{slip.bar % round_bars + 1}"
        rows.append(
            (str(slip.bar // round_bars + 1), bar, beat_text(slip.beat), slip.kind, str(slip.string or ""), when)
        )
    yield from table(("round", "bar", "beat", "stumble", "string", "at"), rows, right=("round", "bar", "at"))
    more = len(found.stumbles) - 24
    if more > 0:
        yield f"and {more} more; --json has them all."


def _looks(found: Report, round_bars: int) -> Iterator[str]:
    """What to look at first, as far as the evidence goes."""
    if found.verdict == "lost":
        yield "Too little was recognised to say more: see that pattern, chords and tempo are those that were played."
        return
    bars = Counter(slip.bar % round_bars for slip in found.stumbles)
    if bars:
        bar, count = bars.most_common(1)[0]
        if count >= 2 and count > sum(bars.values()) / 2 and round_bars > 1:
            yield f"Look at bar {bar + 1}: {count} of {sum(bars.values())} stumbles are there."
    for finger, even in found.timing.by_finger.items():
        if _off(even):
            assert even.bias_ms is not None
            by = f"{abs(even.bias_ms):.0f} ms {_by(even.bias_ms)}"
            yield f"Look at the {FINGER_WORDS[finger]}: it is {by} than the whole."


def _off(even: Evenness) -> bool:
    """Whether a finger's lateness is more than chance (two standard errors) and more than can be told by ear: 6 ms or
    more (Friberg & Sundberg 1995, JASA 98:2524-2531), doubled for what the recording blurs."""
    if even.bias_ms is None or even.spread_ms is None or even.count < 8:
        return False
    return abs(even.bias_ms) > 12 and abs(even.bias_ms) > 2 * even.spread_ms / even.count**0.5


COMMANDS = {
    "listen": Command(
        "Hears a recorded take beside what was meant: which plucks sounded, how early or late, where it stumbled, "
        "and a verdict. The first beat is found by itself, also after a count-in or some talk. With nothing to be "
        "recognised the verdict is lost.",
        'coach listen take.wav --pattern outside-in --chords "C | Am" --tempo 84 --loops 4\n'
        "coach listen take.wav --pattern outside-in --tempo 84 --layer thumb --json",
        _listen_arguments,
        _listen,
    ),
}
