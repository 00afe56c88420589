"""What is kept beside the ledger: always what the takes themselves give, however the rows came in; else thrown away."""

import sqlite3
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coach.errors import CoachError
from coach.log.exchange import merge
from coach.log.ledger import Ledger
from coach.log.playing_time import playing_of
from coach.log.takes import VERDICTS
from coach.plan.planner import plan
from coach.plan.wishes import Wishes
from coach.skill import estimates as room
from coach.skill.estimates import Estimates, beside
from coach.skill.history import past_of, pasts_of, returns_of
from coach.skill.kin import steadies_of
from coach.skill.pass_counts import days_of
from coach.skill.retention import keeping
from coach.skill.steady_tempo import evidence_of
from tests.made_takes import NOW, TODAY, ladder, take

DRILLS = ladder()
SUNG, SUNG_FULL = "ferry-song/plain/part/verse/sing", "ferry-song/plain/part/verse/sing-full"
law = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
layers = st.sampled_from(["full", "full", "full", "thumb", "thinner"])
goes = st.lists(
    st.fixed_dictionaries(
        {
            "drill": st.sampled_from(
                ["landing-walk", "two-lamps", "slow-tide", SUNG, SUNG_FULL, "ferry-song/plain/spoken/verse"]
            ),
            "days": st.integers(0, 50),
            "hours": st.integers(-11, 12),  # from UTC: a local day may come again, or before the one before
            "layer": layers,
            "mode": st.sampled_from(["play", "play", "sing"]),
            "tempo": st.integers(60, 120),
            "by_hand": st.booleans(),
            "passes": st.lists(
                st.tuples(st.integers(60, 120), st.sampled_from([0, 4, 4, 8]), st.booleans(), layers), max_size=6
            ),
            "apart": st.booleans(),  # some passes are written down after all takes
            "words": st.lists(st.sampled_from(VERDICTS), max_size=2),
            "looked": st.booleans(),  # what is kept is asked for after it
        }
    ),
    max_size=25,
)


def write(ledger: Ledger, takes, estimates: Estimates | None = None) -> None:
    """The takes in the order given; passes of some lie apart, the later ones with the lower numbers."""
    later = []
    for n, one in enumerate(takes):
        at = datetime(2026, 3, 10, 19, n % 60, tzinfo=UTC) - timedelta(days=one["days"])
        at = at.astimezone(timezone(timedelta(hours=one["hours"])))
        told = {"layer": one["layer"], "mode": one["mode"], "at": at}
        if one["by_hand"] and not one["passes"]:
            ledger.add_whole_take(one["drill"], one["tempo"], "held", bars=n % 13, stumbles=n % 5, **told)
            continue
        id_ = ledger.begin_take(one["drill"], one["tempo"], **told)
        for k, (tempo, bars, clean, layer) in enumerate(one["passes"]):
            row = (id_, k + 1, tempo, bars, int(not clean), layer)
            if one["apart"] and k < 2:
                later.append((row, at))
            else:
                ledger.add_pass(*row, at=at)
        if one["looked"] and estimates is not None:
            estimates.pasts()
        for k, word in enumerate(one["words"]):
            ledger.give_verdict(id_, word, at=at + timedelta(minutes=5 - k))
    for row, at in reversed(later):
        ledger.add_pass(*row, at=at)


def evening(ledger: Ledger, drill: str = "two-lamps", days_ago: int = 1) -> None:
    """Eight clean and two stumbled passes, around 80 bpm."""
    at = NOW - timedelta(days=days_ago)
    for _ in range(2):
        id_ = ledger.begin_take(drill, 80, at=at)
        for n, clean in enumerate([True] * 4 + [False]):
            ledger.add_pass(id_, n + 1, 80 + n, 4, int(not clean), at=at)


