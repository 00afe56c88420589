"""Takes and drills made up for the tests: a small ladder of the ferry landing."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from coach.drills.pattern_drills import Drill, Material, make_drills
from coach.log.takes import Pass, Take

NOW = datetime(2026, 3, 10, 19, 0, tzinfo=UTC)
TODAY = NOW.date()

MATERIALS = (
    Material("landing-walk", "Landing walk", "4/4", 4, 4, None, ("plain",), 1),
    Material("two-lamps", "Two lamps", "4/4", 8, 4, "landing-walk", ("plain",), 2),
    Material("slow-tide", "Slow tide", "3/4", 6, 3, None, ("waltz",), 3),
    Material("rope-and-bell", "Rope and bell", "4/4", 8, 4, "two-lamps", (), 4),
    Material("late-crossing", "Late crossing", "4/4", 8, 4, "rope-and-bell", (), 5),
    Material("quick-oars", "Quick oars", "4/4", 16, 4, "late-crossing", (), 6),
    Material("reed-bank", "Reed bank", "6/8", 6, 2, None, ("compound",), 7),
)


def ladder() -> tuple[Drill, ...]:
    """The made-up ladder as drills."""
    return make_drills(MATERIALS)


def day(days_ago: int) -> date:
    """The local day so many days before today."""
    return TODAY - timedelta(days=days_ago)


def take(
    drill: str,
    days_ago: int,
    *,
    clean: int = 10,
    stumbled: int = 0,
    verdict: str | None = "held",
    tempo: float = 80.0,
    layer: str = "full",
    minute: int = 0,
    number: int = 0,
) -> Take:
    """A take of `clean` clean passes and then `stumbled` others, four bars each, begun at 18:00 UTC and a minute."""
    at = datetime(2026, 3, 10, 18, 0, tzinfo=UTC) - timedelta(days=days_ago) + timedelta(minutes=minute)
    passes = tuple(
        Pass(k + 1, tempo, 4, 0 if k < clean else 1, k < clean, layer) for k in range(clean + stumbled)
    )
    return Take(
        id=f"{drill}-{days_ago}-{minute}-{number}",
        at=at,
        local_day=at.date(),
        drill=drill,
        tempo=tempo,
        bars=4 * len(passes),
        stumbles=stumbled,
        verdict=verdict,
        layer=layer,
        passes=passes,
    )


def sung_up(drill: str, days_ago: int = 1, clean: int = 4) -> Take:
    """A take under the voice at 80: two stumbled passes on the thumb alone, four on the full layer, `clean` of them."""
    layers = ("thumb", "thumb", "full", "full", "full", "full")
    passes = tuple(
        Pass(k + 1, 80.0, 4, int(not 2 <= k < 2 + clean), 2 <= k < 2 + clean, layer) for k, layer in enumerate(layers)
    )
    begun = take(drill, days_ago, clean=clean, stumbled=6 - clean, layer=layers[0])
    return replace(begun, mode="sing", passes=passes)
