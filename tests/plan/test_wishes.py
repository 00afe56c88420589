"""What the player wishes of today's plan holds for the day, and the latest wish can be taken back."""

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.log.exchange import merge
from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.log.takes import Note
from coach.plan.care import Care, care_of, last_pain
from coach.plan.wishes import MINUTES, PIN, SKIP, SWAP, UNDO, Wishes, wish_text, wishes_of
from tests.made_takes import NOW, TODAY


def note(text: str, minute: int = 0, kind: str = NoteKind.WISH, at: datetime = NOW) -> Note:
    """A note of today, or of another moment."""
    moment = at + timedelta(minutes=minute)
    return Note(f"{minute:05}", moment, moment.date(), kind, text, None)


def wished(*texts: str) -> Wishes:
    """What notes in this order come to."""
    return wishes_of([note(text, minute) for minute, text in enumerate(texts)], TODAY)


def test_pins_skips_swaps_and_minutes_add_up() -> None:
    """Each wish is one note; together they are what the plan obeys."""
    found = wished(wish_text(PIN, "a"), wish_text(SKIP, "b"), wish_text(SWAP, "c", "d"), wish_text(MINUTES, 12))
    assert found == Wishes(("a",), ("b",), (("c", "d"),), 12)


def test_the_later_wish_about_a_drill_stands() -> None:
    """Skipped and then pinned it comes; pinned and then skipped it does not."""
    assert wished(wish_text(SKIP, "a"), wish_text(PIN, "a")) == Wishes(pinned=("a",))
    assert wished(wish_text(PIN, "a"), wish_text(SKIP, "a")) == Wishes(skipped=("a",))


def test_swapping_what_came_in_goes_back_to_the_first() -> None:
    """a for b and then b for c is a for c."""
    assert wished(wish_text(SWAP, "a", "b"), wish_text(SWAP, "b", "c")).swapped == (("a", "c"),)


def test_undo_takes_back_the_latest_wish_only() -> None:
    """Two wishes and one undo leave the first; more undos than wishes do no harm."""
    two = (wish_text(PIN, "a"), wish_text(MINUTES, 12))
    assert wished(*two, wish_text(UNDO)) == Wishes(pinned=("a",))
    assert wished(*two, *[wish_text(UNDO)] * 3) == Wishes()
    assert wished(wish_text(UNDO), *two) == wished(*two)


def test_a_wish_holds_for_its_own_day() -> None:
    """Yesterday's wishes are gone by themselves."""
    assert wishes_of([note(wish_text(SKIP, "a"), at=NOW - timedelta(1))], TODAY) == Wishes()


@pytest.mark.parametrize(
    "text", ["", "[", "7", "[]", '["pin"]', '["pin", 7]', '["minutes", 0]', '["minutes", true]', '["sing", "a"]', "{}"]
)
def test_a_note_nobody_can_read_is_passed_over(text: str) -> None:
    """It neither counts as a wish nor as something to be undone."""
    assert wished(wish_text(PIN, "a"), text) == Wishes(pinned=("a",))


wishes = st.one_of(
    st.builds(wish_text, st.sampled_from([PIN, SKIP]), st.sampled_from("abc")),
    st.tuples(st.sampled_from("abc"), st.sampled_from("abc"))
    .filter(lambda two: two[0] != two[1])
    .map(lambda two: wish_text(SWAP, *two)),
)


@given(st.lists(wishes, max_size=8), wishes)
def test_a_wish_and_its_undo_leave_all_as_it_was(before: list[str], one: str) -> None:
    """Whatever stood before."""
    assert wished(*before, one, wish_text(UNDO)) == wished(*before)


@given(st.lists(wishes, max_size=8))
def test_no_drill_is_wished_both_ways(texts: list[str]) -> None:
    """What is pinned is not skipped, what is skipped is in no swap, and no drill goes twice."""
    found = wished(*texts)
    assert not set(found.pinned) & set(found.skipped)
    assert not {d for pair in found.swapped for d in pair} & set(found.skipped)
    assert len({gone for gone, _ in found.swapped}) == len(found.swapped)


def test_wishes_of_two_machines_are_laid_together(tmp_path: Path) -> None:
    """A pin here and a skip there are both in either ledger after merging."""
    with Ledger(tmp_path / "a.db") as a, Ledger(tmp_path / "b.db") as b:
        a.add_note(NoteKind.WISH, wish_text(PIN, "two-lamps"), None, NOW)
        b.add_note(NoteKind.WISH, wish_text(SKIP, "slow-tide"), None, NOW + timedelta(minutes=1))
        merge(a, b.path)
        merge(b, a.path)
        assert wishes_of(a.notes(), TODAY) == wishes_of(b.notes(), TODAY) == Wishes(("two-lamps",), ("slow-tide",))


# After pain ---------------------------------------------------------------------------------


def pain(days_ago: int, kind: str = NoteKind.PAIN) -> Note:
    """Pain noted so many days ago."""
    return note("Two lamps", kind=kind, at=NOW - timedelta(days_ago))


def test_pain_today_means_no_more_playing_today() -> None:
    """Not a minute is left, and the words send to a doctor or clinician and claim to be no advice."""
    found = care_of([pain(0)], TODAY)
    assert found.stopped
    assert found.most(30) == 0
    said = " ".join(found.words)
    assert "doctor or a performing-arts clinician" in said
    assert "not medical advice" in said


def test_the_days_after_are_short_and_no_step_is_left_out() -> None:
    """BAPAM, "Return to play": five minutes at a time, then ten, three days each at the least; then as before."""
    most = [care_of([pain(days)], TODAY).most(30) for days in range(1, 9)]
    assert most == [5, 5, 5, 10, 10, 10, 30, 30]


def test_pain_again_goes_back_to_the_first_step() -> None:
    """Pain five days ago and yesterday: today is a day after pain."""
    assert care_of([pain(5), pain(1)], TODAY).minutes == 5


def test_short_wishes_stay_short() -> None:
    """Four minutes stay four on a day of five at the most."""
    assert care_of([pain(1)], TODAY).most(4) == 4
    assert Care().most(40) == 40


def test_a_slip_of_the_key_takes_back_one_pain() -> None:
    """The note of the pain stays in the ledger; the one before it counts again."""
    slip = note("", 5, NoteKind.PAIN_BY_MISTAKE)
    assert care_of([pain(0), slip], TODAY) == Care()
    assert care_of([pain(2), pain(0), slip], TODAY).minutes == 5
    assert last_pain([]) is None