def same_as_the_takes(estimates: Estimates, ledger: Ledger) -> None:
    """All that is kept is what the takes give, and so is the plan that is made of it."""
    takes = ledger.takes()
    own = {t.drill: [u for u in takes if u.drill == t.drill] for t in takes}
    assert estimates.pasts() == pasts_of(takes)
    assert set(estimates.played()) == set(own)
    for drill, played in own.items():
        for layer in ("full", "thumb", "thinner"):
            assert estimates.evidence(drill, layer) == evidence_of(days_of(played, layer))
    assert estimates.steadies(DRILLS, TODAY) == steadies_of(DRILLS, own, TODAY)
    kept = {"pasts": estimates.pasts(), "playing": playing_of(takes, NOW)}
    for minutes, wishes in ((20, Wishes()), (50, Wishes(pinned=("quick-oars",), skipped=("two-lamps",)))):
        steady_of = estimates.steady_of(DRILLS, TODAY)
        made = plan(DRILLS, (), NOW, minutes, wishes=wishes, steady_of=steady_of, **kept)
        assert made == plan(DRILLS, takes, NOW, minutes, wishes=wishes)


@law
@given(goes, st.integers(0, 25))
def test_grown_merged_or_made_at_once_it_is_what_the_takes_give(tmp_path: Path, takes, cut: int) -> None:
    """Thin layers, sung and spoken drills, other zones, takes by hand or cut off, passes and second words that come
    late, in one ledger or laid together from two, looked at now and then by a coach that stays open: it is what the
    takes give at once."""
    for file in tmp_path.iterdir():
        file.unlink()
    with Ledger(tmp_path / "a.db") as ledger, Ledger(tmp_path / "b.db") as other, Estimates(ledger) as grown:
        write(ledger, takes[:cut], grown)
        same_as_the_takes(grown, ledger)
        write(other, takes[cut:])
        merge(ledger, other.path)
        same_as_the_takes(grown, ledger)
        with Estimates(ledger, tmp_path / "anew.sqlite3") as at_once:
            same_as_the_takes(at_once, ledger)


def test_a_new_take_touches_its_own_drill_alone(tmp_path, monkeypatch) -> None:
    """After an evening of one drill that one is folded anew; with nothing new, none, nor by the next coach."""
    with Ledger(tmp_path / "ledger.sqlite3") as ledger:
        with Estimates(ledger) as estimates:
            assert estimates.path == beside(ledger.path) == tmp_path / "ledger.estimates.sqlite3"
            evening(ledger, "two-lamps")
            evening(ledger, "landing-walk")
            assert estimates.refresh() == 2
            evening(ledger, "landing-walk", days_ago=0)
            assert estimates.refresh() == 1
            assert estimates.refresh() == 0
            figures = estimates.steadies(DRILLS, TODAY)
        monkeypatch.setattr(room, "places", None)  # no belief is worked out again
        monkeypatch.setattr(ledger, "takes", None)  # no take is read again
        with Estimates(ledger) as estimates:
            assert estimates.refresh() == 0
            assert estimates.steadies(DRILLS, TODAY) == figures != {}


def test_with_much_that_is_new_all_is_read_at_once(tmp_path, monkeypatch) -> None:
    """Older evenings of many drills come in from another machine: no drill is asked for by itself."""
    monkeypatch.setattr(room, "_MOST_DRILLS", 3)
    with Ledger(tmp_path / "a.db") as ledger, Ledger(tmp_path / "b.db") as other, Estimates(ledger) as estimates:
        for name in (drill.id for drill in DRILLS):
            evening(ledger, name, 2)
            evening(other, name, 9)
        assert estimates.refresh() == len(DRILLS)
        merge(ledger, other.path)
        asked, whole = [], ledger.takes
        with monkeypatch.context() as patch:
            patch.setattr(ledger, "takes", lambda *a, **k: asked.append((a, k)) or whole(*a, **k))
            assert estimates.refresh() == len(DRILLS)
        assert asked == [((), {})]
        same_as_the_takes(estimates, ledger)


