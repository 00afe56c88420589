"""What the progress page says of a drill, as lines: figures, plots and words by section, fitted to the room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from textwrap import wrap

from coach.plan.need import percent
from coach.screens.progress.plots import BLOCKS, Glyphs, Point, column_plot, fade_bar, loop_plot, tempo_plot
from coach.screens.shared.figures import HEIGHT, figure_rows
from coach.skill.progress import Sheet, Standing

TEMPO, PLACES, DAYS, KEPT = "tempo", "places", "days", "kept"
VIEWS = {
    TEMPO: "Steady tempo by day",
    PLACES: "Where the stumbles lie",
    DAYS: "Clean passes and minutes",
    KEPT: "What is kept up and what fades",
}
HEADING, WORDS, PLOT, FIGURE = "heading", "words", "plot", "figure"
"""Kinds of lines: the screen gives each a style of its own."""

TALL = 40
"""Lines of room from which all of a drill's sections stand below one another."""

Line = tuple[str, str]


@dataclass(frozen=True)
class Room:
    """Cells and lines there are beside the list."""

    width: int
    height: int
    glyphs: Glyphs = BLOCKS

    @property
    def tall(self) -> bool:
        """True where all of a drill's sections fit."""
        return self.height >= TALL


def list_line(one: Standing, width: int) -> str:
    """A drill in the list: its title and steady tempo of target; where there is room how it stands, and recall."""
    tempo = f"{one.steady.bpm:.0f}" if one.steady else "?"
    right = f"{tempo}/{one.drill.target_bpm}"
    if width >= 36 and one.now is not None:
        right = f"{right:>8} {one.state:>13} {percent(one.now):>4}"
    room = max(width - len(right) - 1, 4)
    title = one.drill.title if len(one.drill.title) <= room else one.drill.title[: room - 1] + "…"
    return f"{title.ljust(room)} {right}"


def head_lines(sheet: Sheet, room: Room) -> list[Line]:
    """The steady tempo in large figures, and beside it what it is and how well the drill is remembered."""
    one = sheet.standing
    known = one.steady
    rows = figure_rows(f"{known.bpm:.0f}") if known else figure_rows("-")
    gap = len(rows[0]) + 3
    beside = [one.drill.title, *(_beside(one) if room.width - gap >= 34 else _briefly(one))]
    found = []
    for number in range(HEIGHT):
        words = beside[number] if number < len(beside) else ""
        found.append((FIGURE, f"{rows[number]}   {words}"[: max(room.width, gap)]))
    return found


def _beside(one: Standing) -> list[str]:
    target = f"target {one.drill.target_bpm}"
    if one.steady is None:
        tempo = ["no steady tempo yet: it takes six", f"passes, clean and stumbled; {target}"]
    else:
        tempo = ["bpm, clean 8 times in 10", f"{one.steady.low:.0f} to {one.steady.high:.0f} likely · {target}"]
    if one.now is None or one.later is None:
        return [*tempo, one.state]
    now, later = percent(one.now), percent(one.later)
    return [*tempo, f"{one.state} · recall about {now},", f"in a week about {later} if not played"]


def _briefly(one: Standing) -> list[str]:
    """The same where there is little room."""
    target = one.drill.target_bpm
    if one.steady is None:
        tempo = ["bpm not known yet", f"target {target}"]
    else:
        tempo = ["bpm, 8 in 10 clean", f"{one.steady.low:.0f}-{one.steady.high:.0f}, target {target}"]
    if one.now is None or one.later is None:
        return [*tempo, one.state]
    return [*tempo, one.state, f"recall {percent(one.now)}, {percent(one.later)}"]


