"""The estimates beside the ledger: always what the takes themselves give, however the rows came in."""

import json
import sqlite3
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coach.practice import keptfigures
from coach.practice.estimates import Estimates, beside
from coach.practice.exchange import merge
from coach.practice.kin import steadies_of
from coach.practice.ledger import Ledger
from coach.practice.steady import evidence_of
from coach.practice.trials import days_of
from tests.practice.made import NOW, TODAY, ladder

DRILLS = ladder()
law = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
played = st.lists(
    st.tuples(
        st.sampled_from(["landing-walk", "two-lamps"]),
        st.integers(0, 40),  # days ago
        st.sampled_from(["full", "full", "thumb"]),
        st.sampled_from(["play", "play", "sing"]),
        st.integers(60, 120),
        st.lists(st.booleans(), max_size=5),  # no pass: a take cut off, or logged by hand
    ),
    max_size=30,
)


def write(ledger: Ledger, drill: str, days_ago: int, layer: str, mode: str, tempo: int, passes: list[bool]) -> None:
    """A take with its passes; one without any is logged by hand when its tempo is odd."""
    at = NOW - timedelta(days=days_ago)
    if not passes and tempo % 2:
        ledger.add_whole_take(drill, tempo, "held", bars=12, stumbles=2, at=at, layer=layer, mode=mode)
        return
    take = ledger.begin_take(drill, tempo, layer, at, mode)
    for n, clean in enumerate(passes):
        ledger.add_pass(take, n + 1, tempo + n, 4, int(not clean), layer, at=at)


def evening(ledger: Ledger, drill: str = "two-lamps", days_ago: int = 1) -> None:
    """Eight clean and two stumbled passes, around 80 bpm."""
    write(ledger, drill, days_ago, "full", "play", 80, [True] * 4 + [False])
    write(ledger, drill, days_ago, "full", "play", 80, [True] * 4 + [False])


def same_as_the_takes(estimates: Estimates, ledger: Ledger) -> None:
    """Every drill's evidence is what its takes give by themselves, and so are the figures with kin."""
    for drill in DRILLS:
        for layer in ("full", "thumb"):
            takes = ledger.takes(drill.id)
            assert estimates.evidence(drill.id, layer) == evidence_of(days_of(takes, layer))
    of_takes = steadies_of(DRILLS, {d.id: ledger.takes(d.id) for d in DRILLS}, TODAY)
    assert estimates.steadies(DRILLS, TODAY) == of_takes


@law
@given(played, st.integers(0, 30))
def test_take_by_take_all_at_once_and_from_the_takes_it_is_the_same(tmp_path: Path, takes, first: int) -> None:
    """Counted in bit by bit, in two parts or rebuilt: one result, to the last bit."""
    for file in tmp_path.iterdir():
        file.unlink()
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        for n, one in enumerate(takes):
            write(ledger, *one)
            if n == first:
                estimates.refresh()
        same_as_the_takes(estimates, ledger)
        estimates.rebuild()
        same_as_the_takes(estimates, ledger)


def test_a_new_take_touches_its_own_drill_alone(tmp_path) -> None:
    """After an evening of one drill one is worked out anew; with nothing new, none."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        evening(ledger, "two-lamps")
        evening(ledger, "landing-walk")
        assert estimates.refresh() == 2
        evening(ledger, "landing-walk", days_ago=0)
        assert estimates.refresh() == 1
        assert estimates.refresh() == 0


@law
@given(played, st.integers(0, 30), st.integers(1, 5))
def test_figures_kept_from_coach_to_coach_are_those_of_the_takes(tmp_path: Path, takes, more: int, every: int) -> None:
    """Asked for now and then, by a coach that stays open and by one opened anew, on this day and on a later one: the
    figures with kin are those the takes give at once, whichever drill's passes came in between."""
    for file in tmp_path.iterdir():
        file.unlink()
    takes = [*takes, *(("two-lamps", n, "full", "play", 80, [True, True, False]) for n in range(more))]
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as stays:
        for n, one in enumerate(takes):
            write(ledger, *one)
            if n % every == 0:
                own = {d.id: ledger.takes(d.id) for d in DRILLS}
                later = TODAY + timedelta(days=n)
                assert stays.steadies(DRILLS, TODAY) == steadies_of(DRILLS, own, TODAY)
                with Estimates(ledger) as anew:
                    assert anew.steadies(DRILLS, later) == steadies_of(DRILLS, own, later)
        same_as_the_takes(stays, ledger)


def test_what_stands_is_not_worked_out_again(tmp_path, monkeypatch) -> None:
    """A coach opened anew works out no belief; after an evening of one drill those that are near of kin at most."""
    asked: list[str] = []
    plain = keptfigures.places
    monkeypatch.setattr(keptfigures, "places", lambda *told: asked.append("") or plain(*told))
    with Ledger(tmp_path / "a.db") as ledger:
        for drill in ("landing-walk", "two-lamps", "quick-oars"):
            for days_ago in range(6, 0, -1):
                evening(ledger, drill, days_ago)
        with Estimates(ledger) as estimates:
            first = estimates.steadies(DRILLS, TODAY)
        assert len(first) == len(asked) == 3
        with Estimates(ledger) as estimates:
            assert estimates.steadies(DRILLS, TODAY) == first
            assert len(asked) == 3
            evening(ledger, "two-lamps", days_ago=0)
            second = estimates.steadies(DRILLS, TODAY)
            assert second["two-lamps"] != first["two-lamps"]
            assert 4 <= len(asked) <= 6