def test_a_target_of_another_tempo_moves_what_is_lent(tmp_path) -> None:
    """The wide prior lies between first and target tempo: with another target the figures kept are not used."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        evening(ledger)
        estimates.steadies(DRILLS, TODAY)
        faster = tuple(replace(d, target_bpm=d.target_bpm + 40) for d in DRILLS)
        assert estimates.steadies(faster, TODAY) == steadies_of(faster, {"two-lamps": ledger.takes()}, TODAY)


def not_of_this_ledger(path: Path) -> None:
    """Change all that is kept, as an older program would have left it."""
    with sqlite3.connect(path) as db:
        db.execute("UPDATE drills SET past = '[]', days = '[]', along = NULL")
    db.close()


@pytest.mark.parametrize("harm", ["gone", "text", "cut short", "other layout", "bytes", "values", "older tables"])
def test_whatever_becomes_of_the_file_it_is_made_anew(tmp_path, harm: str) -> None:
    """Damaged, of another layout, or kept by an older program: the answers are those of the ledger."""
    with Ledger(tmp_path / "a.db") as ledger:
        evening(ledger)
        with Estimates(ledger) as estimates:
            path = estimates.path
            estimates.steadies(DRILLS, TODAY)
        if harm == "gone":
            path.unlink()
        elif harm == "text":
            path.write_text("no database at all, " * 99)
        elif harm == "cut short":
            path.write_bytes(path.read_bytes()[:5000])
        elif harm == "bytes":
            told = path.read_bytes()
            path.write_bytes(told[:4096] + bytes(255 - b for b in told[4096:]))
        elif harm == "values":
            not_of_this_ledger(path)
        elif harm == "other layout":
            not_of_this_ledger(path)
            with sqlite3.connect(path) as db:
                db.execute("PRAGMA user_version = 99")
            db.close()
        else:
            path.unlink()
            with sqlite3.connect(path) as db:
                db.execute("CREATE TABLE seen (what TEXT PRIMARY KEY, row INTEGER NOT NULL, mark TEXT NOT NULL)")
                db.execute("PRAGMA user_version = 11")
            db.close()
        for _ in range(2):
            with Estimates(ledger) as estimates:
                same_as_the_takes(estimates, ledger)


@pytest.mark.parametrize("doubt", ["another ledger", "it shrank", "rows were changed", "the clock was set"])
def test_on_any_doubt_all_is_made_anew(tmp_path, monkeypatch, doubt: str) -> None:
    """A copy of last week put back and played on, tables that were changed, a clock that ran ahead."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger, tmp_path / "e.db") as estimates:
        evening(ledger, "slow-tide", 9)
        if doubt == "the clock was set":
            monkeypatch.setattr("coach.log.local_days.now_here", lambda: datetime.now(UTC) + timedelta(days=40))
            ledger.add_whole_take("two-lamps", 90, "held", bars=8, at=datetime.now(UTC) + timedelta(days=30))
        evening(ledger)
        estimates.steadies(DRILLS, TODAY)
    if doubt in ("another ledger", "it shrank"):
        for file in tmp_path.glob("a.db*"):
            file.unlink()
        with Ledger(tmp_path / "a.db") as ledger:
            evening(ledger, "landing-walk")
            if doubt == "another ledger":
                evening(ledger, "landing-walk", days_ago=0)
                evening(ledger, "landing-walk", days_ago=0)
    elif doubt == "rows were changed":
        with sqlite3.connect(tmp_path / "a.db") as db:
            db.execute("DROP TRIGGER passes_no_update")
            db.execute("UPDATE passes SET clean = 0")
        db.close()
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger, tmp_path / "e.db") as estimates:
        same_as_the_takes(estimates, ledger)


