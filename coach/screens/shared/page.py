"""What a page of the coach has beside its drawing, and what it may ask of the app that shows it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, ClassVar, Protocol, cast

if TYPE_CHECKING:
    from coach.handout import Chosen
    from coach.plan.planner import Block
    from coach.session.ledger_writer import Scribe


class CoachApp(Protocol):
    """The app as its pages see it."""

    scribe: Scribe

    def practise(self, blocks: Sequence[Block], alone: bool = False) -> object:
        """Play blocks on the stage, one after another."""

    def open_arranging(self, song_id: str, arrangement: str = "") -> None:
        """Open the arrangements of a song."""

    def open_chart(self, song_id: str | None) -> None:
        """Open the chart of a song, or of a new one."""

    def open_desk(self) -> None:
        """Open the desk."""

    def open_export(self, what: Chosen | str) -> None:
        """Open the page that writes files of a piece, or of a song by its id."""


class Page:
    """A page. HELP_FIRST names the part of the help that comes first when it is asked for here."""

    HELP_FIRST: ClassVar[str] = "Today"

    @property
    def coach(self) -> CoachApp:
        """The app."""
        return cast(CoachApp, cast(Any, self).app)

    def pause_playing(self) -> None:
        """Stop what plays, to go on later; a page that plays nothing has nothing to do."""


class SpeakingPage(Page):
    """A page with a line of its own for sentences, so that nothing lies over what it shows."""

    def say(self, sentence: str) -> None:
        """Show one sentence."""
        raise NotImplementedError
