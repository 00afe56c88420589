"""Between blocks, or when the player asks for it on the stage: a breath, or the five minutes of each half hour."""

from __future__ import annotations

from collections.abc import Mapping
from time import monotonic
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical
from textual.screen import Screen
from textual.widgets import Digits, Static

from coach.screens.shared.actions import REST, action, bindings, first_key
from coach.screens.shared.leaving import leave
from coach.screens.shared.page import Page

LONG_S = 60
FULL_S = 5 * 60
OFFER_S = 20
"""A short rest in which a long one is proposed lasts so long: there is something to read."""


class Rest(Page, Screen[bool]):
    """Counts down `seconds`; ends with True to go on, False when it is enough for now.

    `offer` proposes to make it five minutes, which one key does; without a key it goes on by itself as ever.
    """

    HELP_FIRST: ClassVar[str] = "Resting"
    BINDINGS: ClassVar[list[BindingType]] = bindings(REST)
    CSS = """
    Rest { align: center middle; background: $background; }
    #rest { width: 64; max-width: 100%; height: auto; padding: 1 2; }
    #left { width: 100%; text-align: center; color: $secondary; }
    #rest Static { width: 100%; text-align: center; color: $foreground; }
    """

    def __init__(
        self, seconds: int, following: str, keys: Mapping[str, str] | None = None, offer: str = ""
    ) -> None:
        super().__init__()
        self.seconds = max(seconds, OFFER_S) if offer else seconds
        self.offer = offer
        self.following = following
        self.keys = keys or {}

    def compose(self) -> ComposeResult:
        """The time left, and what comes."""
        with Vertical(id="rest"):
            yield Static(self._why(), id="why", markup=False)
            yield Static("")
            yield Digits(self._shown(self.seconds), id="left")
            yield Static("")
            yield Static(f"next: {self.following}" if self.following else "", markup=False)
            on, enough = first_key(action("go-on"), self.keys), first_key(action("enough"), self.keys)
            yield Static(f"{on} or the pedal goes on · {enough} is enough for now", markup=False)

    def _why(self) -> str:
        if self.seconds >= LONG_S:
            return (
                "Rest. Put the guitar down, let the arms hang, look out of the window.\n"
                "Pain, numbness or tingling? Then stop for today, and see a doctor\n"
                "or a performing-arts clinician if it comes back."
            )
        return "Let go. Shake the hands out." + (f"\n{self.offer}" if self.offer else "")

    def on_mount(self) -> None:
        """Begin to count."""
        self.until = monotonic() + self.seconds
        self.set_interval(0.25, self._count)

    @staticmethod
    def _shown(left: float) -> str:
        whole = int(left + 0.999)
        return f"{whole // 60}:{whole % 60:02d}"

    def _count(self) -> None:
        left = self.until - monotonic()
        if left <= 0:
            leave(self, True)
        else:
            self.query_one("#left", Digits).update(self._shown(left))

    def action_go_on(self) -> None:
        """Enough rested."""
        leave(self, True)

    def action_long(self) -> None:
        """Five minutes from now; pressing again does not begin them anew."""
        if self.seconds < FULL_S:
            self.seconds, self.until = FULL_S, monotonic() + FULL_S
            self.query_one("#why", Static).update(self._why())
            self._count()

    def action_enough(self) -> None:
        """Enough for now."""
        leave(self, False)
