"""The campaign (tests/campaign) works: its kinds run, and what is planted for it to find is found. It looks no further.

`COACH_TEST_EFFORT=2 pytest tests/test_campaign.py` also has a case of each kind that starts the real coach.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import pytest

if sys.platform != "linux":
    pytest.skip("needs Linux", allow_module_level=True)

from tests.campaign import call, homes, mutate, runner
from tests.campaign.kind import Kind
from tests.campaign.kinds.arguments import words_for
from tests.campaign.kinds.health import Hands, broken_rules
from tests.effort import EFFORT

ROOT = Path(__file__).parents[1]
KINDS = runner.all_kinds()
SEED = 3


def test_every_module_gives_kinds_and_each_has_a_name_of_its_own() -> None:
    """One file is enough for a new kind: it is found."""
    names = [kind.name for kind in KINDS]
    assert len(set(names)) == len(names)
    files = (ROOT / "tests" / "campaign" / "kinds").glob("[a-z]*.py")
    assert {kind.case.__module__.rpartition(".")[2] for kind in KINDS} == {path.stem for path in files}


def test_a_case_of_each_kind() -> None:
    """The command itself, with one seed: a table with every kind, and nothing found."""
    real = EFFORT > 1
    chosen = [kind for kind in KINDS if real or not kind.real]
    words = [word for kind in chosen for word in ("--only", kind.name)]
    program = [sys.executable, "-m", "tests.campaign", "--count", "1", "--seed", str(SEED), *words]
    done = subprocess.run(program, cwd=ROOT, capture_output=True, text=True, timeout=600, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    rows = {line.split()[0]: line.split()[1:3] for line in done.stdout.splitlines() if line}
    assert all(rows[kind.name] == ["1", "0"] for kind in chosen)


@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")
def test_what_fails_is_counted_and_told_with_its_seed() -> None:
    """A failure, a case that raises, dies, hangs or leaves a process: each is in the table."""

    def leaves(rng: Random, folder: Path) -> None:
        subprocess.Popen(["sleep", "600"], env={**os.environ, "COACH_HOME": str(folder)})

    planted = [
        Kind("well", lambda rng, folder: None),
        Kind("every-other", lambda rng, folder: "it sank" if int(rng.random() * 1e9) % 2 else None),
        Kind("raises", lambda rng, folder: str(1 / 0)),
        Kind("dies", lambda rng, folder: os.kill(os.getpid(), 9)),
        Kind("hangs", lambda rng, folder: time.sleep(600), seconds=0.3),
        Kind("leaves", leaves, real=True),
        Kind("lacks", lambda rng, folder: None, needs=("no-such-tool",)),
    ]
    tallies = [*runner.run(planted[:2], 0, 70, count=3), *runner.run(planted[2:], 0, 72, count=1)]
    found = {t.kind.name: t for t in tallies}
    assert [found[kind.name].tried for kind in planted] == [3, 3, 1, 1, 1, 1, 0]
    failing = {s for s in (70, 71, 72) if int(Random(f"every-other {s}").random() * 1e9) % 2}
    assert found["every-other"].failures == dict.fromkeys(failing, "it sank")
    assert not found["well"].failures
    assert "ZeroDivisionError" in found["raises"].failures[72]
    assert "was ended" in found["dies"].failures[72]
    assert "a hang" in found["hangs"].failures[72]
    assert "sleep 600" in found["leaves"].failures[72]
    told = "\n".join(runner.table(list(found.values())))
    assert "python -m tests.campaign --only leaves --seed 72 --count 1" in told
    assert "missing tool: no-such-tool" in told


SENTENCE = "this cannot be; give another."


@pytest.mark.parametrize(
    ("code", "err", "found"),
    [
        (0, "", ""),
        (2, f"{SENTENCE}\n", ""),
        (2, f"note: a thing is odd.\n{SENTENCE}\n", ""),
        (2, "", "without a sentence"),
        (1, "no end\n", "no whole sentence"),
        (1, f"{'x' * 300}.\n", "a sentence of 301"),
        (2, "a\x1b[2Jb.\n", "steer a terminal"),
        (1, f"/x.py:3: RuntimeWarning: far\n{SENTENCE}\n", "no sentence"),
        (1, "Traceback (most recent call last)\nValueError: x\n", "unforeseen"),
        (3, f"{SENTENCE}\n", "exit code 3"),
        (-9, "", "a hang"),
    ],
)
def test_how_an_answer_is_judged(code: int, err: str, found: str) -> None:
    """Each thing that counts as a failure is one, and an honest refusal is none."""
    said = call.fault(call.Said(("today",), code, "", err, 0.0))
    assert found in said if found and said else said is None and not found


def test_what_a_player_loses_is_seen(tmp_path: Path) -> None:
    """A changed line, a file that is gone, a row that is gone."""
    home = homes.make_home(tmp_path)
    before = homes.keep(home)
    assert before.lost() is None
    (home / "songs" / "ferry-bell.song.toml").write_text("title = 1\n")
    assert before.lost() == "songs/ferry-bell.song.toml was changed"
    (home / "songs" / "ferry-bell.song.toml").unlink()
    assert before.lost(["songs/ferry-bell.song.toml"]) == "songs/ferry-bell.song.toml is gone"
    (home / "songs" / "ferry-bell.song.toml").write_text(homes.SONG)
    (home / "ledger.sqlite3").write_bytes(homes.ledger_bytes(11))
    assert "rows of the ledger are lost" in (before.lost() or "")


def test_the_same_seed_does_the_same_harm() -> None:
    """Words, text and bytes."""
    for seed in range(40):
        one, two = (Random(seed) for _ in range(2))
        assert words_for(one, "log add") == words_for(two, "log add")
        assert mutate.toml(one, homes.SONG) == mutate.toml(two, homes.SONG)
        assert mutate.blind(one, b"abcdefgh" * 9) == mutate.blind(two, b"abcdefgh" * 9)


NOW = datetime(2026, 3, 10, 19, 0, tzinfo=UTC)


def rows(*minutes: int) -> list[dict[str, object]]:
    """A plan that plays so many minutes by block, and rests where they are negative."""
    return [{"kind": "play" if m > 0 else "rest", "minutes": abs(m)} for m in minutes]


def days_of(minutes: int, *ago: int) -> Hands:
    """Hands that played so many minutes so many days ago, up to this time of day."""
    ends = [NOW - timedelta(days=d) for d in ago]
    return Hands([(end - timedelta(minutes=minutes), end, end.date()) for end in ends])


@pytest.mark.parametrize(
    ("plan", "asked", "hands", "found"),
    [
        (rows(15, 15), 30, Hands(), ""),
        (rows(20, -5, 20), 45, Hands(), ""),
        (rows(20, -4, 20), 44, Hands(), "40 minutes of playing"),
        (rows(45), 45, Hands(), "45 minutes of playing"),
        (rows(20), 20, days_of(20, 0), "20 of them just before"),
        (rows(-5, 20), 25, days_of(20, 0), ""),
        (rows(10), 20, Hands(), "not a word why"),
        (rows(25), 20, Hands(), "where 20 were asked for"),
        (rows(5), 5, Hands(hurt={NOW.date()}), "on which it hurt"),
        (rows(20), 20, Hands(hurt={NOW.date() - timedelta(2)}), "days after pain"),
        (rows(30, -5, 25), 60, days_of(20, 1, 2, 3), "where 30 are enough"),
        (rows(15, 15), 30, days_of(20, 1, 2, 3), ""),
    ],
)
def test_plans_that_break_a_rule_are_found(
    plan: list[dict[str, object]], asked: int, hands: Hands, found: str
) -> None:
    """Each rule of README's is judged by itself."""
    broken = broken_rules(plan, sum(int(str(b["minutes"])) for b in plan), "", asked, NOW, hands)
    assert any(found in one for one in broken) if found else broken == []
