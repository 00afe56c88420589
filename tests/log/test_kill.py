"""A killed coach loses at most the pass that was running.

Killing the process proves that each row was committed; that a commit survives a power cut rests on SQLite's synchronous
FULL, which test_ledger.py checks is set.
"""

import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from coach.log.ledger import Ledger

ROUNDS = 200
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and SIGKILL")


def _round(driver: subprocess.Popen[str], pause_s: float) -> list[tuple[str, int]]:
    """Start a player, kill it `pause_s` after it began, and give the passes it said were written."""
    assert driver.stdin is not None
    assert driver.stdout is not None
    driver.stdin.write("play\n")
    driver.stdin.flush()
    pid = int(driver.stdout.readline().split()[1])
    killer = threading.Timer(pause_s, os.kill, (pid, signal.SIGKILL))
    killer.start()
    said = []
    while (line := driver.stdout.readline().split())[0] != "gone":
        assert line[0] == "pass", line
        said.append((line[1], int(line[2])))
    killer.join()
    return said


def test_two_hundred_kills_lose_no_finished_pass(tmp_path: Path) -> None:
    """After each of 200 kills at random instants the ledger opens and holds every pass that was said to be written."""
    path = tmp_path / "ledger.db"
    Ledger(path).close()
    chance = random.Random(1971)
    said: set[tuple[str, int]] = set()
    began = time.monotonic()
    driver = subprocess.Popen(
        [sys.executable, "-m", "tests.log.kill_driver", str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    )
    rounds_with_passes = 0
    with driver:
        for _ in range(ROUNDS):
            fresh = _round(driver, chance.uniform(0.0, 0.06))
            rounds_with_passes += bool(fresh)
            said |= set(fresh)
            with Ledger(path) as ledger:
                marks = ",".join("?" * len({take for take, _ in fresh}))
                takes = sorted({take for take, _ in fresh})
                kept = set(ledger.rows(f"SELECT take, number FROM passes WHERE take IN ({marks})", *takes))
            assert set(fresh) <= kept
        assert driver.stdin is not None
        driver.stdin.close()
    with Ledger(path) as ledger:
        takes = ledger.takes()
        assert ledger.rows("PRAGMA integrity_check") == [("ok",)]
    kept = {(t.id, p.number) for t in takes for p in t.passes}
    assert said <= kept
    assert len(kept - said) <= ROUNDS  # a pass written and not yet said: one a kill at most
    assert rounds_with_passes > ROUNDS // 2, "the kills came too early to prove anything"
    print(f"{len(said)} passes said, {len(kept)} kept, {time.monotonic() - began:.1f} s")
