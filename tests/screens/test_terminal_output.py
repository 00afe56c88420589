"""The way out to the terminal: it takes all and never waits, and says when the terminal lags or has gone."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator

import pytest

if sys.platform == "win32":
    pytest.skip("needs a pseudo terminal", allow_module_level=True)

from coach.screens.terminal_output import FULL_BYTES, Outlet
from tests.sound.hands import until

MUCH = "x" * (1 << 20)  # more than a system keeps for a terminal


@pytest.fixture
def ends() -> Iterator[tuple[int, int]]:
    """(the terminal's own end, the program's end)."""
    terminal, program = os.openpty()
    yield terminal, program
    for fd in (terminal, program):
        try:
            os.close(fd)
        except OSError:
            continue


def taken(terminal: int, size: int) -> bytes:
    """Read so many bytes."""
    got = b""
    while len(got) < size:
        got += os.read(terminal, 1 << 16)
    return got


def test_all_comes_through_in_order(ends: tuple[int, int]) -> None:
    """Pieces of several sizes arrive whole, one after the other; letters the terminal lacks get stand-ins."""
    outlet = Outlet(ends[1], "ascii")
    words = ["one ", "two " * 500, "drei é", "\x1b[?25h"]
    for word in words:
        assert outlet.write(word) == len(word)
    expected = "".join(words).replace("é", "e").encode()
    assert taken(ends[0], len(expected)) == expected
    assert outlet.finish(10)


def test_a_terminal_that_does_not_read_holds_up_nobody(ends: tuple[int, int]) -> None:
    """A megabyte is taken at once; it says that it lags, and once the terminal has read all, that it does not."""
    told: list[bool] = []
    outlet = Outlet(ends[1])
    outlet.told = lambda: told.append(outlet.full)
    outlet.write(MUCH)
    assert outlet.full
    assert outlet.waiting
    assert not outlet.finish(0.05)
    assert told == [True]
    taken(ends[0], len(MUCH))
    assert until(lambda: told == [True, False], 20)
    assert not outlet.waiting


def test_a_little_is_not_a_lag(ends: tuple[int, int]) -> None:
    """What is smaller than a frame does not count."""
    outlet = Outlet(ends[1])
    outlet.write("x" * (FULL_BYTES // 2))
    assert not outlet.full


def test_what_was_not_taken_is_thrown_away(ends: tuple[int, int]) -> None:
    """After that the next words come at once, and not behind a megabyte."""
    outlet = Outlet(ends[1])
    outlet.write(MUCH)
    outlet.drop()
    outlet.write("\x1b[?1049l")
    got, end = b"", time.monotonic() + 20
    while b"\x1b[?1049l" not in got:
        assert time.monotonic() < end
        got += os.read(ends[0], 1 << 16)
    assert len(got) < len(MUCH) / 2
    assert outlet.finish(10)


def test_a_terminal_that_has_gone_is_told_and_takes_nothing_more(ends: tuple[int, int]) -> None:
    """Gone is said once it is written to; nothing is kept for it from then on, and nobody waits."""
    told: list[bool] = []
    outlet = Outlet(ends[1])
    outlet.told = lambda: told.append(outlet.gone)
    os.close(ends[0])
    outlet.write("x")
    assert until(lambda: told == [True], 20)
    outlet.write(MUCH)
    assert not outlet.waiting
    assert not outlet.finish(0)
