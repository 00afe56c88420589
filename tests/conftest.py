"""For every test a home of its own, and on a CI machine no test that is skipped for want of a tool."""

from __future__ import annotations

import json
import os
from collections.abc import Generator
from pathlib import Path
from typing import Any

import pytest

from tests import workers
from tests.calls import Data, Run, Said

# As `coach listen` has it: many small products of arrays, where more threads only wait for one another.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config: pytest.Config) -> None:
    """A whole run goes to two workers, unless the command says how many."""
    many = workers.wanted(config)
    if many is not None:
        config.option.numprocesses = many


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Who takes what, unless the command says otherwise (`-n` alone means "load")."""
    return workers.scheduler(config, log) if config.option.dist == "load" else None


@pytest.fixture(autouse=True)
def coach_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """COACH_HOME is an empty folder that is not even made yet."""
    home = tmp_path / "home"
    monkeypatch.setenv("COACH_HOME", str(home))
    return home


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Call the command in this process: (exit code, stdout, stderr)."""
    from coach.cli import main

    def call(*words: str) -> Said:
        code = main(words)
        out, err = capsys.readouterr()
        return code, out, err

    return call


@pytest.fixture
def data(run: Run) -> Data:
    """The JSON document of a command that must be done."""

    def call(*words: str) -> Any:
        code, out, err = run(*words, "--json")
        assert code == 0, err
        return json.loads(out)

    return call


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """With CI=true a skip whose reason begins with "missing tool" is a failure: there every tool is installed."""
    report = yield
    if os.environ.get("CI") == "true" and report.skipped and call.excinfo is not None:
        reason = str(getattr(call.excinfo.value, "msg", call.excinfo.value))
        if reason.startswith("missing tool"):
            report.outcome = "failed"
            report.longrepr = f"{item.nodeid}: {reason}, and CI has them all"
    return report
