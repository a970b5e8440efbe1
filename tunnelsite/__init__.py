"""tunnelsite: where on a farm a freestanding high tunnel or greenhouse should stand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tunnelsite.core.house import House
    from tunnelsite.core.placement import Placement
    from tunnelsite.core.site import Site
    from tunnelsite.decisions.compare import compare
    from tunnelsite.decisions.explain import explain
    from tunnelsite.decisions.robustness import StatedError, robustness
    from tunnelsite.io.read.raster_reading import RasterReading
    from tunnelsite.io.read.site import read_site
    from tunnelsite.plans.cost.plan import cost
    from tunnelsite.plans.cost.settings import CostSettings
    from tunnelsite.plans.grading.grade import grade
    from tunnelsite.plans.grading.settings import GradingSettings
    from tunnelsite.plans.layout.plan import lay_out
    from tunnelsite.plans.layout.settings import LayoutSettings
    from tunnelsite.plans.plan import Plan
    from tunnelsite.plans.stakeout.plan import stake_out
    from tunnelsite.plans.stakeout.settings import StakeOutSettings
    from tunnelsite.plans.sunchart.plan import sun_chart
    from tunnelsite.plans.sunchart.settings import SunChartSettings
    from tunnelsite.region.kept_region import kept_region
    from tunnelsite.region.python_call import screen_region
    from tunnelsite.region.rescored import rescore_region
    from tunnelsite.region.screened import RegionResult
    from tunnelsite.region.sensitivity import Sensitivity, sensitivity
    from tunnelsite.region.tasks import RegionPlan
    from tunnelsite.report.report import make_report
    from tunnelsite.report.settings import ReportSettings
    from tunnelsite.scan.firmness.parcel_draws import ParcelPlan
    from tunnelsite.screening.exporting import export
    from tunnelsite.screening.kept_run import keep_run, kept_run
    from tunnelsite.screening.option import option
    from tunnelsite.screening.result import Result
    from tunnelsite.screening.run import screen
    from tunnelsite.settings.model import Settings
    from tunnelsite.settings.prices import Prices

__all__ = [
    "CostSettings",
    "GradingSettings",
    "House",
    "LayoutSettings",
    "ParcelPlan",
    "Placement",
    "Plan",
    "Prices",
    "RasterReading",
    "RegionPlan",
    "RegionResult",
    "ReportSettings",
    "Result",
    "Sensitivity",
    "Settings",
    "Site",
    "StakeOutSettings",
    "StatedError",
    "SunChartSettings",
    "compare",
    "cost",
    "explain",
    "export",
    "grade",
    "keep_run",
    "kept_region",
    "kept_run",
    "lay_out",
    "make_report",
    "option",
    "read_site",
    "rescore_region",
    "robustness",
    "screen",
    "screen_region",
    "sensitivity",
    "stake_out",
    "sun_chart",
]
__version__ = "0.1.0"

_HOMES = {
    "CostSettings": "tunnelsite.plans.cost.settings",
    "GradingSettings": "tunnelsite.plans.grading.settings",
    "House": "tunnelsite.core.house",
    "LayoutSettings": "tunnelsite.plans.layout.settings",
    "ParcelPlan": "tunnelsite.scan.firmness.parcel_draws",
    "Placement": "tunnelsite.core.placement",
    "Plan": "tunnelsite.plans.plan",
    "Prices": "tunnelsite.settings.prices",
    "RasterReading": "tunnelsite.io.read.raster_reading",
    "RegionPlan": "tunnelsite.region.tasks",
    "RegionResult": "tunnelsite.region.screened",
    "ReportSettings": "tunnelsite.report.settings",
    "Result": "tunnelsite.screening.result",
    "Sensitivity": "tunnelsite.region.sensitivity",
    "Settings": "tunnelsite.settings.model",
    "Site": "tunnelsite.core.site",
    "StakeOutSettings": "tunnelsite.plans.stakeout.settings",
    "StatedError": "tunnelsite.decisions.robustness",
    "SunChartSettings": "tunnelsite.plans.sunchart.settings",
    "compare": "tunnelsite.decisions.compare",
    "cost": "tunnelsite.plans.cost.plan",
    "explain": "tunnelsite.decisions.explain",
    "export": "tunnelsite.screening.exporting",
    "grade": "tunnelsite.plans.grading.grade",
    "keep_run": "tunnelsite.screening.kept_run",
    "kept_region": "tunnelsite.region.kept_region",
    "kept_run": "tunnelsite.screening.kept_run",
    "lay_out": "tunnelsite.plans.layout.plan",
    "make_report": "tunnelsite.report.report",
    "option": "tunnelsite.screening.option",
    "read_site": "tunnelsite.io.read.site",
    "rescore_region": "tunnelsite.region.rescored",
    "robustness": "tunnelsite.decisions.robustness",
    "screen": "tunnelsite.screening.run",
    "screen_region": "tunnelsite.region.python_call",
    "sensitivity": "tunnelsite.region.sensitivity",
    "stake_out": "tunnelsite.plans.stakeout.plan",
    "sun_chart": "tunnelsite.plans.sunchart.plan",
}


def __getattr__(name: str) -> Any:
    """Import on first use: a process that only needs a kernel does not wait for the file formats."""
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'tunnelsite' has no attribute {name!r}")


def __dir__() -> list[str]:
    """What may be imported, for editors and notebooks that complete a name."""
    return sorted([*__all__, "__version__"])
