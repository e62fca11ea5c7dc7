"""What of answers is compared with the examples that the schema gives of them."""

import re
from typing import Any

NUMBERS = (
    "trip|reservation|person|checkout|line|thing_id|guide|lot|item|entry|place|id|people|about"
    "|has_it_id"
)


def without_what_varies(problem: dict[str, Any]) -> str:
    """Its text without days, times, codes of labels, keys and numbers of rows."""
    text = re.sub(r"\d{4}-\d\d-\d\d(T[\d:.]+(\+00:00|Z)?)?", "…", str(problem))
    text = re.sub(r"\d+ [A-Z][a-z]+( \d{4}|, \d\d:\d\d)", "…", text)
    text = re.sub(r"\b[2-9B-DF-HJKNPR-TVX]{4}-[2-9B-DF-HJKNPR-TVX]{4}\b", "…", text)
    text = re.sub(
        r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}|https?://[^/]+|cursor=[^&]+|entries/\d+",
        "…",
        text,
    )
    return re.sub(rf"'({NUMBERS})': ('?\d+'?|\[[\d, ]+\])", r"'\1': …", text)
