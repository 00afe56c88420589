"""What was settled about songs: the last word holds, from two machines alike; days as players write them."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.drills.song_choices import DUE, REST, TAKE_UP, WAKE, Settled, note_text, read_day, settled
from coach.errors import BadInput
from coach.log.notes import NoteKind
from coach.log.takes import Note
from tests.made_takes import NOW, TODAY


def note(number: int, text: str, kind: str = NoteKind.SONG_SETTLED) -> Note:
    """A note, so many minutes on."""
    at = NOW + timedelta(minutes=number)
    return Note(f"{number:03}", at, at.date(), kind, text, None)


def test_the_last_word_holds() -> None:
    """Taken up, wanted by a day, rested, woken: the day stays; no day takes it back."""
    day = date(2026, 4, 1)
    told = [
        note(1, note_text(TAKE_UP, "ferry")),
        note(2, note_text(DUE, "ferry", day)),
        note(3, note_text(REST, "ferry")),
    ]
    assert settled(told)["ferry"] == Settled(True, day, True)
    told.append(note(4, note_text(WAKE, "ferry")))
    assert settled(told)["ferry"] == Settled(True, day, False)
    told.append(note(5, note_text(DUE, "ferry")))
    assert settled(told)["ferry"] == Settled(True, None, False)


def test_a_day_takes_a_song_up_and_ends_its_rest() -> None:
    """Who wants it by a day practises it."""
    told = [note(1, note_text(REST, "ferry")), note(2, note_text(DUE, "ferry", TODAY))]
    assert settled(told)["ferry"] == Settled(True, TODAY, False)


def test_other_notes_and_broken_ones_are_passed_over() -> None:
    """A note of another kind, no JSON, an unknown deed, a day that is none."""
    broken = ["{", '["sell", "ferry"]', '["due", "ferry", "soon"]', "7"]
    told = [*(note(n, text) for n, text in enumerate(broken)), note(9, note_text(REST, "ferry"), "pain reported")]
    assert settled(told) == {}


@given(st.lists(st.sampled_from([TAKE_UP, DUE, REST, WAKE]), max_size=8), st.randoms())
def test_the_order_in_which_notes_come_in_does_not_matter(deeds: list[str], chance: object) -> None:
    """As two ledgers merged one way or the other."""
    told = [note(n, note_text(deed, "ferry", TODAY)) for n, deed in enumerate(deeds)]
    mixed = list(told)
    chance.shuffle(mixed)  # type: ignore[attr-defined]
    assert settled(mixed) == settled(told)


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2026-12-05", date(2026, 12, 5)),
        ("12-05", date(2026, 12, 5)),
        ("03-10", date(2026, 3, 10)),
        ("03-09", date(2027, 3, 9)),
        ("02-29", date(2028, 2, 29)),
        ("+14", date(2026, 3, 24)),
        ("+0", date(2026, 3, 10)),
    ],
)
def test_days_as_players_write_them(text: str, day: date) -> None:
    """On 10 March 2026: whole, the next such day, or so many days on."""
    assert read_day(text, TODAY) == day


@pytest.mark.parametrize("text", ["", "soon", "2026-02-30", "2026-03-09", "13-40", "+", "+-3", "+٣", "1.5."])
def test_what_is_no_day_is_said_in_one_sentence(text: str) -> None:
    """And how to write one."""
    with pytest.raises(BadInput) as told:
        read_day(text, TODAY)
    assert "write it like 2026-03-10" in str(told.value)
