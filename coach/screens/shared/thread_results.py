"""What a thread has worked out for a page, handed over on the app's own thread."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from textual.app import App
from textual.screen import Screen
from textual.worker import get_current_worker


def stands(page: Screen[Any]) -> bool:
    """True while a page has its parts: one that is being left loses them first, and only then is it mounted no more."""
    return page.is_mounted and page.display


def hand_over(app: App[Any], deed: Callable[..., None], *values: object) -> None:
    """Do `deed` with `values` on the app's thread, unless a later worker of the same group has taken the place of this
    one meanwhile: a worker that is cancelled goes on in its thread, and what it brings is out of date. To be called on
    the thread of a worker; `app` is to be asked for at its start, as a page that was left knows its app no more.
    """
    worker = get_current_worker()

    def there() -> None:
        if not worker.is_cancelled:
            deed(*values)

    app.call_from_thread(there)
