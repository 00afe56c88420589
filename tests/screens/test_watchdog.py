"""What the watch beside the app makes of an app that does not answer, and of a terminal that shows nothing.

That it ends a real coach in every state of the terminal is in test_terminal.py.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from typing import Any

import pytest

if sys.platform == "win32":
    pytest.skip("needs a pseudo terminal", allow_module_level=True)

from coach.screens import watchdog as watch_module
from coach.screens.watchdog import LOOK_S, SILENT_S, UNSEEN_S, Last, Watch
from coach.sound import silence


class Loop:
    """An event loop that does what it was given only when told to."""

    def __init__(self) -> None:
        self.given: list[Callable[[], object]] = []

    def call_soon_threadsafe(self, deed: Callable[[], object]) -> None:
        """Remember it."""
        self.given.append(deed)

    def go(self) -> None:
        """Do all of it."""
        given, self.given = self.given, []
        for deed in given:
            deed()


class Wire:
    """An outlet as the watch sees it."""

    waiting = False
    gone = False
    moved = 0


class Player:
    """Something that sounds."""

    def __init__(self) -> None:
        self.stops = 0

    def stop(self, *, wait: bool) -> None:
        """Count it."""
        assert not wait
        self.stops += 1

    def cut(self) -> None:
        """Never in here."""
        raise AssertionError


class Rig:
    """A watch with a loop, a wire and a player."""

    def __init__(self) -> None:
        self.loop, self.wire, self.player = Loop(), Wire(), Player()
        self.said: list[str] = []
        self.left = 0
        outlet: Any = self.wire
        self.watch = Watch(outlet, Last(lambda _: ()), self.leave, self.said.append)
        loop: Any = self.loop
        self.watch.follow(loop)

    def leave(self) -> None:
        """The app is asked to leave."""
        self.left += 1

    def looks(self, seconds: float, *, answers: bool) -> None:
        """So many seconds by the watch's own count."""
        for _ in range(round(seconds / LOOK_S)):
            if answers:
                self.loop.go()
            self.watch._look()


@pytest.fixture
def rig() -> Iterator[Rig]:
    """A player sounds, and a watch looks when it is told to."""
    rig = Rig()
    silence.begins(rig.player)
    yield rig
    silence.ends(rig.player)


def test_an_app_that_answers_is_left_alone(rig: Rig) -> None:
    """For a minute: no silence, no word, no end."""
    rig.looks(60, answers=True)
    assert (rig.player.stops, rig.said, rig.left) == (0, [], 0)


def test_an_app_that_does_not_answer_falls_silent_and_lives_on(rig: Rig) -> None:
    """Within two seconds and a look the sound stops, once; when it answers again it is told why."""
    rig.looks(SILENT_S - 2 * LOOK_S, answers=False)
    assert rig.player.stops == 0
    rig.looks(4 * LOOK_S, answers=False)
    assert rig.player.stops == 1
    rig.looks(30, answers=False)
    assert (rig.player.stops, rig.left, rig.watch.ending) == (1, 0, False)
    rig.looks(1, answers=True)
    rig.loop.go()
    assert rig.said == ["the screen was stuck for a while, so the sound was stopped"]


def test_a_terminal_that_shows_nothing_is_played_to_for_a_while(rig: Rig) -> None:
    """The sound plays over a hitch of the line, and stops after ten seconds without a byte taken."""
    rig.wire.waiting = True
    rig.looks(UNSEEN_S - 2 * LOOK_S, answers=True)
    assert rig.player.stops == 0
    rig.looks(4 * LOOK_S, answers=True)
    rig.loop.go()
    assert rig.player.stops == 1
    assert "showed nothing" in rig.said[0]
    assert not rig.watch.ending


def test_a_slow_terminal_stops_nothing(rig: Rig) -> None:
    """It lags for five minutes and takes a little each second: nothing is stopped."""
    rig.wire.waiting = True
    for _ in range(300):
        rig.wire.moved += 1
        rig.looks(1, answers=True)
    assert (rig.player.stops, rig.said) == (0, [])


def test_left_behind_by_its_parent(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    """A new parent alone means nothing; with the terminal in other hands no key would ever come: it ends."""
    hands = [watch_module.os.getpgrp()]
    rig.wire.fileno = lambda: 0  # type: ignore[attr-defined]
    monkeypatch.setattr(watch_module.os, "getppid", lambda: -1)
    monkeypatch.setattr(watch_module.os, "tcgetpgrp", lambda fd: hands[0])
    rig.looks(5, answers=True)
    assert not rig.watch.ending
    hands[0] += 1
    rig.looks(LOOK_S, answers=True)
    assert rig.watch.ending
    assert rig.player.stops == 1
    rig.loop.go()
    assert rig.left == 1


def test_the_last_things_are_done_once() -> None:
    """Whoever comes second is given what the first one found."""
    done: list[float] = []
    last = Last(lambda limit: (str(done.append(limit)),))
    assert last.do(5.0) == last.do(1.0) == ("None",)
    assert done == [5.0]
