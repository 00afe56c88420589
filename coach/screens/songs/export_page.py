"""Writing files from the app: sheet, track or pack of a piece, with a preview, told where it is, never over another.

Files go into `handouts` in the player's own folder unless another place is named. A long one is written away from the
screen; it tells how far it is and can be stopped, and then nothing of it is left.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from threading import Event
from typing import TYPE_CHECKING, ClassVar

from rich.text import Text
from textual import work
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal
from textual.screen import Screen
from textual.widgets import Static

from coach import places
from coach.errors import CoachError, reason
from coach.files.writing import new_file
from coach.handout import RATE, SHARES, Chosen, library_files, make_pack, sheet_bytes, write_track
from coach.music.tempo import FASTEST_BPM, SLOWEST_BPM
from coach.screens.shared.actions import EXPORT, action, bindings, first_key, hints
from coach.screens.shared.finder import Ask
from coach.screens.shared.page import SpeakingPage
from coach.screens.shared.row_view import RowView
from coach.screens.shared.thread_results import hand_over, stands
from coach.session.context import World
from coach.song.piece import Piece

if TYPE_CHECKING:
    from coach.sound.mixer import Samples

HANDOUTS = "handouts"
PAPERS = ("a4", "letter")
MOST_ROUNDS, LEAST_SHARE, MOST_SHARE = 99, 25, 150
PATTERN_ROUNDS = 8
WIDE = 90


@dataclass(frozen=True)
class Kind:
    """A kind of file: how its name ends, what it is, and whether it sounds."""

    suffix: str
    says: str
    sounds: bool = False


KINDS = (
    Kind(".txt", "text tab"),
    Kind(".pdf", "handout to print"),
    Kind(".musicxml", "score, for notation"),
    Kind(".mid", "MIDI file"),
    Kind(".wav", "practice track", sounds=True),
    Kind(".flac", "practice track, smaller", sounds=True),
    Kind(".zip", "pack for a student", sounds=True),
)


class Stopped(CoachError):
    """The player stopped the writing."""


def preview(what: Chosen, width: int) -> tuple[str, ...]:
    """The text tab, line by line."""
    from coach.paper.text_tab import write_text_tab

    return tuple(write_text_tab(what.piece, width, source=what.song.source if what.song else "").splitlines())


def seconds_of(piece: Piece, share: Fraction, rounds: int) -> float:
    """How long its track lasts, the count-in left out."""
    return float(sum(60 * bar.beats / (bar.bpm * share) for bar in piece.bars)) * rounds


class Exporting(SpeakingPage, Screen[None]):
    """Kinds on the left, what it will be on the right."""

    HELP_FIRST: ClassVar[str] = "Writing files"
    BINDINGS: ClassVar[list[BindingType]] = bindings(EXPORT)
    AUTO_FOCUS = ""
    CSS = """
    Exporting { background: $background; overflow: hidden; }
    #title { height: 1; background: $panel; padding: 0 1; color: $foreground; text-style: bold; }
    #kinds { width: 34; height: 1fr; padding: 1 1; text-wrap: nowrap; text-overflow: ellipsis; }
    #preview { width: 1fr; height: 1fr; }
    Exporting.narrow Horizontal { layout: vertical; }
    Exporting.narrow #kinds { width: 1fr; height: auto; padding: 0 1; }
    #where, #facts { height: 1; padding: 0 1; text-wrap: nowrap; text-overflow: ellipsis; }
    #facts { color: $secondary; }
    #say { height: auto; max-height: 2; padding: 0 1; color: $warning; }
    #keys { dock: bottom; height: 1; padding: 0 1; background: $panel; color: $foreground 80%; }
    """

    def __init__(self, world: World, what: Chosen) -> None:
        from coach.sound.sound_files import has_flac

        super().__init__()
        self.world, self.what = world, what
        self.kinds = tuple(kind for kind in KINDS if kind.suffix != ".flac" or has_flac())
        self.at = 0
        self.paper = PAPERS[0]
        self.percent = 100
        self.rounds = PATTERN_ROUNDS if what.song is None else 1
        self.sung = False
        piece = what.piece
        self.stem = f"{piece.id}-{piece.arrangement}" if piece.arrangement else piece.id
        self.folder = places.home() / HANDOUTS
        self.over: Path | None = None
        self.lines: tuple[str, ...] = ()
        self.top = 0
        self.writing: Event | None = None

    @property
    def kind(self) -> Kind:
        """The kind chosen."""
        return self.kinds[self.at]

    @property
    def path(self) -> Path:
        """Where it will be written."""
        return self.folder / f"{self.stem}{self.kind.suffix}"

    @property
    def chosen(self) -> Chosen:
        """What is written: the whole, or as it is sung."""
        way = self.what.arrangement
        if not self.sung or way is None:
            return self.what
        return replace(self.what, piece=self.what.piece.sung(way.singing, early=way.early))

    def compose(self) -> ComposeResult:
        """The kinds, the preview, where it goes."""
        piece = self.what.piece
        named = f" ({piece.arrangement})" if piece.arrangement else ""
        yield Static(f"Write files: {piece.title}{named}", id="title", markup=False)
        with Horizontal():
            yield Static(id="kinds")
            yield RowView(id="preview")
        yield Static(id="where", markup=False)
        yield Static(id="facts", markup=False)
        yield Static(id="say", markup=False)
        yield Static(id="keys", markup=False)

    def on_resize(self) -> None:
        """The preview is as wide as there is room."""
        self.set_class(self.size.width < WIDE, "narrow")
        self._show()
        self.call_after_refresh(self.look)

    def say(self, sentence: str) -> None:
        """One sentence."""
        if stands(self):
            self.query_one("#say", Static).update(sentence)

    def _show(self) -> None:
        text = Text(no_wrap=True, overflow="ellipsis")
        narrow = self.size.width < WIDE
        for number, kind in enumerate(self.kinds):
            mark, style = ("▸", "bold") if number == self.at else (" ", "")
            if narrow:
                text.append(f"{mark}{kind.suffix} ", style=style)
            else:
                text.append(f"{mark} {kind.suffix:<10}{kind.says}\n", style=style)
        if narrow:
            text.append(f"\n {self.kind.says}")
        self.query_one("#kinds", Static).update(text)
        self.query_one("#where", Static).update(f"to {self.path}")
        self.query_one("#facts", Static).update(self._facts())
        self.query_one("#keys", Static).update(hints(EXPORT, self.world.keys, max(self.size.width - 2, 20)))

    def _facts(self) -> str:
        piece, kind = self.what.piece, self.kind
        facts = [f"{len(piece.bars)} bars"]
        if kind.sounds:
            share = Fraction(self.percent, 100)
            long = round(seconds_of(piece, share, self.rounds))
            facts.append(f"{self.rounds} times round" if self.rounds > 1 else "once")
            facts.append(f"{self.percent} % of the tempo, {round(piece.bars[0].bpm * share)} bpm")
            facts.append(f"{long // 60}:{long % 60:02} min")
        if kind.suffix == ".zip":
            facts.append("tracks at " + ", ".join(map(str, SHARES)) + " % of that")
        if kind.suffix in (".pdf", ".zip"):
            facts.append("A4" if self.paper == "a4" else "Letter")
        if self.what.song is not None:
            facts.append("thinned under the words" if self.sung else "all of the picking")
        return " · ".join(facts)

    @work(thread=True, exclusive=True, group="look")
    def look(self) -> None:
        """Make the preview away from the screen."""
        app, what = self.app, self.chosen
        width = self.query_one("#preview").size.width - 1
        try:
            lines = preview(what, max(width, 24))
        except CoachError as error:
            lines = (str(error),)
        hand_over(app, self._looked, lines)

    def _looked(self, lines: tuple[str, ...]) -> None:
        if stands(self):
            self.lines = lines
            self._scroll(0)

    def _scroll(self, by: int) -> None:
        view = self.query_one("#preview", RowView)
        page = max(view.size.height - 2, 1)
        self.top = min(max(self.top + by * page, 0), max(len(self.lines) - page, 0))
        at = 0 if self.top == 0 else min(self.top + page, len(self.lines) - 1)
        view.show(len(self.lines), lambda row, width: Text(self.lines[row]), at)

    # Keys --------------------------------------------------------------------------------------

    def action_kind(self, by: int) -> None:
        """Another kind of file."""
        self.at = (self.at + by) % len(self.kinds)
        self.over = None
        self._show()

    def action_paper(self) -> None:
        """The other paper."""
        self.paper = PAPERS[(PAPERS.index(self.paper) + 1) % len(PAPERS)]
        self._show()

    def action_share(self, by: int) -> None:
        """A slower or faster track."""
        wanted = min(max(self.percent + by, LEAST_SHARE), MOST_SHARE)
        tempos = [bar.bpm * Fraction(wanted, 100) for bar in self.what.piece.bars]
        if all(SLOWEST_BPM <= bpm <= FASTEST_BPM for bpm in tempos):
            self.percent = wanted
        self._show()

    def action_rounds(self, by: int) -> None:
        """How often it goes round."""
        self.rounds = min(max(self.rounds + by, 1), MOST_ROUNDS)
        self._show()

    def action_sing(self) -> None:
        """As it is sung, or all of it."""
        if self.what.arrangement is not None:
            self.sung = not self.sung
            self._show()
            self.look()

    def action_scroll(self, by: int) -> None:
        """Another page of the preview."""
        self._scroll(by)

    def action_name(self) -> None:
        """Another name or folder."""

        def named(text: str | None) -> None:
            if text and text.strip():
                self._take_name(Path(text.strip()).expanduser())

        self.app.push_screen(Ask("The file's name, with its folder if it is to go elsewhere:", str(self.path)), named)

    def _take_name(self, path: Path) -> None:
        suffixes = [kind.suffix for kind in self.kinds]
        if path.suffix.lower() in suffixes:
            self.at = suffixes.index(path.suffix.lower())
            self.stem = path.stem
        else:
            self.stem = path.name
        self.folder = path.parent if path.parent != Path() else self.folder
        self.over = None
        self._show()

    def action_write(self) -> None:
        """Write it; over another file only when asked twice."""
        if self.writing is not None:
            return
        path = self.path
        if path.exists() and self.over != path:
            self.over = path
            name, write = (first_key(action(f"export-{deed}"), self.world.keys) for deed in ("name", "write"))
            self.say(f"{path.name} is there already: {write} again writes over it, {name} gives another name")
            return
        force, self.over = self.over == path, None
        self.writing = Event()
        self.say("writing ...")
        self._write(path, self.kind, force)

    def action_back(self) -> None:
        """Stop the writing, or go back."""
        if self.writing is not None:
            self.writing.set()
        else:
            self.dismiss()

    def on_unmount(self) -> None:
        """Nothing goes on writing behind."""
        if self.writing is not None:
            self.writing.set()

    # Writing -----------------------------------------------------------------------------------

    @work(thread=True, exclusive=True, group="write")
    def _write(self, path: Path, kind: Kind, force: bool) -> None:
        app = self.app
        try:
            said = self._written(path, kind, force)
        except Stopped:
            said = "stopped; nothing of it was kept"
        except CoachError as error:
            said = str(error)
        except OSError as error:
            said = f"{path} could not be written ({reason(error)}); choose another folder."
        app.call_from_thread(self._over, said)

    def _over(self, said: str) -> None:
        self.writing = None
        self.say(said)

    def _written(self, path: Path, kind: Kind, force: bool) -> str:
        """Write the file and say where it is. Raises CoachError, OSError."""
        path.parent.mkdir(parents=True, exist_ok=True)
        what = self.chosen
        if kind.suffix == ".zip":
            from coach.sound.sound_files import has_flac

            name = what.song.id if what.song else what.pattern.id if what.pattern else ""
            missing: list[str] = []
            contents = make_pack(
                path, what, library_files(what, name, missing.append), self._watched,
                share=Fraction(self.percent, 100), loops=self.rounds, paper=self.paper,
                ending=".flac" if has_flac() else ".wav", force=force,
            )  # fmt: skip
            told = f"; there is no pattern {', '.join(missing)}" if missing else ""
            return f"written: {path}, {len(contents)} files{told}"
        if kind.sounds:
            frames = write_track(path, what, Fraction(self.percent, 100), self.rounds, self._watched, force=force)
            long = round(frames / RATE)
            return f"written: {path}, {long // 60}:{long % 60:02} min. Keep the level low, above all in headphones."
        data, pages = sheet_bytes(what, kind.suffix, self.paper, layers=what.pattern is not None)
        with new_file(path, "the sheet", force=force) as out:
            out.write(data)
        return f"written: {path}" + (f", {pages} page{'s' if pages > 1 else ''}" if kind.suffix == ".pdf" else "")

    def _watched(self, pieces: Iterator[Samples], frames: int) -> Iterator[Samples]:
        """The same pieces; tells how far it is, and ends when the player says so. Raises Stopped."""
        stop, done, told = self.writing, 0, -1
        back = first_key(action("export-back"), self.world.keys)
        for piece in pieces:
            if stop is not None and stop.is_set():
                raise Stopped("stopped")
            done += len(piece)
            share = min(20 * done // max(frames, 1), 20)
            if share != told and stands(self):
                told = share
                bar = ("━" * share).ljust(20, "·")
                self.app.call_from_thread(self.say, f"writing {bar} {share * 5:3} %  {back} stops it")
            yield piece
