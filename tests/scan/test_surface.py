"""What a reader learns of crowns that pass light."""

from __future__ import annotations

import numpy as np
import pytest

from tunnelsite.core.crowns import CrownKinds, Crowns
from tunnelsite.scan.surface import crown_notes


@pytest.mark.parametrize(("of", "words"), [([0, 1, 0, 2], "2 obstacles pass"), ([1], "1 obstacle passes")])
def test_crowns_that_pass_light_are_counted(of: list[int], words: str) -> None:
    crowns = CrownKinds((Crowns(0.0, 0.58), Crowns(0.2, 0.7)), np.array(of), ("one was taken for a denser one",))
    note, last = crown_notes(crowns, modelled=False)
    assert note.startswith(f"{words} a part of the beam (0 in leaf and 0.58 bare, 0.2 in leaf and 0.7 bare)")
    assert last == "one was taken for a denser one"
    assert len(crown_notes(crowns, modelled=True)) == 3
