"""What is known at some options only is named once, with those at which it is not."""

from __future__ import annotations

from tunnelsite.screening.candidate_rows import unknown_here
from tunnelsite.screening.not_assessed import where_unknown

FAR = "distance from the nearest drainage"


def test_what_is_not_known_at_a_candidate_is_read_from_its_row():
    words = f"{FAR} (not known here); cold air on low ground (not known here); soil drainage (no soil map was given)"
    assert unknown_here({"not_assessed": words}) == [FAR, "cold air on low ground"]
    assert unknown_here({"not_assessed": None}) == []


def test_options_are_listed_by_what_is_not_known_there():
    cold = "cold air"
    assert where_unknown({"1": [FAR, cold], "2": [cold], "3": [FAR, cold], "4": [FAR, cold]}) == [
        f"{FAR} at options 1, 3 and 4 (the data do not show it there)",
        "cold air at every option (the data do not show it there)",
    ]
    assert where_unknown({"A": [], "B": [cold]}) == ["cold air at option B (the data do not show it there)"]
    assert where_unknown({"1": [cold]}) == ["cold air at option 1 (the data do not show it there)"]
    assert where_unknown({}) == []
