"""The checker of collisions: looks at the boxes of all that is placed on the pages."""

from __future__ import annotations

from coach.paper.pdf.layout import MARGIN_LEFT, MARGIN_RIGHT, MARGIN_TOP, Box, Item, Text
from coach.paper.pdf.page_flow import Leaves


def faults(leaves: Leaves, slack: float = 0.3) -> tuple[str, ...]:
    """What is wrong with the pages: items of different groups that overlap, and items outside the margins."""
    wide, high = leaves.size
    inside = Box(MARGIN_LEFT - 0.6, MARGIN_TOP - 0.6, wide - MARGIN_RIGHT + 0.6, high - 20)
    found = []
    for number, page in enumerate(leaves.pages, start=1):
        items = sorted(page.items, key=lambda i: i.box.top)
        for k, one in enumerate(items):
            box = one.box
            if box.left < inside.left or box.top < inside.top or box.right > inside.right or box.bottom > inside.bottom:
                found.append(f"page {number}: {_said(one)} is outside the margins")
            for other in items[k + 1 :]:
                if other.box.top >= box.bottom - slack:
                    break
                if one.group != other.group and box.meets(other.box, slack):
                    found.append(f"page {number}: {_said(one)} meets {_said(other)}")
    return tuple(found)


def _said(item: Item) -> str:
    text = f" '{item.text}'" if isinstance(item, Text) else ""
    return f"{item.kind}{text} of {item.group} at {item.box.left:.0f},{item.box.top:.0f}"
