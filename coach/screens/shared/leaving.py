"""How a page leaves, and whatever lies on it with it.

Textual's `dismiss` takes off the topmost page, whichever that is: a block may end under an open help page.
"""

from __future__ import annotations

from typing import TypeVar

from textual.screen import Screen

Answer = TypeVar("Answer")


def leave(page: Screen[Answer], answer: Answer) -> None:
    """Take `page` off with its answer, after all that lies on it; nothing happens when it has left already."""
    app = page.app
    if page not in app.screen_stack:
        return
    while app.screen is not page:
        app.pop_screen()
    page.dismiss(answer)
