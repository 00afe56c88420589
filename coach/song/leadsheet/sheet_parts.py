"""From the written bars of a sheet to the parts of a song: where parts begin, what they are called, their stanzas."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from coach.music.chords import Chord
from coach.music.meter import Meter
from coach.song.chart import ChartBar, Part, TuneNote, Word

MOST_PARTS = 100
MOST_STANZAS = 12
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"

Run = tuple[int, int]  # first bar, bar after the last


@dataclass(frozen=True)
class Written:
    """One written bar of a sheet; all beats are felt beats from its bar line.

    bpm    the tempo that is told in it, None where none is
    words  stanza number -> its words
    beats  how long it is
    mark   a rehearsal mark at its beginning
    """

    meter: Meter
    bpm: Fraction | None
    tune: tuple[TuneNote, ...]
    chords: tuple[tuple[Fraction, Chord | None], ...]
    words: Mapping[int, tuple[Word, ...]]
    breaths: tuple[Fraction, ...]
    beats: Fraction
    mark: str


def divided(bar: Written) -> list[Written]:
    """The bar as bars no longer than its meter; a note over the cut goes on, tied."""
    most, found, start = bar.meter.beats, [], Fraction(0)
    while bar.beats - start > most:
        found.append(_slice(bar, start, start + most))
        start += most
    return [*found, _slice(bar, start, bar.beats)] if found else [bar]


def _slice(bar: Written, start: Fraction, end: Fraction) -> Written:
    tune = []
    for n in bar.tune:
        at, until = max(n.beat, start), min(n.beat + n.length, end)
        if at < until:
            tune.append(TuneNote(at - start, until - at, n.pitch, n.tied or n.beat < start))
    sounding = [chord for beat, chord in bar.chords if beat <= start][-1]
    chords = [(Fraction(0), sounding), *((beat - start, c) for beat, c in bar.chords if start < beat < end)]
    words = {
        k: tuple(Word(w.beat - start, w.text) for w in row if start <= w.beat < end) for k, row in bar.words.items()
    }
    return Written(
        bar.meter, bar.bpm if not start else None, tuple(tune), tuple(chords),
        {k: row for k, row in words.items() if row}, tuple(b - start for b in bar.breaths if start < b <= end),
        end - start, bar.mark if not start else "",
    )  # fmt: skip


def flat_order(order: Sequence[int], counts: Sequence[int]) -> list[int]:
    """The order in bars of which each of the sheet's became as many as `counts` says."""
    starts = [sum(counts[:k]) for k in range(len(counts))]
    return [starts[k] + n for k in order for n in range(counts[k])]


def cut(written: Sequence[Written], order: Sequence[int]) -> tuple[dict[str, Part], tuple[str, ...], list[str]]:
    """(the parts, their names in the order they are played, what could not be kept)."""
    odd: list[str] = []
    stanzas = max((number for bar in written for number in bar.words), default=1)
    if list(order) == list(range(len(written))) and 1 < stanzas <= MOST_STANZAS:
        order = list(order) * stanzas
    runs = _runs(order, _cuts(written, order))
    if len(runs) > MOST_PARTS:
        odd.append("it has more parts than a song can hold: the bars are played once as they stand")
        runs = [(0, len(written))]
    sections = sorted(set(runs))
    first_bpm = next((bar.bpm for bar in written if bar.bpm), None)
    found: dict[str, Part] = {}
    names: list[str] = []
    times: dict[Run, int] = {}
    for run in runs:
        time = times[run] = times.get(run, 0) + 1
        here = written[slice(*run)]
        meter = here[0].meter
        bpm = next((bar.bpm for bar in reversed(written[: run[0] + 1]) if bar.bpm), first_bpm)
        stanza = _stanza(here, time)
        part = Part(
            here[0].mark or _name(sections.index(run), len(sections)),
            _untied(tuple(_bar(bar, stanza) for bar in here)),
            None if meter == written[0].meter else meter,
            None if bpm == first_bpm else bpm,
        )
        names.append(_placed(found, part))
    return found, tuple(names), odd


def _name(number: int, count: int) -> str:
    if count == 1:
        return "Verse"
    return LETTERS[number] if number < len(LETTERS) else f"Part {number + 1}"


def _cuts(written: Sequence[Written], order: Sequence[int]) -> set[int]:
    """The written bars at which a part begins."""
    cuts = {0, len(written), order[0], order[-1] + 1}
    for one, other in pairwise(order):
        if other != one + 1:
            cuts |= {one + 1, other}
    for number in range(1, len(written)):
        bar, before = written[number], written[number - 1]
        if bar.meter != before.meter or bar.bpm or bar.mark:
            cuts.add(number)
    return cuts


def _runs(order: Sequence[int], cuts: set[int]) -> list[Run]:
    """The order as stretches of bars."""
    runs: list[Run] = []
    for at, bar in enumerate(order):
        if at and bar == order[at - 1] + 1 and bar not in cuts:
            runs[-1] = (runs[-1][0], bar + 1)
        else:
            runs.append((bar, bar + 1))
    return runs


def _stanza(bars: Sequence[Written], time: int) -> int:
    """Which stanza is sung the `time`-th time: that of this number where it has words here, else the first there is."""
    numbers = sorted({number for bar in bars for number in bar.words})
    return time if time in numbers or not numbers else numbers[0]


def _bar(bar: Written, stanza: int) -> ChartBar:
    length = None if bar.beats == bar.meter.beats else bar.beats
    return ChartBar(bar.chords, bar.words.get(stanza, ()), bar.tune, length, breaths=bar.breaths)


def _placed(found: dict[str, Part], part: Part) -> str:
    """The name under which the part stands in `found`: an equal one's, or its own with a number."""
    name, number = part.name, 1
    while name in found:
        if replace(found[name], name=part.name) == part:
            return name
        number += 1
        name = f"{part.name} {number}"
    found[name] = replace(part, name=name)
    return name


def _untied(bars: tuple[ChartBar, ...]) -> tuple[ChartBar, ...]:
    """The bars without ties that lead nowhere, as a cut at a repeat or a left-out note leaves them."""
    mended: list[ChartBar] = []
    before: TuneNote | None = None
    for bar in bars:
        tune: list[TuneNote] = []
        for n in bar.tune:
            # Where it begins the bar, the note before must have ended the bar before.
            ends = before is not None and (before.beat + before.length == n.beat if tune else n.beat == 0)
            tune.append(replace(n, tied=n.tied and ends and before is not None and before.pitch == n.pitch))
            before = tune[-1]
        if not bar.tune:
            before = None
        mended.append(replace(bar, tune=tuple(tune)))
    return tuple(mended)
