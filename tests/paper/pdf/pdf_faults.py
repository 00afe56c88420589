"""The checker of collisions: looks at the boxes of all that is placed on the pages."""

from __future__ import annotations

from coach.paper.pdf.layout import MARGIN_LEFT, MARGIN_RIGHT, MARGIN_TOP, Box, Item, Text
from coach.paper.pdf.page_flow import Document


def faults(leaves: Document, slack: float = 0.3) -> tuple[str, ...]:
    """What is wrong with the pages: items of different groups that overlap, and items outside the margins."""
    wide, high = leaves.size
    inside = Box(MARGIN_LEFT - 0.6, MARGIN_TOP - 0.6, wide - MARGIN_RIGHT + 0.6, high - 20)
    messages = []
    for number, page in enumerate(leaves.pages, start=1):
        items = sorted(page.items, key=lambda i: i.box.top)
        for k, item in enumerate(items):
            box = item.box
            if box.left < inside.left or box.top < inside.top or box.right > inside.right or box.bottom > inside.bottom:
                messages.append(f"page {number}: {_said(item)} is outside the margins")
            for other in items[k + 1 :]:
                if other.box.top >= box.bottom - slack:
                    break
                if item.group != other.group and box.meets(other.box, slack):
                    messages.append(f"page {number}: {_said(item)} meets {_said(other)}")
    return tuple(messages)


def _said(item: Item) -> str:
    text = f" '{item.text}'" if isinstance(item, Text) else ""
    return f"{item.kind}{text} of {item.group} at {item.box.left:.0f},{item.box.top:.0f}"
