"""A settings sheet as plain lines: the same words as on the printed page, in an order to work by."""

from collections.abc import Iterator

from ..paper.page import PrintedPage


def sheet_lines(page: PrintedPage) -> Iterator[str]:
    """Yield the lines: what changes when, cautions, what the controller cannot hold, steps, old beside new."""
    values = page.values
    count = values["values_to_key"]
    yield f"{page.title}: {page.where}"
    yield (
        f"Prices effective {values['holds_from']}. {count} value{'' if count == 1 else 's'} to key, {values['starts_from']}."
    )
    yield from (f"! {caution}" for caution in page.cautions)
    for row in values["cannot_hold"]:
        yield f"! Cannot hold {row['found']} ({row['limit']}): {row['instead']}. {row['places']}"
    yield ""
    if not values["steps"]:
        yield "Nothing to key: the controller holds these prices already."
    for number, step in enumerate(values["steps"], start=1):
        yield f"[ ] {number}. {step['words']}"
        if len(step["boxes"]) > 1:
            yield from (f"      [ ] {value}" for value in step["boxes"])
    yield ""
    yield "Old beside new"
    for row in values["prices"]:
        if row["days"]:
            yield f"  {row['days']}"
        change = f"{row['old']} (no change)" if row["same"] else f"{row['old']} -> {row['new']}"
        yield f"    {row['times']}  {change}"
