"""House and pad."""

from tunnelsite.core.house import House, Pad


def test_the_apron_lies_on_all_four_sides():
    pad = Pad.around(House(9.0, 29.0), 3.0)
    assert (pad.width_m, pad.length_m, pad.area_m2) == (15.0, 35.0, 525.0)
