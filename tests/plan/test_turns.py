"""The bare shape of a plan: runs, rests, turns, and who follows whom."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import BadInput
from coach.plan.turns import arrange, checked_minutes, cut, even, room_left, runs, shares, turn_minutes


@given(st.integers(1, 240))
def test_runs_and_rests_make_up_the_minutes(minutes: int) -> None:
    """Playing and five-minute rests between come to what was asked; no run is over half an hour (BAPAM)."""
    found = runs(minutes)
    assert sum(found) + 5 * (len(found) - 1) == minutes
    assert max(found) <= 30
    assert min(found) >= 1
    assert len(found) == 1 or max(found) <= 25


@given(st.integers(1, 240), st.floats(0, 120), st.sampled_from([5, 15, 25, 30]))
def test_runs_go_on_with_what_was_just_played(minutes: int, before: float, run: int) -> None:
    """The first run with what was played before it is no longer than half an hour; all of the minutes are used; nothing
    is left to play only where the rest would take it all."""
    found = runs(minutes, run, 5, before)
    if not found:
        assert room_left(run, 5, before) < minutes <= 5 + room_left(run, 5, before)
        return
    assert sum(found) + 5 * (len(found) - 1) == minutes
    assert found[0] == 0 or found[0] + before <= min(30, run + 5)
    assert all(1 <= one <= run for one in found[1:])


@given(st.integers(31, 240), st.integers(0, 210))
def test_every_half_hour_has_five_minutes_of_rest(minutes: int, start: int) -> None:
    """Any thirty minutes cut out of a long plan hold five of rest."""
    line = "".join("." * 5 * (n > 0) + "x" * run for n, run in enumerate(runs(minutes)))
    window = line[start : start + 30]
    assert len(window) < 30 or window.count(".") >= 5


@given(st.integers(4, 240))
def test_turns_are_of_two_to_four_minutes(minutes: int) -> None:
    """Turns are of about three minutes, shorter in a short plan (Carter & Grahn 2016 used three)."""
    turns = [t for run in runs(minutes) for t in cut(run, turn_minutes(minutes))]
    assert sum(turns) == sum(runs(minutes))
    assert min(turns) >= 1
    assert max(turns) <= 4
    assert minutes < 12 or min(turns) >= 2


def test_four_things_of_twelve_minutes_take_four_turns_each() -> None:
    """Carter & Grahn 2016: 48 minutes in turns of three are four turns for each of four things, never twice running."""
    turns = [t for run in runs(53) for t in cut(run, turn_minutes(53))]
    assert turns == [3] * 16
    order = arrange(shares("ABCD", 16), "A", "B")
    assert order is not None
    assert sorted(order) == sorted("ABCD" * 4)
    assert all(a != b for a, b in pairwise(order))


@given(st.integers(2, 8), st.integers(2, 80), st.data())
def test_an_order_keeps_counts_ends_and_never_repeats(items: int, turns: int, data: st.DataObject) -> None:
    """Whatever the ends, an order that is found has the counts asked for, and no item follows itself."""
    counts = shares(range(items), turns)
    first, last = data.draw(st.integers(0, items - 1)), data.draw(st.integers(0, items - 1))
    order = arrange(counts, first, last)
    if order is not None:
        assert {i: order.count(i) for i in range(items)} == counts
        assert (order[0], order[-1]) == (first, last)
        assert all(a != b for a, b in pairwise(order))
    else:
        # Only ends that cannot be had are refused: too few turns for them, or two things that must alternate.
        assert items == 2 or turns <= 2 * items or first == last


def test_what_must_not_stand_together_at_the_end() -> None:
    """A pair named apart never closes, as long as another order is there."""
    order = arrange({"A": 2, "B": 2, "C": 2}, "A", "C", lambda a, b: {a, b} == {"B", "C"})
    assert order is not None
    assert order[-2:] == ("A", "C")
    assert arrange({"A": 1, "B": 1}, "A", "B", lambda a, b: True) is None


def test_minutes_are_cut_as_even_as_can_be() -> None:
    """25 minutes in eight turns are one of four and seven of three."""
    assert even(25, 8) == (4, 3, 3, 3, 3, 3, 3, 3)


@pytest.mark.parametrize("minutes", [0, -5, 241, 2.5, "20", True, None])
def test_impossible_minutes_are_refused(minutes) -> None:
    """A plan is of 1 to 240 whole minutes."""
    with pytest.raises(BadInput, match="1 to 240"):
        checked_minutes(minutes)
