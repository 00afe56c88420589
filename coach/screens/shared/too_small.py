"""Shown when the window is too small; whatever plays goes on."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.screen import ModalScreen
from textual.widgets import Static

LEAST_WIDTH, LEAST_HEIGHT = 60, 22


class TooSmall(ModalScreen[None]):
    """Says what is needed."""

    CSS = """
    TooSmall { align: center middle; background: $background; }
    TooSmall Static { width: 100%; height: auto; text-align: center; }
    """

    def compose(self) -> ComposeResult:
        """One sentence."""
        yield Static(
            f"The coach needs a window of {LEAST_WIDTH} columns and {LEAST_HEIGHT} lines; make it larger.", markup=False
        )
