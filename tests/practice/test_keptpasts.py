"""Pasts kept beside the ledger: always what the takes themselves give, and so is a plan made from them."""

import sqlite3
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coach.practice.edits import Wishes
from coach.practice.estimates import Estimates, beside
from coach.practice.exchange import merge
from coach.practice.ledger import Ledger
from coach.practice.load import minutes_by_day
from coach.practice.past import past_of, pasts_of
from coach.practice.planner import plan
from coach.practice.playing import playing_of
from coach.practice.takes import VERDICTS
from tests.practice.made import NOW, TODAY, ladder, take
from tests.practice.test_estimates import evening, write

DRILLS = ladder()
law = settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
deeds = st.lists(
    st.tuples(
        st.sampled_from(["landing-walk", "two-lamps", "slow-tide"]),
        st.integers(0, 40),  # days ago
        st.sampled_from(["full", "full", "thumb"]),
        st.sampled_from(["play", "play", "sing"]),
        st.integers(60, 120),
        st.lists(st.booleans(), max_size=5),
        st.sampled_from([None, *VERDICTS]),
        st.booleans(),  # the plan is looked at after it
    ),
    max_size=25,
)


def kept_as_told(estimates: Estimates, ledger: Ledger) -> None:
    """What is kept is what all takes give, and so is the plan."""
    takes = ledger.takes()
    assert estimates.pasts() == pasts_of(takes)
    assert estimates.minutes() == minutes_by_day((t.local_day, t.at) for t in takes)
    steady_of = estimates.steady_of(DRILLS, TODAY)
    kept = {"pasts": estimates.pasts(), "playing": playing_of(takes, NOW), "steady_of": steady_of}
    for minutes, wishes in ((20, Wishes()), (50, Wishes(pinned=("quick-oars",), skipped=("two-lamps",)))):
        made = plan(DRILLS, (), NOW, minutes, wishes=wishes, **kept)
        assert made == plan(DRILLS, takes, NOW, minutes, wishes=wishes)


@law
@given(deeds)
def test_looked_at_whenever_or_built_at_once_the_plan_is_that_of_the_takes(tmp_path: Path, deeds) -> None:
    """Takes in any order of days, verdicts given later, takes logged by hand: a cached plan equals one from scratch."""
    for file in tmp_path.iterdir():
        file.unlink()
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        for *one, word, looked in deeds:
            write(ledger, *one)
            if looked:
                estimates.pasts()
            if word:  # comes when the take has been seen already
                ledger.give_verdict(ledger.takes()[-1].id, word, at=NOW)
        kept_as_told(estimates, ledger)
        estimates.rebuild()
        kept_as_told(estimates, ledger)


@law
@given(st.lists(st.integers(0, 60), min_size=1, max_size=20), st.integers(0, 20), st.randoms(use_true_random=False))
def test_a_past_goes_on_from_where_it_was(days: list[int], cut: int, chance) -> None:
    """Folded up to an evening and from there on, it is the past of all takes at once."""
    takes = [
        take("a", d, clean=chance.randint(0, 6), stumbled=chance.randint(0, 4), tempo=chance.randint(60, 100))
        for d in sorted(set(days), reverse=True)
    ]
    before = past_of(takes[:cut])
    assert past_of(takes[cut:], before) == past_of(takes)


def test_only_the_open_evening_is_read_again(tmp_path, monkeypatch) -> None:
    """After a new pass of tonight's take the ledger is asked for tonight's takes alone, not for all of the drill."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        for n in range(9, 0, -1):
            evening(ledger, days_ago=n)
        estimates.pasts()
        id_ = ledger.begin_take("two-lamps", 80, at=NOW)
        ledger.add_pass(id_, 1, 80, 4, at=NOW)
        read = []
        whole = ledger.takes
        monkeypatch.setattr(ledger, "takes", lambda *a, **k: read.append((a, k)) or whole(*a, **k))
        past = estimates.pasts()["two-lamps"]
        assert [len(k["ids"]) for a, k in read] == [3]  # yesterday's two and tonight's
        monkeypatch.undo()
        assert past == past_of(ledger.takes("two-lamps"))


def test_a_merged_ledger_changes_what_was_folded(tmp_path) -> None:
    """Older evenings come in from another machine: the drill is folded anew."""
    with Ledger(tmp_path / "a.db") as ledger, Ledger(tmp_path / "b.db") as other, Estimates(ledger) as estimates:
        evening(ledger, days_ago=2)
        estimates.pasts()
        for n in (9, 5, 3):
            evening(other, days_ago=n)
        merge(ledger, other.path)
        kept_as_told(estimates, ledger)
        assert estimates.pasts()["two-lamps"].memory.days == 4


def test_another_ledger_in_its_place_is_seen(tmp_path) -> None:
    """The file of estimates of one ledger is not believed for another."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        evening(ledger)
        estimates.pasts()
    for file in tmp_path.glob("a.db*"):
        file.unlink()
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        evening(ledger, "slow-tide", 4)
        kept_as_told(estimates, ledger)
        assert set(estimates.pasts()) == {"slow-tide"}


