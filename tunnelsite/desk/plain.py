"""Values as JSON can hold them, and rules as people call them."""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import Any

import numpy as np

from tunnelsite.screening.rejection_words import rule_words


def plain(value: Any) -> Any:
    """A value as JSON can hold it: what is not known is None."""
    if isinstance(value, np.generic):
        value = value.item()
    return None if isinstance(value, float) and not np.isfinite(value) else value


def plain_title(rule: str, titles: Mapping[str, str]) -> str:
    """A rule in words, a file by its name without its ending. Arguments: rule; titles of the criteria by id."""
    if rule == "no_data":
        return "heights under the pad"
    words = rule_words(rule, dict(titles))
    return os.path.splitext(words)[0].replace("_", " ") if rule.startswith("keep_out:") else words
