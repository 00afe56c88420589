"""Ledgers laid together: whatever the order and however often, the same rows and the same days come of it."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime, timedelta
from itertools import permutations
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coach.log.exchange import export_json, merge
from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.plan.wishes import wishes_of
from coach.skill.history import memories
from tests.log.test_exchange import everything, fill, takes

few = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def written(path: Path, played: list) -> Path:
    """A ledger file with these takes, closed."""
    with Ledger(path) as ledger:
        fill(ledger, played)
    return path


def joined(home: Path, name: str, *paths: Path) -> dict[str, list[tuple]]:
    """All rows of a copy of the first into which the others were merged one after the other."""
    copy = home / name
    shutil.copy(paths[0], copy)
    with Ledger(copy) as ledger:
        for other in paths[1:]:
            merge(ledger, other)
        return everything(ledger)


@few
@given(takes, takes, takes)
def test_any_order_of_three_machines_gives_the_same_ledger(
    tmp_path_factory: pytest.TempPathFactory, one: list, two: list, three: list
) -> None:
    """Commutative and associative: six orders, and (a+b)+c as a+(b+c), all rows alike; memory comes out alike too."""
    home = tmp_path_factory.mktemp("laws")
    a, b, c = (written(home / f"{n}.db", played) for n, played in zip("abc", (one, two, three), strict=True))
    results = [joined(home, f"order-{n}.db", *order) for n, order in enumerate(permutations((a, b, c)))]
    joined(home, "bc.db", b, c)
    results.append(joined(home, "a-bc.db", a, home / "bc.db"))
    assert all(rows == results[0] for rows in results)
    remembered = []
    for name in ("order-0.db", "order-5.db", "a-bc.db"):
        with Ledger(home / name) as ledger:
            remembered.append(memories(ledger.takes()))
    assert remembered[0] == remembered[1] == remembered[2]


@few
@given(takes, takes)
def test_merging_again_changes_nothing(tmp_path_factory: pytest.TempPathFactory, one: list, two: list) -> None:
    """Idempotent: the same file twice, itself, an export of what is there already, and the sum into a part of it."""
    home = tmp_path_factory.mktemp("again")
    a, b = written(home / "a.db", one), written(home / "b.db", two)
    once = joined(home, "ab.db", a, b)
    assert joined(home, "abb.db", a, b, b) == once
    assert joined(home, "aba.db", a, b, a) == once
    assert joined(home, "self.db", home / "ab.db", home / "ab.db") == once
    assert joined(home, "b-ab.db", b, home / "ab.db") == once
    with Ledger(home / "ab.db") as ledger:
        export_json(ledger, home / "ab.json")
    assert joined(home, "json.db", home / "ab.db", home / "ab.json") == once
    assert joined(home, "a-json.db", a, home / "ab.json") == once


zones = st.sampled_from(
    [ZoneInfo(n) for n in ("Europe/Berlin", "America/New_York", "Pacific/Auckland", "Australia/Lord_Howe", "UTC")]
)
# Around the changes of spring and autumn 2026 in both halves of the world.
hours = st.one_of(
    st.integers(0, 24 * 14).map(lambda h: datetime(2026, 3, 22, tzinfo=UTC) + timedelta(hours=h)),
    st.integers(0, 24 * 21).map(lambda h: datetime(2026, 10, 18, tzinfo=UTC) + timedelta(hours=h)),
    st.integers(0, 24 * 21).map(lambda h: datetime(2026, 3, 28, tzinfo=UTC) + timedelta(hours=h)),
)


@few
@given(st.lists(st.tuples(hours, zones), min_size=1, max_size=12))
def test_a_take_keeps_the_day_of_the_clock_it_was_played_by(
    tmp_path_factory: pytest.TempPathFactory, moments: list[tuple[datetime, ZoneInfo]]
) -> None:
    """Through ledger, export and merge, over changes of the clock and travel: the moment and the wall clock's date."""
    home = tmp_path_factory.mktemp("zones")
    meant = {}
    with Ledger(home / "a.db") as a, Ledger(home / "b.db") as b:
        for number, (moment, zone) in enumerate(moments):
            here = moment.astimezone(zone)
            id_ = (a if number % 2 else b).begin_take("two-lamps", 80, at=here)
            meant[id_] = (moment, here.date())
        export_json(b, home / "b.json")
        merge(a, home / "b.json")
        assert {t.id: (t.at, t.local_day) for t in a.takes()} == meant
        assert [t.at for t in a.takes()] == sorted(moment for moment, _ in meant.values())


@pytest.mark.parametrize(
    ("zone", "first", "days"),
    [
        ("Europe/Berlin", datetime(2026, 3, 27, 23, 30), 5),
        ("Europe/Berlin", datetime(2026, 10, 23, 23, 30), 5),
        ("Europe/Berlin", datetime(2026, 10, 23, 0, 30), 5),
        ("America/New_York", datetime(2026, 3, 6, 2, 30), 5),
        ("Australia/Lord_Howe", datetime(2026, 4, 3, 1, 45), 5),
        ("Pacific/Apia", datetime(2011, 12, 28, 20, 0), 5),
    ],
)
def test_practice_at_the_same_hour_each_evening_is_as_many_days(zone: str, first: datetime, days: int) -> None:
    """Across a change of the clock no day of the calendar is lost or doubled; Samoa had no 30 December 2011."""
    from coach.log.local_days import from_utc_text, local_day, utc_text

    place = ZoneInfo(zone)
    found = []
    for number in range(days):
        at = (first + timedelta(number)).replace(tzinfo=place)
        moment = from_utc_text(utc_text(at)).astimezone(place)
        found.append(local_day(moment))
    there = [first.date() + timedelta(n) for n in range(days)]
    if zone == "Pacific/Apia":
        assert len(set(found)) == days - 1  # what was meant for the day that was not falls on its neighbour
        assert datetime(2011, 12, 30).date() not in found
    else:
        assert found == there


def test_a_wish_just_before_midnight_is_gone_just_after(tmp_path: Path) -> None:
    """In the night the clocks go back, a wish of 23:59 is not one of the next day, which has 25 hours."""
    from coach.plan.wishes import PIN, Wishes, wish_text

    berlin = ZoneInfo("Europe/Berlin")
    with Ledger(tmp_path / "a.db") as ledger:
        ledger.add_note(NoteKind.WISH, wish_text(PIN, "two-lamps"), None, datetime(2026, 10, 24, 23, 59, tzinfo=berlin))
        for hour, fold in ((0, 0), (2, 0), (2, 1), (23, 0)):
            today = datetime(2026, 10, 25, hour, tzinfo=berlin, fold=fold).date()
            assert wishes_of(ledger.notes(), today) == Wishes()
