"""The natural drainage classes of soils."""

from __future__ import annotations

# Natural drainage classes in order [@soil-classes]; the place in the list is the class number.
CLASSES = (
    "excessively drained",
    "somewhat excessively drained",
    "well drained",
    "moderately well drained",
    "somewhat poorly drained",
    "poorly drained",
    "very poorly drained",
)
