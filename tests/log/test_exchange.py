"""The ledger can be taken out, and two machines' ledgers laid together, without losing or doubling a row."""

import csv
import hashlib
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.errors import BadInput, CoachError
from coach.log.exchange import export_csv, export_json, merge, take_row
from coach.log.ledger import VERDICTS, Ledger
from coach.log.schema import COLUMNS, VERSION
from tests.log.test_ledger import first_version

AT = datetime(2026, 3, 1, 19, 0, tzinfo=UTC)
MOMENT = "2026-03-01T19:00:00.000000Z"

takes = st.lists(
    st.tuples(
        st.sampled_from(["landing-walk", "two-lamps", "Fährmann's 'lied', \"slow\""]),
        st.floats(40, 200),
        st.lists(st.integers(0, 3), max_size=4),  # stumbles of each pass
        st.sampled_from([None, *VERDICTS]),
        st.integers(0, 10_000),
    ),
    max_size=5,
)


def fill(ledger: Ledger, played: list) -> None:
    """Write made-up takes; one without passes and with a verdict goes in as a whole."""
    for drill, tempo, passes, verdict, minute in played:
        at = AT + timedelta(minutes=minute)
        if verdict and not passes:
            ledger.add_whole_take(drill, tempo, verdict, 8, 1, at)
            continue
        take = ledger.begin_take(drill, tempo, at=at)
        for number, stumbles in enumerate(passes, 1):
            for _ in range(stumbles):
                ledger.add_stumble(take, 1, "5/2", tempo, number)
            ledger.add_pass(take, number, tempo, 4, stumbles)
        if verdict:
            ledger.give_verdict(take, verdict)
        ledger.add_note("drill introduced", drill, take)


def everything(ledger: Ledger) -> dict[str, list[tuple]]:
    """Every row of every table, in order of its values."""
    return {t: sorted(ledger.rows(f"SELECT {', '.join(n)} FROM {t}"), key=repr) for t, n in COLUMNS.items()}


@settings(max_examples=25, deadline=None)
@given(takes, takes)
def test_merging_twice_or_the_other_way_round_is_the_same(
    tmp_path_factory: pytest.TempPathFactory, here: list, there: list
) -> None:
    """A into B and B into A end alike, with all rows of both; a second merge adds nothing."""
    home = tmp_path_factory.mktemp("merge")
    with Ledger(home / "a.db") as a, Ledger(home / "b.db") as b:
        fill(a, here)
        fill(b, there)
        apart = {t: sorted([*everything(a)[t], *everything(b)[t]], key=repr) for t in COLUMNS}
        merge(a, b.path)
        merge(b, a.path)
        assert everything(a) == everything(b) == apart
        assert set(merge(a, b.path).values()) == {0}
        assert a.takes() == b.takes()


@settings(max_examples=25, deadline=None)
@given(takes)
def test_an_export_taken_in_again_is_the_same_ledger(tmp_path_factory: pytest.TempPathFactory, played: list) -> None:
    """JSON out and in gives every row back, and the same JSON again."""
    home = tmp_path_factory.mktemp("export")
    with Ledger(home / "a.db") as a, Ledger(home / "b.db") as b:
        fill(a, played)
        assert export_json(a, home / "a.json") == len(played)
        merge(b, home / "a.json")
        assert everything(a) == everything(b)
        export_json(b, home / "b.json")
    assert (home / "a.json").read_bytes() == (home / "b.json").read_bytes()


@settings(max_examples=25, deadline=None)
@given(takes)
def test_the_spreadsheet_has_a_line_a_take(tmp_path_factory: pytest.TempPathFactory, played: list) -> None:
    """Read back by the standard csv reader, each line says what the ledger says of its take."""
    home = tmp_path_factory.mktemp("csv")
    with Ledger(home / "a.db") as a:
        fill(a, played)
        assert export_csv(a, home / "a.csv") == len(played)
        rows = [{k: "" if v is None else str(v) for k, v in take_row(t).items()} for t in a.takes()]
    with (home / "a.csv").open(encoding="utf-8", newline="") as file:
        assert list(csv.DictReader(file)) == rows


def test_the_log_fields_of_the_contract_come_first(tmp_path: Path) -> None:
    """`coach log --json` promises these fields by name."""
    with Ledger(tmp_path / "a.db") as a:
        a.add_whole_take("two-lamps", 84, "held", 16, 2, AT)
        row = take_row(a.takes()[0])
    assert list(row)[:8] == ["id", "at", "drill", "tempo", "bars", "stumbles", "verdict", "layer"]
    assert (row["at"], row["tempo"], row["bars"], row["verdict"]) == ("2026-03-01T19:00:00.000000Z", 84.0, 16, "held")


