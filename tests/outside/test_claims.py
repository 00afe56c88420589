"""What the help says of practice claims no more than the studies it names.

Sources, as the project's list of references has them
- Czyż, Wójcik, Solarská & Kiper 2024, Sci. Rep. 14:15974: 54 studies; medium benefit for retention overall, in applied
  settings "almost negligible".
- Wiseheart, D'Souza & Chae 2017, PLoS ONE 12:e0182986: no effect of spacing for lags of 0 to 15 minutes.
- Henley 2001, JRME 49: three ways to build up tempo, no significant difference.
- Duke, Simmons & Cash 2009, JRME 56:310-321: 17 pianists; retention unrelated to practice time.
- Simmons 2012, JRME 59:357-368: 29 musicians, sessions 5 minutes, 6 or 24 hours apart; accuracy rose in the second only
  at 24 hours, speed in the third at 6 and at 24.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import coach
from coach import cli
from coach.plan.cautions import CAUTIONS
from coach.plan.plan_reasons import NIGHTS, RAMPS, REASONS, TURNS
from coach.screens.shared.help_page import help_text

# Words of promise. "Best" and "always" are looked for where they speak of what practice does, not of a list's order.
PROMISES = re.compile(
    r"\b(proven|proof|guarantee\w*|scientific\w*|breakthrough|secret|magic\w*|effortless\w*|in no time|instant mastery"
    r"|twice as (fast|well)|\d+ ?(%|times|x) (faster|better)|learn faster|the best way to (practi[sc]e|learn)"
    r"|will make you|cures?|prevents? injur\w+|heals?)\b",
    re.I,
)


SURE = re.compile(
    r"\b(keeps it there|needs? another night|equally well|will (not )?be (at|ready|steady|held|faster|kept))\b"
)
"""Words that make more of an estimate, a rule of ours or a null result than it is (found in the coach, and mended)."""

CODE = Path(coach.__file__).parent


@pytest.fixture
def pages(capsys: pytest.CaptureFixture[str]) -> dict[str, str]:
    """Every page of help: of the command line, of each command, and on the screen."""
    found = {"on the screen": help_text({}, "Today")}
    for words in ((), *(name.split() for name in cli.COMMANDS)):
        assert cli.main([*words, "--help"]) == 0
        found[" ".join(words) or "coach"] = capsys.readouterr().out
    return found


def test_no_page_promises_what_nobody_has_found(pages: dict[str, str]) -> None:
    """No word of promise on any page of help."""
    assert len(pages) > 15
    told = {name: found[0] for name, text in pages.items() if (found := PROMISES.search(" ".join(text.split())))}
    assert told == {}


def test_the_word_list_would_find_a_promise() -> None:
    """The check itself can fail."""
    for text in ("proven to work", "learn faster", "30 % faster", "this prevents injuries", "the best way to practise"):
        assert PROMISES.search(text)


def test_the_effect_of_turns_stands_beside_its_limits(pages: dict[str, str]) -> None:
    """Where the help says that mixed practice helped, the same sentence says where it hardly did, and what was null."""
    page = " ".join(pages["on the screen"].split())
    assert TURNS in page
    helped, hardly, none = (TURNS.index(word) for word in ("helped", "hardly at all in applied", "no difference"))
    assert helped < hardly < none
    assert TURNS.endswith("Expect little of the order.")


def test_no_way_to_build_up_tempo_is_recommended_or_called_equal() -> None:
    """Henley found no significant difference with 60 players: that is no proof that the ways are alike."""
    assert "no significant difference was found with 60 players" in RAMPS
    assert "suits you" in RAMPS
    assert "equal" not in RAMPS


def test_that_a_night_is_waited_for_is_called_our_rule() -> None:
    """Simmons: accuracy rose where a day lay between sessions, not 5 minutes or 6 hours; speed with 6 hours as well."""
    assert "a rule of ours" in NIGHTS
    assert "accuracy rose when a day lay between, not minutes or six hours; speed rose with six hours too" in NIGHTS


def _said(path: Path) -> str:
    """All texts in a module but its docstrings, those put together from pieces with a blank for what is put in."""
    tree = ast.parse(path.read_text("utf-8"))
    docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    texts = (node for node in ast.walk(tree) if isinstance(node, ast.Constant) and id(node) not in docs)
    return " | ".join(text.value for text in texts if isinstance(text.value, str))


def test_no_reason_or_remedy_promises_what_nobody_has_found() -> None:
    """No word of promise in anything that practice or a screen may say, nor a gain told as sure to go on."""
    modules = [path for room in ("log", "drills", "skill", "plan", "screens") for path in (CODE / room).rglob("*.py")]
    assert len(modules) > 80
    texts = {path.name: _said(path) for path in modules}
    told = {name: found[0] for name, text in texts.items() if (found := SURE.search(text) or PROMISES.search(text))}
    assert told == {}


@pytest.mark.parametrize("text", ["a little more keeps it there", "will be at tempo", "need another night"])
def test_the_list_of_sure_words_would_find_one(text: str) -> None:
    """The check itself can fail."""
    assert SURE.search(text)


def test_each_claim_names_its_study_or_is_modest() -> None:
    """A year stands in every ground but the last, which says that figures can be wrong."""
    *studied, last = REASONS
    assert all(re.search(r"\b(19|20)\d\d\b", ground) for ground in studied)
    assert "can be wrong" in last


def test_health_is_left_to_clinicians(pages: dict[str, str]) -> None:
    """Where hands are spoken of, general information and a doctor or clinician stand beside it."""
    page = " ".join(pages["on the screen"].split())
    assert all(caution in page for caution in CAUTIONS)
    assert "not medical advice" in page