def test_an_entry_ahead_of_its_time_counts_when_it_has_come(tmp_path, monkeypatch) -> None:
    """A take of next month, merged in by an older program, is left out and told of; a month later it is a take."""
    ahead = datetime.now(UTC) + timedelta(days=30)
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        evening(ledger)
        row = ("f" * 32, ahead.strftime("%Y-%m-%dT%H:%M:%S.000000Z"), ahead.date().isoformat(), "slow-tide", 80.0)
        with ledger.transaction() as db:
            db.execute("INSERT INTO takes VALUES (?, ?, ?, ?, ?, 'full', 'play')", row)
        assert set(estimates.pasts()) == {"two-lamps"}
        assert "1 entry" in estimates.troubles()[0]
        was = estimates._made_of()
        assert estimates._still(estimates._as_it_is(), was)
        for clock in (ahead, NOW - timedelta(days=30)):  # the time has come; or the clock ran ahead and was set back
            monkeypatch.setattr(room, "now_here", lambda clock=clock: clock)
            assert not estimates._still(estimates._as_it_is(), was)


def test_without_a_place_to_write_they_live_in_memory(tmp_path) -> None:
    """The folder where the file should lie is a file: the figures are there all the same."""
    (tmp_path / "in-the-way").write_text("")
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger, tmp_path / "in-the-way" / "e.db") as estimates:
        evening(ledger)
        same_as_the_takes(estimates, ledger)


def test_two_coaches_count_a_take_once(tmp_path) -> None:
    """With two coaches open on one ledger both have what is new, whichever looked first."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as first, Estimates(ledger) as second:
        for days_ago in (5, 4):
            evening(ledger, days_ago=days_ago)
            assert first.refresh() == 1
            assert second.refresh() == 0
            same_as_the_takes(first, ledger)
            same_as_the_takes(second, ledger)


def test_what_is_given_up_leaves_all_as_it_was(tmp_path) -> None:
    """The program is left while all is made anew: the next one finds what was kept, or makes it."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        evening(ledger, days_ago=3)
        same_as_the_takes(estimates, ledger)
        evening(ledger, days_ago=2)
        room.give_up()
        try:
            with pytest.raises(CoachError, match="given up"):
                estimates.pasts()
        finally:
            room._GIVEN_UP.clear()
        same_as_the_takes(estimates, ledger)


@law
@given(st.lists(st.integers(0, 60), min_size=1, max_size=20), st.integers(0, 20), st.randoms(use_true_random=False))
def test_a_past_goes_on_from_where_it_was(days: list[int], cut: int, chance) -> None:
    """Folded up to an evening and from there on, it is the past of all takes at once."""
    takes = [
        take("a", d, clean=chance.randint(0, 6), stumbled=chance.randint(0, 4), tempo=chance.randint(60, 100))
        for d in sorted(set(days), reverse=True)
    ]
    assert past_of(takes[cut:], past_of(takes[:cut])) == past_of(takes)


def test_a_player_who_forgets_fast_has_things_back_sooner(tmp_path: Path) -> None:
    """Clean from day to day, stumbling after ten days away: nothing waits three weeks any more, in the kept pasts as
    in those from all takes."""
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
        same_as_the_takes(estimates, ledger)
        keeps = keeping(returns_of(estimates.pasts().values()))
        wait = keeps.wait
        assert 3 <= wait < 21
        assert keeps.words is not None
        dues = [(past.memory.due - past.memory.last_day).days for past in estimates.pasts().values() if past.memory]
        assert max(dues) <= wait


def test_local_days_are_the_players_own(tmp_path) -> None:
    """A take late in the evening counts for that evening, whatever the date is in UTC."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        at = datetime.fromisoformat("2026-03-09T23:30:00-08:00")
        begun = ledger.begin_take("two-lamps", 80, at=at)
        ledger.add_pass(begun, 1, 80, 4, at=at)
        evidence = estimates.evidence("two-lamps")
        assert evidence is not None
        assert evidence.last_day.isoformat() == "2026-03-09"
