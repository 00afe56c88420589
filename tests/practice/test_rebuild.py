"""The whole ledger read at once gives what its takes give one by one, however they lie in it."""

import json
import os
import sys
import time
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from threading import Event, Thread

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coach.errors import CoachError
from coach.practice import beside, keptpasts, rebuild, tally
from coach.practice.beside import FirstOne
from coach.practice.estimates import Estimates
from coach.practice.exchange import merge
from coach.practice.laid import lay
from coach.practice.ledger import Ledger, reading_of
from coach.practice.load import minutes_by_day
from coach.practice.past import past_of, pasts_of
from coach.practice.reading import Reading
from coach.practice.rebuild import everything
from coach.practice.steady import evidence_of
from coach.practice.takes import VERDICTS
from coach.practice.trials import days_in, days_of
from tests.practice.test_estimates import evening

law = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
SUNG = "ferry-song/plain/part/verse/sing"
SUNG_FULL = "ferry-song/plain/part/verse/sing-full"
layers = st.sampled_from(["full", "full", "full", "thumb", "thinner"])
passes = st.tuples(st.integers(60, 120), st.sampled_from([0, 4, 4, 8]), st.booleans(), layers)
goes = st.lists(
    st.fixed_dictionaries(
        {
            "drill": st.sampled_from(["two-lamps", "slow-tide", SUNG, SUNG_FULL, "ferry-song/plain/spoken/verse"]),
            "days": st.integers(0, 50),
            "hours": st.integers(-11, 12),  # from UTC: a local day may come again, or before the one before
            "layer": layers,
            "mode": st.sampled_from(["play", "play", "sing"]),
            "tempo": st.integers(60, 120),
            "by_hand": st.booleans(),
            "passes": st.lists(passes, max_size=6),
            "apart": st.booleans(),  # some passes are written down after all takes
            "words": st.lists(st.sampled_from(VERDICTS), max_size=2),
        }
    ),
    max_size=25,
)


def write(ledger: Ledger, takes) -> None:
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
            where = later if one["apart"] and k < 2 else None
            row = (id_, k + 1, tempo, bars, int(not clean), layer)
            if where is None:
                ledger.add_pass(*row, at=at)
            else:
                where.append((row, at))
        for k, word in enumerate(one["words"]):
            ledger.give_verdict(id_, word, at=at + timedelta(minutes=5 - k))
    for row, at in reversed(later):
        ledger.add_pass(*row, at=at)


def told_as_by_takes(ledger: Ledger, estimates: Estimates) -> None:
    """What is kept is what the takes give: pasts, minutes, evidence of every drill and layer."""
    takes = ledger.takes()
    assert estimates.pasts() == pasts_of(takes)
    assert estimates.minutes() == minutes_by_day((t.local_day, t.at) for t in takes)
    for drill in {t.drill for t in takes}:
        own = [t for t in takes if t.drill == drill]
        for layer in ("full", "thumb", "thinner"):
            assert estimates.evidence(drill, layer) == evidence_of(days_of(own, layer))


@law
@given(goes, st.integers(0, 25))
def test_grown_merged_or_read_at_once_it_is_what_the_takes_give(tmp_path: Path, takes, cut: int) -> None:
    """Thin layers, sung and spoken drills, other zones, takes by hand or cut off, passes and second words that come
    late, in one ledger or laid together from two: pasts, minutes and evidence are those of the takes."""
    for file in tmp_path.iterdir():
        file.unlink()
    with Ledger(tmp_path / "a.db") as ledger, Ledger(tmp_path / "b.db") as other, Estimates(ledger) as grown:
        write(ledger, takes[:cut])
        told_as_by_takes(ledger, grown)
        write(other, takes[cut:])
        merge(ledger, other.path)
        told_as_by_takes(ledger, grown)
        with Estimates(ledger, tmp_path / "anew.sqlite3") as at_once:
            told_as_by_takes(ledger, at_once)
            assert at_once.keeping() == grown.keeping()


@law
@given(goes)
def test_a_drill_is_told_with_its_latest_day_held_open(tmp_path: Path, takes) -> None:
    """The past before the latest day and that day's takes come to the whole past."""
    for file in tmp_path.iterdir():
        file.unlink()
    with Ledger(tmp_path / "a.db") as ledger:
        write(ledger, takes)
        own = {t.id: t for t in ledger.takes()}
        for told in everything(ledger).drills:
            opened = [own[id_] for id_ in told.opened]
            assert len({t.local_day for t in opened}) == 1
            assert past_of(opened, told.before) == told.past
            drills = [t for t in own.values() if t.drill == told.drill]
            assert days_in(told.window) == days_of(drills)


