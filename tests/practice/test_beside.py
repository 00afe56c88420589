"""Two processes hand each other large things, whatever stops one of them for a while."""

import os
import signal
import time
from contextlib import suppress
from threading import Thread

import psutil
import pytest

from coach.practice.beside import FirstOne, beside

MANY = 300_000


def large(begin: str) -> list[str]:
    """Some megabytes, more than a pipe holds."""
    return [f"{begin} {n}" for n in range(MANY)]


def gives(*words: str) -> None:
    """The second process: it swaps, then says how much it got and what it was called with."""
    first = FirstOne()
    got = first.swap(large("second"))
    first.give((got == large("first"), words))


def test_both_give_and_take() -> None:
    """What each has to give is larger than a pipe, and neither waits for the other for ever."""
    with beside("tests.practice.test_beside:gives", "one", "ü\n two") as other:
        assert other.swap(large("first")) == large("second")
        assert other.get() == (True, ("one", "ü\n two"))
        assert other.get() is None


@pytest.mark.skipif(os.name == "nt", reason="only on another system: there are no such signals")
def test_stopped_and_going_on_they_lose_nothing() -> None:
    """As with ctrl-z and fg, many times while it writes: what is written at a stroke may then be less than all."""
    with beside("tests.practice.test_beside:gives") as other:
        (second,) = psutil.Process().children()[-1:]

        def disturb() -> None:
            with suppress(psutil.NoSuchProcess):
                while second.status() != psutil.STATUS_ZOMBIE:
                    second.send_signal(signal.SIGSTOP)
                    time.sleep(0.001)
                    second.send_signal(signal.SIGCONT)
                    time.sleep(0.002)

        disturber = Thread(target=disturb)
        disturber.start()
        assert other.swap(large("first")) == large("second")
        assert other.get() == (True, ())
    disturber.join()


@pytest.mark.parametrize("call", ["tests.practice.test_beside:none", "no.such:place"])
def test_what_cannot_be_called_gives_nothing(call: str) -> None:
    """Then the first one does it by itself."""
    with beside(call) as other:
        assert other.swap(large("first")) is None
        assert other.get() is None
