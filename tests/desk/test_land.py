"""A terrain model alone, before there is a field."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from affine import Affine

from tests.whole_run.files import UTM17, gentle, write_dem
from tunnelsite.core.errors import NoHeights
from tunnelsite.desk.land import looked_at
from tunnelsite.desk.project import Project


def _model(folder: Path, heights: np.ndarray, cell_m: float, **profile) -> Project:
    write_dem(folder / "dem.tif", heights, Affine(cell_m, 0, 500000, 0, -cell_m, 4760000), UTM17, **profile)
    (folder / "farm.toml").write_text('dem = "dem.tif"\n', "utf-8")
    return Project(folder)


def test_model_without_heights_is_not_told_by_parcels_that_nobody_gave(tmp_path: Path) -> None:
    project = _model(tmp_path, np.full((40, 40), -9999.0, np.float32), 1.0, nodata=-9999.0)
    with pytest.raises(NoHeights) as refused:
        looked_at(project.settings())
    assert "dem.tif holds no height at all" in refused.value.given and "parcels" not in str(refused.value)


@pytest.mark.parametrize(("cell_m", "doubted"), [(1.0, False), (30.0, True)])
def test_cells_too_wide_for_a_house_are_doubted_before_any_search(tmp_path: Path, cell_m: float, doubted: bool) -> None:
    found = looked_at(_model(tmp_path, gentle(60, 60), cell_m).settings())
    assert found is not None
    assert any("too wide" in words for words in found.words(feet=True)["doubts"]) == doubted
