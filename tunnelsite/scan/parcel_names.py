"""What the parcels are called: one name each, and a word where the file gives one name to several."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from tunnelsite.core.counting import listed
from tunnelsite.core.layers import PARCEL_NAMES, Features
from tunnelsite.core.site import Site

MOST_TOLD = 5  # names in one note


def parcel_names(site: Site) -> list[str]:
    """One name a parcel of a site, see `unique_names`."""
    return unique_names(site.parcels)


def unique_names(parcels: Features) -> list[str]:
    """One name a parcel: the first column of PARCEL_NAMES that is there, made unique, or its number in the file."""
    given = _given(parcels)
    taken, last, names = set(given), Counter[str](), list[str]()
    for name in given:
        unique = name
        while last[name] and unique in taken:
            last[name] += 1
            unique = f"{name} ({last[name]})"
        last[name] = max(last[name], 1)
        taken.add(unique)
        names.append(unique)
    return names


def _given(parcels: Features) -> list[str]:
    """Their names as the file has them."""
    columns = {name.lower(): values for name, values in parcels.columns.items()}
    column = next((columns[name] for name in PARCEL_NAMES if name in columns), [None] * len(parcels))
    texts = ["" if value is None else str(value).strip() for value in column]
    return [text if text and text != "nan" else f"parcel {k}" for k, text in enumerate(texts, 1)]


def with_names_noted(parcels: Features) -> Features:
    """The same with a note on names that several parcels share, and what these are called then."""
    given, names = _given(parcels), unique_names(parcels)
    several = [name for name, count in Counter(given).items() if count > 1]
    if not several:
        return parcels
    own = [[now for now, was in zip(names, given, strict=True) if was == name] for name in several[:MOST_TOLD]]
    told = "; ".join(listed(one) if len(one) <= MOST_TOLD else f"{one[0]}, {one[1]} ... {one[-1]}" for one in own)
    more = f"; and {len(several) - MOST_TOLD} more names" if len(several) > MOST_TOLD else ""
    note = f"several parcels have the same name; in the order of the file they are called {told}{more}"
    return replace(parcels, notes=(*parcels.notes, note))
