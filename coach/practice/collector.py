"""Python's search for rings of dead values, held off where thousands of values are made and no ring."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collector_waits() -> Iterator[None]:
    """The search waits meanwhile: it would go through all of the new values time and again.

    Best put before a function (`@collector_waits()`): its values are gone before the search goes on.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