def test_a_damaged_file_costs_nothing_but_time(tmp_path) -> None:
    """Rows that cannot be read are made anew from the ledger when the file is opened the next time."""
    with Ledger(tmp_path / "a.db") as ledger:
        evening(ledger)
        with Estimates(ledger) as estimates:
            estimates.pasts()
        beside(ledger.path).write_bytes(b"not a database at all" * 50)
        with Estimates(ledger) as estimates:
            kept_as_told(estimates, ledger)


def test_two_coaches_fold_each_row_once(tmp_path) -> None:
    """Two open files of estimates beside one ledger agree, whichever looked first."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as one, Estimates(ledger) as two:
        evening(ledger, days_ago=3)
        assert one.pasts() == two.pasts()
        evening(ledger, days_ago=1)
        assert two.pasts() == one.pasts() == pasts_of(ledger.takes())


def test_what_is_kept_is_small(tmp_path) -> None:
    """Two hundred evenings of one drill come to a row of a few kilobytes: the past, not the takes."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        for n in range(200, 0, -1):
            write(ledger, "two-lamps", n, "full", "play", 60 + n % 30, [True] * 4)
        estimates.pasts()
        with sqlite3.connect(estimates.path) as db:
            (size,) = db.execute("SELECT length(before) + length(open) + length(past) FROM pasts").fetchone()
        assert size < 6000


# Minutes of practice


def test_minutes_run_from_the_first_take_to_the_last() -> None:
    """18:00, 18:04, 18:09: nine minutes and a turn of three; after a pause of an hour another turn counts."""
    at = [datetime(2026, 3, 9, 18, m, tzinfo=NOW.tzinfo) for m in (9, 0, 4)]
    day = date(2026, 3, 9)
    assert minutes_by_day((day, a) for a in at) == {day: 12}
    assert minutes_by_day((day, a) for a in (*at, at[0] + timedelta(hours=1))) == {day: 15}


@pytest.mark.parametrize("field", ["held_day", "memory"])
def test_a_past_without_a_held_day_is_read_back(tmp_path, field) -> None:
    """A drill never held, one only begun: None stays None in the file."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        ledger.begin_take("two-lamps", 80, at=NOW)
        past = estimates.pasts()["two-lamps"]
        assert getattr(past, field) is None
        assert past == pasts_of(ledger.takes())["two-lamps"]


def test_a_player_who_forgets_fast_has_things_back_sooner_kept_or_not(tmp_path: Path) -> None:
    """Clean from day to day, stumbling after ten days away: nothing waits three weeks any more, in the
    kept pasts as in those from all takes; also when the evenings are looked at one by one."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        for number, name in enumerate(("landing-walk", "two-lamps", "slow-tide", "reed-bank")):
            for days_ago in range(160 - number, 0, -11):
                for away, clean in ((0, False), (1, True)):
                    at = NOW - timedelta(days=days_ago - away)
                    id_ = ledger.begin_take(name, 80, at=at)
                    for n in range(4):
                        ledger.add_pass(id_, n + 1, 80, 4, 0 if clean or n == 3 else 1, at=at)
                    ledger.give_verdict(id_, "flowing" if clean else "held", at=at)
            estimates.pasts()
        kept_as_told(estimates, ledger)
        wait = estimates.keeping().wait
        assert 3 <= wait < 21
        assert estimates.keeping().words is not None
        dues = [(past.memory.due - past.memory.last_day).days for past in estimates.pasts().values() if past.memory]
        assert max(dues) <= wait
        estimates.rebuild()
        kept_as_told(estimates, ledger)
