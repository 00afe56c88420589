"""The whole suite in two processes at a time: which tests stand in one line, and who takes what.

`pytest` alone takes two workers (pytest-xdist); with a path, `-k`, `-n 0` or without that plugin it is one process.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from xdist.scheduler import LoadScopeScheduling

WORKERS = 2

# Tests that wait for an app on a screen, for a program on a terminal, for a sound server or for a process to be killed.
# Each line goes to one worker, in order and before all else. They run side by side: the second mostly listens and
# leaves the processor to the first.
LINES = {
    "screens": ("tests/screens/",),
    "processes": (
        "tests/outside/test_real_audio_server.py",
        "tests/log/test_kill.py",
        "tests/test_full_disk.py",
        "tests/test_locale.py",
        "tests/test_other_user.py",
    ),
}


def wanted(config: pytest.Config) -> int | None:
    """How many workers to take where the command does not say: only a whole run is worth their start."""
    if not hasattr(config.option, "numprocesses") or hasattr(config, "workerinput"):
        return None
    option = config.option
    said = option.numprocesses is not None or option.tx or option.usepdb
    whole = config.args_source is pytest.Config.ArgsSource.TESTPATHS and not option.keyword
    return WORKERS if whole and not said else None


def unit(nodeid: str) -> str:
    """What one worker does at a stretch: a line, else a file (what its tests share is made once)."""
    return next((line for line, begins in LINES.items() if nodeid.startswith(begins)), nodeid.split("::", 1)[0])


def scheduler(config: pytest.Config, log: Any) -> LoadScopeScheduling:
    """Whoever is free takes the next unit: the lines before the files, of these first the one with most tests."""
    from xdist.scheduler import LoadScopeScheduling

    class InLines(LoadScopeScheduling):
        """The units of this suite."""

        def _split_scope(self, nodeid: str) -> str:
            return unit(nodeid)

        def _assign_work_unit(self, node: Any) -> None:
            for line in reversed(LINES):
                if line in self.workqueue:
                    self.workqueue.move_to_end(line, last=False)
            super()._assign_work_unit(node)

    return InLines(config, log)
