"""What a run on the desk will need, said before it is started, and what to do where that is much."""

from __future__ import annotations

from dataclasses import replace

from tunnelsite.core.counting import time_words
from tunnelsite.core.units import FOOT_M
from tunnelsite.desk.messages import RunCost
from tunnelsite.desk.page_words import on_the_page
from tunnelsite.io.read.files import bytes_words
from tunnelsite.screening.run_cost import CLEARLY, Cost, Work, estimated
from tunnelsite.settings.model import Settings

LONG_S = 120.0  # of a run on a usual machine: longer ones come with advice
MUCH_BYTES = 1e9  # less memory than this is not worth a word
WIDEST = 2 / 3  # of a house's width: wider cells cannot show its pitch


def run_cost(work: Work, settings: Settings, cell_m: float, free_bytes: int) -> RunCost:
    """The message of what a run takes. Arguments: work; settings; cell_m of the grid [m]; free_bytes of memory."""
    cost = estimated(work)
    fits = CLEARLY * cost.memory_bytes <= free_bytes
    words = f"A run takes about {time_words(cost.seconds)}"
    low, high = (time_words(value) for value in cost.seconds_range)
    words += f" ({low} to {high}, as the machine is)" if cost.seconds > LONG_S else ""
    if cost.memory_bytes > MUCH_BYTES or not fits:
        free = "are free" if fits else "are all that is free"
        words += f" and about {bytes_words(cost.memory_bytes)} of memory; {bytes_words(free_bytes)} {free}"
    much = cost.seconds > LONG_S or not fits
    return RunCost(words=f"{words}.", fits=fits, advice=_advice(work, settings, cell_m, cost, fits) if much else [])


def _advice(work: Work, settings: Settings, cell_m: float, cost: Cost, fits: bool) -> list[str]:
    """What makes it less, the best first."""
    feet = any(house.feet for house in settings.houses)
    said = ["Draw the part of the land that may be built on as a field, in place of all of it."]
    twice = 2 * cell_m
    if twice <= WIDEST * min(house.width_m for house in settings.houses):
        less = estimated(replace(work, cells=work.cells // 4, parcel_cells=work.parcel_cells // 4,
                                 pad_cells=tuple(cells / 4 for cells in work.pad_cells)))  # fmt: skip
        length = f"{twice / FOOT_M:.1f} ft" if feet else f"{twice:g} m"
        said.append(on_the_page(f"Give --cell: {length} brings it to about {time_words(less.seconds)} and "
                                f"{bytes_words(less.memory_bytes)}; small humps are then seen less well."))  # fmt: skip
    if work.frames > 1:
        one = estimated(replace(work, frames=1))
        said.append(
            on_the_page(f"Give --bearing-tolerance 0: one ridge bearing takes about {time_words(one.seconds)}.")
        )
    if work.cells > 3 * max(1, work.parcel_cells):
        said.append(on_the_page("Give a smaller --halo: most of the cells lie round the fields, for shade and water."))
    if cost.seconds > LONG_S and fits:
        said.append("Or let it run: the page may be closed meanwhile, the desk must stay open.")
    return said