def test_a_target_of_another_tempo_moves_what_is_lent(tmp_path) -> None:
    """The wide prior lies between first and target tempo: with another target the figures kept are not used."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        evening(ledger)
        estimates.steadies(DRILLS, TODAY)
        faster = tuple(replace(d, target_bpm=d.target_bpm + 40) for d in DRILLS)
        assert estimates.steadies(faster, TODAY) == steadies_of(faster, {"two-lamps": ledger.takes()}, TODAY)


def test_a_layer_whose_days_have_gone_by_has_no_figure(tmp_path) -> None:
    """Six evenings of the whole, then sixteen of the thumb alone: nothing is known of the whole any more."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        for days_ago in range(25, 19, -1):
            evening(ledger, days_ago=days_ago)
        assert "two-lamps" in estimates.steadies(DRILLS, TODAY)
        for days_ago in range(16, 0, -1):
            write(ledger, "two-lamps", days_ago, "thumb", "play", 80, [True, False])
        assert estimates.steadies(DRILLS, TODAY) == {}
        same_as_the_takes(estimates, ledger)


def test_they_are_kept_beside_the_ledger(tmp_path) -> None:
    """The file carries the ledger's name, and the next coach has nothing to work out."""
    path = tmp_path / "ledger.sqlite3"
    with Ledger(path) as ledger:
        evening(ledger)
        with Estimates(ledger) as first:
            assert first.path == beside(path) == tmp_path / "ledger.estimates.sqlite3"
            kept = first.evidence("two-lamps")
        with Estimates(ledger) as second:
            assert second.refresh() == 0
            assert second.evidence("two-lamps") == kept is not None


@pytest.mark.parametrize("harm", ["gone", "text", "cut short", "other layout"])
def test_thrown_away_damaged_or_of_another_layout_it_is_made_anew(tmp_path, harm: str) -> None:
    """Whatever becomes of the file, the figures are those of the ledger."""
    with Ledger(tmp_path / "a.db") as ledger:
        evening(ledger)
        with Estimates(ledger) as estimates:
            path = estimates.path
            estimates.refresh()
        if harm == "gone":
            path.unlink()
        elif harm == "text":
            path.write_text("no database at all, " * 99)
        elif harm == "cut short":
            path.write_bytes(path.read_bytes()[:5000])
        else:
            with sqlite3.connect(path) as db:
                db.execute("PRAGMA user_version = 99")
                db.execute("UPDATE kept SET days = '{}', along = NULL")
            db.close()
        with Estimates(ledger) as estimates:
            same_as_the_takes(estimates, ledger)


def test_without_a_place_to_write_they_live_in_memory(tmp_path) -> None:
    """The folder where the file should lie is a file: the figures are there all the same."""
    (tmp_path / "in-the-way").write_text("")
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger, tmp_path / "in-the-way" / "e.db") as estimates:
        evening(ledger)
        same_as_the_takes(estimates, ledger)


def test_another_ledger_in_its_place_is_noticed(tmp_path) -> None:
    """A copy of last week put back, and then played on: nothing of the lost evening is left in the figures."""
    with Ledger(tmp_path / "a.db") as ledger:
        evening(ledger, days_ago=9)
        with Estimates(ledger, tmp_path / "e.db") as estimates:
            write(ledger, "two-lamps", 2, "full", "play", 140, [False] * 5)
            estimates.refresh()
    with Ledger(tmp_path / "b.db") as other, Estimates(other, tmp_path / "e.db") as estimates:
        evening(other, "landing-walk")
        evening(other, "landing-walk", days_ago=0)
        same_as_the_takes(estimates, other)


def test_merged_evenings_count_whenever_they_come(tmp_path) -> None:
    """Takes of another machine, older and newer than those here, give what one ledger would have given."""
    with Ledger(tmp_path / "a.db") as here, Ledger(tmp_path / "b.db") as there, Estimates(here) as estimates:
        for days_ago in (12, 6, 3):
            evening(here, days_ago=days_ago)
        estimates.refresh()
        for days_ago in (20, 5, 1):
            write(there, "two-lamps", days_ago, "full", "play", 92, [True, True, False])
        merge(here, there.path)
        same_as_the_takes(estimates, here)


def test_two_coaches_count_a_take_once(tmp_path) -> None:
    """With two coaches open on one ledger a new take is counted in once, and both have it."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as first, Estimates(ledger) as second:
        for days_ago in (5, 4):
            evening(ledger, days_ago=days_ago)
            first.refresh()
            second.refresh()
            same_as_the_takes(first, ledger)
            same_as_the_takes(second, ledger)
        with sqlite3.connect(first.path) as db:
            days = json.loads(db.execute("SELECT days FROM kept").fetchone()[0])
        db.close()
        assert [sum(c + s for *_, c, s in day["full"]) for day in days.values()] == [10, 10]


def test_local_days_are_the_players_own(tmp_path) -> None:
    """A take late in the evening counts for that evening, whatever the date is in UTC."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        at = datetime.fromisoformat("2026-03-09T23:30:00-08:00")
        take = ledger.begin_take("two-lamps", 80, at=at)
        ledger.add_pass(take, 1, 80, 4, at=at)
        evidence = estimates.evidence("two-lamps")
        assert evidence is not None
        assert evidence.last_day.isoformat() == "2026-03-09"