def test_much_that_is_new_is_read_with_all_the_rest(tmp_path, monkeypatch) -> None:
    """Beyond a share of new rows the whole ledger is read again, once, and the result is the same."""
    monkeypatch.setattr(tally, "_MANY", 20)
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        evening(ledger, days_ago=9)
        told_as_by_takes(ledger, estimates)
        for days_ago in range(8, 0, -1):
            evening(ledger, days_ago=days_ago)
        with monkeypatch.context() as patch:
            patch.setattr(keptpasts, "go_on", None)
            patch.setattr(tally, "counted", None)
            told_as_by_takes(ledger, estimates)


def test_where_many_drills_begin_anew_all_are_read_at_once(tmp_path) -> None:
    """Older evenings of many drills come in from another machine: no drill is asked for by itself."""
    names = [f"drill-{n}" for n in range(30)]
    with Ledger(tmp_path / "a.db") as ledger, Ledger(tmp_path / "b.db") as other, Estimates(ledger) as estimates:
        for name in names:
            evening(ledger, name, 5)
            evening(ledger, name, 2)
            evening(other, name, 9)
        told_as_by_takes(ledger, estimates)
        merge(ledger, other.path)
        asked = []
        whole = ledger.takes
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(ledger, "takes", lambda drill=None, **k: asked.append(drill) or whole(drill, **k))
            estimates.pasts()
        assert not any(asked)
        told_as_by_takes(ledger, estimates)


def test_what_is_written_while_all_is_read_is_taken_in_afterwards(tmp_path, monkeypatch) -> None:
    """A pass written by another coach in the middle of the reading is new the next time, not lost and not twice."""
    with Ledger(tmp_path / "a.db") as ledger, Ledger(tmp_path / "a.db") as other, Estimates(ledger) as estimates:
        evening(ledger, days_ago=3)
        from coach.practice import reading

        plain = reading.Reading._read_words

        def interrupted(self) -> None:
            evening(other, "slow-tide", 1)
            plain(self)

        monkeypatch.setattr(reading.Reading, "_read_words", interrupted)
        assert estimates.refresh() == 1
        monkeypatch.undo()
        assert estimates.refresh() == 1
        told_as_by_takes(ledger, estimates)


def reading_up_to(db, ends) -> Reading:
    """All that is read up to the ends of the tables."""
    return Reading(db, ends, lay(db, 0, ends["passes"][0]))


def test_what_came_after_the_ends_is_not_read(tmp_path) -> None:
    """A second process begins later than the first: passes, words, stumbles and takes written in between are left to
    the next time, or they would be counted twice."""
    with Ledger(tmp_path / "a.db") as ledger:
        evening(ledger, days_ago=3)
        id_ = ledger.begin_take("two-lamps", 80)
        ledger.add_pass(id_, 1, 80, 4)
        apart = ledger.begin_take("two-lamps", 80)
        for take, number in ((apart, 1), (id_, 2), (apart, 2)):
            ledger.add_pass(take, number, 80, 4)
        ledger.give_verdict(apart, "shaky")
        ledger.give_verdict(apart, "held")
        whole = ledger.add_whole_take("two-lamps", 84, "held", bars=12)
        ends = tally.ends(ledger.rows, tally.TOLD)
        with reading_of(ledger.path) as db:
            before = list(reading_up_to(db, ends).drills())
        for take in (id_, apart):
            ledger.add_pass(take, 3, 120, 4, 3)
            ledger.give_verdict(take, "lost")
        ledger.give_verdict(whole, "lost")
        ledger.add_stumble(whole, 1, 1, 80, 1)
        evening(ledger, "slow-tide", 1)
        with reading_of(ledger.path) as db:
            reading = reading_up_to(db, ends)
            assert list(reading.drills()) == before
            assert [len(reading.bars(w)) for _, days in before for day in days for w in day.whence][-3:] == [2, 2, 0]
            assert list(reading_up_to(db, tally.ends(ledger.rows, tally.TOLD)).drills()) != before


def test_layers_without_number(tmp_path) -> None:
    """Some hundred layers, as only a strange machine's ledger has them: none is taken for another."""
    with Ledger(tmp_path / "a.db") as ledger, Estimates(ledger) as estimates:
        for n in range(300):
            at = datetime(2026, 3, 10, 19, n % 60, tzinfo=UTC)
            id_ = ledger.begin_take("two-lamps", 80, layer=f"layer-{n}", at=at)
            for k in range(4):
                ledger.add_pass(id_, k + 1, 80 + k, 4, k % 2, layer=f"layer-{n + k // 2}")
        for n in (0, 253, 254, 255, 256, 257, 299, 300):
            name = f"layer-{n}"
            assert estimates.evidence("two-lamps", name) == evidence_of(days_of(ledger.takes(), name)) is not None
        told_as_by_takes(ledger, estimates)