def drill_lines(
    sheet: Sheet, minutes: Sequence[tuple[date, float]], everything: Sequence[Standing], view: str, room: Room
) -> list[Line]:
    """The whole page beside the list: all sections where there is room, else the one of `view`."""
    head = [*head_lines(sheet, room), (WORDS, "")]
    if room.tall:
        places, told = place_lines(sheet, room), told_lines(sheet, room)
        half = room.width // 2
        lower = room.height - len(head) - len(places) - len(told) - 6
        days = max(min(lower // 3, 7), 4)
        return [
            *head,
            *tempo_lines(sheet, room, max(lower - days, 6)),
            (WORDS, ""),
            *places,
            *told,
            (WORDS, ""),
            *side_by_side(
                clean_lines(sheet, half - 1, days, room), minute_lines(minutes, half - 1, days, room), half + 1
            ),
        ]
    left = max(room.height - len(head), 6)
    if view == KEPT:
        return [*head, *kept_lines(everything, room, left)]
    if view == DAYS:
        half = left // 2
        return [
            *head,
            *clean_lines(sheet, room.width, half - 1, room),
            *minute_lines(minutes, room.width, left - half - 1, room),
        ]
    told = told_lines(sheet, room)
    if view == PLACES:
        return [*head, *place_lines(sheet, room), *told][: room.height]
    told = told[: max(left - 7, 2)]
    return [*head, *tempo_lines(sheet, room, left - len(told) - 1), *told]


def tempo_lines(sheet: Sheet, room: Room, height: int) -> list[Line]:
    """The plot of the steady tempo, `height` lines and a heading."""
    heading = (HEADING, VIEWS[TEMPO])
    points = [Point(day, known.bpm, known.low, known.high) for day, known in sheet.figures]
    if not points:
        return [heading, (WORDS, "nothing to draw yet")]
    lines = tempo_plot(points, sheet.standing.drill.target_bpm, room.width, height, room.glyphs)
    return [heading, *((PLOT, line) for line in lines)]


def place_lines(sheet: Sheet, room: Room) -> list[Line]:
    """The loop marked by the stumbles of its latest takes."""
    total = sheet.counts.total()
    tail = f"{total} in the latest {sheet.passes} passes" if total else "none in the latest takes"
    heading = (HEADING, f"{VIEWS[PLACES]}: {tail}")
    if sheet.loop is None:
        return [(HEADING, VIEWS[PLACES]), (WORDS, "its pattern or chords cannot be read")]
    trouble = sheet.finding.trouble
    gathered = trouble.spot.places if trouble is not None else frozenset()
    return [heading, *((PLOT, line) for line in loop_plot(sheet.loop, sheet.counts, gathered, room.width, room.glyphs))]


def told_lines(sheet: Sheet, room: Room) -> list[Line]:
    """Trouble, remedy and how it goes; one sentence when there is nothing to say."""
    lines = sheet.finding.lines or ("no trouble that the counts would show",)
    return [(WORDS, text) for line in lines for text in wrap(line[:1].upper() + line[1:] + ".", max(room.width, 20))]


def clean_lines(sheet: Sheet, width: int, height: int, room: Room) -> list[Line]:
    """The share of clean passes of each day played."""
    days = [day for day, _, _ in sheet.clean]
    shares = [clean / total for _, clean, total in sheet.clean]
    clean, total = sum(one[1] for one in sheet.clean[-5:]), sum(one[2] for one in sheet.clean[-5:])
    last = min(len(days), 5)
    said = [f"Clean passes: {clean} of {total} on the last {last} days", f"Clean: {clean} of {total} in {last} days"]
    lines = column_plot(shares, days, 1.0, ("all", "none"), width, height, room.glyphs)
    return [_heading(said if total else ["Clean passes"], width), *((PLOT, line) for line in lines)]


def _heading(said: Sequence[str], width: int) -> Line:
    """The first heading that fits."""
    return HEADING, next((one for one in said if len(one) <= width), said[-1])[:width].ljust(width)


def minute_lines(minutes: Sequence[tuple[date, float]], width: int, height: int, room: Room) -> list[Line]:
    """Minutes of playing by day, all drills together."""
    week = sum(played for _, played in minutes[-7:])
    top = max([10.0, *(played for _, played in minutes)])
    lines = column_plot(
        [played or None for _, played in minutes],
        [day for day, _ in minutes],
        top,
        (f"{top:.0f}", "0"),
        width,
        height,
        room.glyphs,
    )
    said = [f"Minutes by day, all drills: {week:.0f} in seven days", f"Minutes: {week:.0f} in seven days"]
    return [_heading(said, width), *((PLOT, line) for line in lines)]


def side_by_side(left: Sequence[Line], right: Sequence[Line], second: int) -> list[Line]:
    """Two sections beside one another, the second from column `second` on."""
    rows = max(len(left), len(right))
    pad = [(WORDS, "")]
    both = zip([*left, *pad * (rows - len(left))], [*right, *pad * (rows - len(right))], strict=True)
    return [(a[0], a[1].ljust(second) + b[1]) for a, b in both]


def kept_lines(everything: Sequence[Standing], room: Room, height: int) -> list[Line]:
    """Recall of every drill now and in a week, what fades most first."""
    found: list[Line] = [(HEADING, VIEWS[KEPT])]
    known = sorted((s for s in everything if s.now is not None), key=lambda s: -s.fading)
    width = max(room.width - 38, 8)
    for one in known[: height - 2]:
        assert one.now is not None
        assert one.later is not None
        title = one.drill.title[:20].ljust(20)
        bar = fade_bar(one.now, one.later, width, room.glyphs)
        found.append((PLOT, f"{title} {bar} {percent(one.now):>4} then {percent(one.later):>4}"))
    if not known:
        found.append((WORDS, "nothing was graded yet"))
    else:
        found.append((WORDS, "now, and in a week if it is not played"))
    return found
