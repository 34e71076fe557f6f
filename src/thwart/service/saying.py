"""Values in the log's `key=value` lines."""

from __future__ import annotations

import json


def quoted(value: object) -> str:
    """The value as it stands in a log line: in quotes where it holds blanks or quotes."""
    text = str(value)
    return text if text.isprintable() and text and not set(text) & set(' "=') else json.dumps(text, ensure_ascii=False)