def test_what_is_given_up_leaves_all_as_it_was(tmp_path, monkeypatch) -> None:
    """The program is left while all is made anew: at once, and the next one finds what was kept, or makes it."""
    monkeypatch.setattr(rebuild, "_STEPS", 1)
    with Ledger(tmp_path / "a.db") as ledger:
        evening(ledger, days_ago=3)
        with Estimates(ledger) as estimates:
            told_as_by_takes(ledger, estimates)
            evening(ledger, days_ago=2)
            monkeypatch.setattr(tally, "far", lambda *_: True)
            rebuild.give_up()
            try:
                with pytest.raises(CoachError, match="interrupted"):
                    estimates.pasts()
            finally:
                rebuild._GIVEN_UP.clear()
            told_as_by_takes(ledger, estimates)
        with Estimates(ledger) as estimates:
            told_as_by_takes(ledger, estimates)


@pytest.fixture
def long_one(tmp_path, monkeypatch):
    """A ledger that is called long, of drills of all kinds, on a machine of two cores."""
    monkeypatch.setattr(rebuild, "_LONG", 1)
    monkeypatch.setattr(rebuild, "_EVERY", 2)
    monkeypatch.setattr(rebuild.os, "cpu_count", lambda: 2)
    with Ledger(tmp_path / "a.db") as ledger:
        for days_ago in (9, 5, 2):
            for name in ("two-lamps", "slow-tide", SUNG, "rope-and-bell", SUNG_FULL):
                evening(ledger, name, days_ago)
        yield ledger


def test_a_second_process_reads_half(long_one, monkeypatch) -> None:
    """Both halves together are what one reading gives, and each process has its share."""
    with monkeypatch.context() as patch:
        patch.setattr(rebuild, "_LONG", 1000)
        alone = everything(long_one)
    own, plain = [], rebuild._told
    monkeypatch.setattr(rebuild, "_told", lambda drill, *rest: own.append(drill) or plain(drill, *rest))
    assert everything(long_one) == alone
    assert 0 < len(own) < len(alone.drills) == 5


@pytest.mark.parametrize("other", ["leaves", "fails", "tires", None])
def test_a_second_process_that_fails_is_done_without(long_one, monkeypatch, other: str | None) -> None:
    """It ends at once, badly, or after the passes were handed over, or cannot be started at all: its half is read
    here, and nothing is told of it."""
    with monkeypatch.context() as patch:
        patch.setattr(rebuild, "_LONG", 1000)
        alone = everything(long_one)
    if other is None:
        monkeypatch.setattr(beside.sys, "executable", str(long_one.path / "none"))
    else:
        monkeypatch.setattr(rebuild, "_SECOND_HALF", f"tests.practice.test_rebuild:{other}")
    assert everything(long_one) == alone


def leaves(*_: str) -> None:
    """A second process that has nothing to say."""


def fails(*_: str) -> None:
    """A second process that fails."""
    raise MemoryError


def tires(path: str, _: str, ends: str) -> None:
    """A second process that fails when the passes are handed over, in the middle of what it gives."""
    upto = json.loads(ends)["passes"][0]
    with reading_of(Path(path)) as db:
        FirstOne().swap(lay(db, upto // 2, upto))
    os.write(1, bytes([0, 0, 0, 0, 0, 0, 9, 9, 128, 5]))


def test_a_second_process_is_ended_with_the_program(long_one, monkeypatch) -> None:
    """The first one waits for it; then the program is left."""
    monkeypatch.setattr(rebuild, "_SECOND_HALF", "tests.practice.test_rebuild:waits")
    monkeypatch.setattr(rebuild, "_STEPS", 1)
    begun = Event()
    plain = rebuild.lay
    monkeypatch.setattr(rebuild, "lay", lambda *a: begun.set() or plain(*a))

    def leave() -> None:
        begun.wait(60)
        rebuild.give_up()

    leaver = Thread(target=leave)
    leaver.start()
    try:
        with pytest.raises(CoachError, match="interrupted"):
            everything(long_one)
    finally:
        leaver.join()
        rebuild._GIVEN_UP.clear()
    assert not beside._AT_WORK


def waits(*_: str) -> None:
    """A second process that never has anything to say."""
    sys.stdin.buffer.read()
    time.sleep(600)
