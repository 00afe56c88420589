"""Listening blocks: what is heard before the hands try it."""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.drills.drill_id import Kind
from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.plan.listening import AWAY_DAYS, LISTEN_FROM, heard_today, to_hear
from coach.plan.need import View
from coach.plan.planner import Block, Plan, PlanSettings, plan
from coach.plan.wishes import Wishes
from coach.skill.history import past_of
from tests.made_takes import NOW, TODAY, ladder, take

DRILLS = ladder()
IDS = [d.id for d in DRILLS]
BEGUN = [take("landing-walk", 1)]


def heard(made: Plan) -> list[Block]:
    """The plan's listening blocks."""
    return [b for b in made.blocks if b.kind == "listen"]


def test_a_new_thing_is_heard_before_its_first_turn() -> None:
    """A minute of the turn's own four, right before it: at the tempo it is begun at, then at its target."""
    made = plan(DRILLS, BEGUN, NOW, 20)
    (one,) = heard(made)
    place = made.blocks.index(one)
    turn = made.blocks[place + 1]
    assert (one.drill, turn.drill, one.minutes) == ("two-lamps", "two-lamps", 1)
    assert (one.tempo_from, one.tempo_to, one.layer) == (turn.tempo_from, DRILLS[1].target_bpm, "full")
    assert one.why[0] == "new today: heard first"
    plain = plan(DRILLS, BEGUN, NOW, 20, PlanSettings(listening=False))
    assert turn.minutes == plain.blocks[place].minutes - 1
    assert [b for b in made.blocks if b is not one and b is not turn] == [
        b for n, b in enumerate(plain.blocks) if n != place
    ]


def test_what_was_heard_today_is_not_heard_again() -> None:
    """Listened to an hour ago and the plan asked for again: the turn has all its minutes, and asks for no listening."""
    made = plan(DRILLS, BEGUN, NOW, 20, heard=("two-lamps",))
    assert not heard(made)
    assert not [b for b in made.blocks if b.drill == "two-lamps" and "listen to it once before the first take" in b.why]


def test_what_comes_back_after_long_is_heard_again() -> None:
    """Three weeks away and more: one minute of it first, with the days and what is left of it; a day less: none."""
    others = [take(d, 1) for d in IDS if d != "slow-tide"]
    for days, count in ((AWAY_DAYS + 9, 1), (AWAY_DAYS - 1, 0)):
        away = [take("slow-tide", days), take("slow-tide", days + 5)]
        made = plan(DRILLS, [*others, *away], NOW, 24, PlanSettings(gently=False))
        told = [b for b in heard(made) if b.drill == "slow-tide"]
        assert len(told) == count
        assert all(f"last played {days} days ago" in b.why[0] for b in told)


def test_a_short_evening_has_no_time_to_listen() -> None:
    """Under twelve minutes nothing is taken from the turns."""
    assert not heard(plan(DRILLS, BEGUN, NOW, LISTEN_FROM - 1))


def test_on_the_first_day_of_all_nothing_is_kept_apart_for_listening() -> None:
    """Four easy things in turn: each is heard for one pass before its first take anyway."""
    assert not heard(plan(DRILLS, [], NOW, 40))


def test_what_is_left_out_is_not_heard_and_what_is_pinned_is() -> None:
    """A wish about a drill is one about its listening too."""
    assert not [b for b in heard(plan(DRILLS, BEGUN, NOW, 20, wishes=Wishes(skipped=("two-lamps",))))
                if b.drill == "two-lamps"]
    made = plan(DRILLS, [take(d, 3) for d in IDS[:4]], NOW, 20, wishes=Wishes(pinned=("reed-bank",)))
    assert "reed-bank" in [b.drill for b in heard(made)]


takes = st.lists(
    st.builds(take, st.sampled_from(IDS), st.integers(0, 60), verdict=st.sampled_from(["held", "shaky", "flowing"])),
    max_size=12,
)


@settings(max_examples=60, deadline=None)
@given(takes, st.integers(1, 240))
def test_listening_keeps_the_laws_of_a_plan(played: list, minutes: int) -> None:  # type: ignore[type-arg]
    """At most two, each right before a turn of the same drill that keeps two minutes at least; the sum is exact, the
    evening neither begins nor ends with it, and the turns are those of a plan without it."""
    made = plan(DRILLS, played, NOW, minutes, PlanSettings(gently=False))
    plain = plan(DRILLS, played, NOW, minutes, PlanSettings(gently=False, listening=False))
    assert sum(b.minutes for b in made.blocks) == minutes
    places = [n for n, b in enumerate(made.blocks) if b.kind == "listen"]
    assert len(places) <= 2
    for n in places:
        assert n > 0
        assert made.blocks[n + 1].played
        assert made.blocks[n + 1].drill == made.blocks[n].drill
        assert made.blocks[n + 1].minutes >= 2
    assert [(b.kind, b.drill, b.layer) for b in made.blocks if b.kind != "listen"] == [
        (b.kind, b.drill, b.layer) for b in plain.blocks
    ]


def test_what_was_heard_is_a_note_of_the_day(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """Yesterday's listening is gone by itself, and listening makes no take."""
    with Ledger(tmp_path / "a.db") as ledger:
        ledger.add_note(NoteKind.LISTENED, "two-lamps", None, NOW)
        ledger.add_note(NoteKind.LISTENED, "slow-tide", None, NOW - timedelta(days=1))
        assert heard_today(ledger.notes(NoteKind.LISTENED), TODAY) == {"two-lamps"}
        assert ledger.takes() == []


@pytest.mark.parametrize("minutes", [12, 20, 45])
def test_reasons_are_told_once(minutes: int) -> None:
    """Where there is a listening block the turn does not ask to listen as well."""
    made = plan(DRILLS, BEGUN, NOW, minutes)
    turns = [b for b in made.blocks if b.played and b.drill == "two-lamps"]
    assert heard(made)
    assert turns
    assert not any("listen" in text for b in turns for text in b.why)


def test_without_a_listening_block_only_the_first_turn_asks_to_listen() -> None:
    """Eleven minutes: the first turn of the new thing says it, a later one does not."""
    made = plan(DRILLS, BEGUN, NOW, 11)
    asks = [any("listen" in text for text in b.why) for b in made.blocks if b.drill == "two-lamps"]
    assert asks == [True] + [False] * (len(asks) - 1)


def test_what_is_sung_is_heard_before_what_is_only_picked() -> None:
    """Of three things that come back after long, two are heard: the sung part and the whole song, not the pattern;
    words spoken in rhythm and corners are never listened to by themselves."""
    ids = {"ferry/plain/part/Verse/sing": "sing", "ferry/plain": "song", "ferry/plain/spoken/Verse": "spoken"}
    ids["ferry/plain/corner/Verse/3"] = "corner"
    made = [replace(DRILLS[0], id=id_, kind=Kind(kind), grows_from=None) for id_, kind in ids.items()]
    views = [View(d, n, past_of([take(d.id, 30)]), TODAY) for n, d in enumerate([DRILLS[1], DRILLS[2], *made])]
    assert sorted(to_hear(views, [4] * len(views), ())) == [2, 3]
    assert to_hear(views, [4] * len(views), ("a", "b")) == {}