def test_an_existing_file_is_kept_unless_forced(tmp_path: Path) -> None:
    """An export never overwrites by itself, and leaves nothing half-written beside."""
    out = tmp_path / "log.csv"
    out.write_text("mine")
    with Ledger(tmp_path / "a.db") as a:
        for export in (export_csv, export_json):
            with pytest.raises(CoachError, match="exists already"):
                export(a, out)
            assert out.read_text() == "mine"
            export(a, out, force=True)
            assert out.read_text() != "mine"
            out.write_text("mine")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.db", "log.csv"]


def test_an_export_to_nowhere_is_one_sentence(tmp_path: Path) -> None:
    """A folder that is not there, and a folder itself, are named."""
    with Ledger(tmp_path / "a.db") as a:
        with pytest.raises(CoachError, match="could not be written"):
            export_csv(a, tmp_path / "no" / "log.csv")
        with pytest.raises(BadInput, match="folder"):
            export_json(a, tmp_path)


@pytest.mark.parametrize("still_open", [False, True])
def test_the_other_ledger_is_only_read(tmp_path: Path, still_open: bool) -> None:
    """Merging leaves the other file's bytes as they were, whether or not another coach has it open."""
    with Ledger(tmp_path / "mine.db") as mine:
        other = Ledger(tmp_path / "stick" / "other.db")
        other.add_whole_take("two-lamps", 84, "held", 16, 2, AT)
        if not still_open:
            other.close()
        before = {p.name: hashlib.sha256(p.read_bytes()).digest() for p in (tmp_path / "stick").glob("*[!m]")}
        assert merge(mine, other.path)["takes"] == 1
        after = {p.name: hashlib.sha256(p.read_bytes()).digest() for p in (tmp_path / "stick").glob("*[!m]")}
        other.close()
    assert after == before


def test_an_older_ledger_is_merged_and_stays_old(tmp_path: Path) -> None:
    """A first-layout file gives all its rows and is not brought forward itself."""
    first_version(tmp_path / "old.db")
    before = (tmp_path / "old.db").read_bytes()
    with Ledger(tmp_path / "mine.db") as mine:
        assert merge(mine, tmp_path / "old.db") == {
            "takes": 1, "passes": 2, "stumbles": 0, "wholes": 0, "verdicts": 1, "notes": 0,
        }  # fmt: skip
        assert mine.takes()[0].mode == "play"
    assert (tmp_path / "old.db").read_bytes() == before


def test_a_ledger_merged_with_itself_is_itself(tmp_path: Path) -> None:
    """The same file on both sides adds nothing."""
    with Ledger(tmp_path / "mine.db") as mine:
        mine.add_whole_take("two-lamps", 84, "held")
        assert set(merge(mine, mine.path).values()) == {0}


def _export(**changed) -> str:
    take = {"id": "a", "at": MOMENT, "local_day": "2026-03-01", "drill": "d", "tempo": 80.0, "layer": "full"}
    return json.dumps({"steady_thumb_ledger": VERSION, "takes": [take], **changed})


def _verdict(take: str, word: str) -> list[dict[str, str]]:
    return [{"id": "v", "take": take, "at": MOMENT, "verdict": word}]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("Set list", "not a practice ledger"),
        ("{ not json", "cannot be read"),
        ("{}", "not an exported ledger"),
        (_export(steady_thumb_ledger=VERSION + 1), "newer"),
        (_export(takes=4), "not a list"),
        (_export(takes=[{"id": "a"}]), "has no 'at'"),
        (_export(takes=[5]), "has no 'id'"),
        (_export(verdicts=_verdict("a", "fine")), "not sound"),
        (_export(verdicts=_verdict("b", "held")), "not sound"),
        (_export(wholes=[{"take": "a", "bars": -1, "stumbles": 0}]), "not sound"),
        (_export(wholes=[{"take": "a", "bars": [1], "stumbles": 0}]), "text or a number"),
        (_export(wholes=[{"take": "a", "bars": 10**30, "stumbles": 0}]), "too large"),
    ],
)
def test_what_cannot_be_merged_is_one_sentence_and_changes_nothing(tmp_path: Path, text: str, says: str) -> None:
    """A file that is not a sound ledger is refused whole: nothing of it is taken over."""
    other = tmp_path / "other.json"
    other.write_text(text)
    with Ledger(tmp_path / "mine.db") as mine:
        mine.add_whole_take("two-lamps", 84, "held")
        before = everything(mine)
        with pytest.raises(CoachError, match=says):
            merge(mine, other)
        with pytest.raises(BadInput, match="cannot be read"):
            merge(mine, tmp_path / "nowhere.db")
        assert everything(mine) == before
