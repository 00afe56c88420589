"""The scribe: what is played is written in order, and what the file refuses is kept until it can be."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from coach.errors import BadInput, CoachError
from coach.log.ledger import Ledger
from coach.session.ledger_writer import Deed, Scribe


def note(text: str) -> Deed:
    """The deed of writing a note."""
    return lambda ledger: ledger.add_note("rest taken", text)


def pass_of(ids: list[str], number: int) -> Deed:
    """The deed of writing a pass of the first take in `ids`."""
    return lambda ledger: ledger.add_pass(ids[0], number, 84, 4)


def test_deeds_are_written_in_order_and_none_is_lost(tmp_path: Path) -> None:
    """A take, forty passes and a verdict, handed over at once: all are in the ledger when the scribe has closed."""
    ids: list[str] = []
    said: list[str] = []
    scribe = Scribe(tmp_path / "ledger.sqlite3", said.append)
    scribe.write(lambda ledger: ids.append(ledger.begin_take("lantern-walk", 84)))
    for number in range(1, 41):
        scribe.write(pass_of(ids, number))
    scribe.write(lambda ledger: ledger.give_verdict(ids[0], "held"))
    assert scribe.close() == ""
    with Ledger(tmp_path / "ledger.sqlite3") as ledger:
        (take,) = ledger.takes()
    assert [p.number for p in take.passes] == list(range(1, 41))
    assert (take.verdict, said) == ("held", [])


def test_what_the_file_refuses_is_kept_and_written_later(tmp_path: Path) -> None:
    """A folder lies where the ledger should be; once it is gone everything from before is written, told once only."""
    path = tmp_path / "ledger.sqlite3"
    path.mkdir()
    said: list[str] = []
    told = threading.Event()

    def tell(sentence: str) -> None:
        said.append(sentence)
        told.set()

    scribe = Scribe(path, tell)
    for k in range(3):
        scribe.write(note(str(k)))
    assert told.wait(5)
    done = threading.Event()
    scribe.write(lambda ledger: done.set())
    path.rmdir()
    scribe.write(lambda ledger: ledger.add_note("rest taken", "3"))
    assert done.wait(5)
    assert scribe.close() == ""
    with Ledger(path) as ledger:
        assert sorted(note.text for note in ledger.notes()) == ["0", "1", "2", "3"]
    assert len(said) == 1


def test_what_could_not_be_written_at_all_is_said_at_the_end(tmp_path: Path) -> None:
    """A file that is no ledger stays as it is to the byte, and two entries are told as not written."""
    path = tmp_path / "ledger.sqlite3"
    path.write_bytes(b"boarding times of the landing\n" * 100)
    said: list[str] = []
    scribe = Scribe(path, said.append)
    scribe.write(lambda ledger: ledger.add_note("rest taken", "a"))
    scribe.write(lambda ledger: ledger.add_note("rest taken", "b"))
    assert scribe.close() == f"2 entries could not be written to {path}."
    assert path.read_bytes() == b"boarding times of the landing\n" * 100
    assert len(said) == 1
    assert "not a practice ledger" in said[0]


@pytest.mark.parametrize("error", [BadInput("this cannot be", mend="leave it out"), ValueError("a slip of ours")])
def test_a_deed_that_can_never_be_done_holds_up_nothing(tmp_path: Path, error: Exception) -> None:
    """It is told in one sentence, and what comes after it is written."""
    said: list[str] = []
    scribe = Scribe(tmp_path / "ledger.sqlite3", said.append)

    def fail(ledger: Ledger) -> None:
        raise error

    scribe.write(fail)
    scribe.write(lambda ledger: ledger.add_note("rest taken", "after"))
    assert scribe.close() == ""
    with Ledger(tmp_path / "ledger.sqlite3") as ledger:
        assert [note.text for note in ledger.notes()] == ["after"]
    assert len(said) == 1


def test_a_full_disk_holds_an_entry_back_until_there_is_room(tmp_path: Path) -> None:
    """The first try fails as on a full disk; the entry is written with the next one, before it."""
    tries: list[str] = []

    def full_once(ledger: Ledger) -> None:
        tries.append("a")
        if len(tries) == 1:
            raise CoachError("the disk is full", mend="free some space")
        ledger.add_note("rest taken", "first")

    said: list[str] = []
    scribe = Scribe(tmp_path / "ledger.sqlite3", said.append)
    scribe.write(full_once)
    scribe.write(lambda ledger: tries.append("b"))
    assert scribe.close() == ""
    assert tries == ["a", "a", "b"]
    assert said == ["the disk is full; free some space."]


def test_waiting_sees_all_that_was_given(tmp_path: Path) -> None:
    """What was given before is in the ledger; with nothing given no file is made."""
    path = tmp_path / "ledger.sqlite3"
    scribe = Scribe(path, lambda sentence: None)
    scribe.wait()
    assert not path.exists()
    for number in range(20):
        scribe.write(lambda ledger, n=number: ledger.add_note("rest taken", str(n)))
    scribe.wait()
    with Ledger(path) as ledger:
        assert len(ledger.notes()) == 20
    assert scribe.close() == ""
    scribe.wait(0.01)  # after the end it gives up by itself
