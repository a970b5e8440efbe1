"""tunnelsite: where on a farm a freestanding high tunnel or greenhouse should stand."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tunnelsite.core.house import House
    from tunnelsite.core.placement import Placement
    from tunnelsite.decisions.compare import compare
    from tunnelsite.decisions.explain import explain
    from tunnelsite.decisions.robustness import robustness
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
    from tunnelsite.report.report import make_report
    from tunnelsite.report.settings import ReportSettings
    from tunnelsite.screening.exporting import export
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
    "Placement",
    "Plan",
    "Prices",
    "ReportSettings",
    "Result",
    "Settings",
    "StakeOutSettings",
    "SunChartSettings",
    "compare",
    "cost",
    "explain",
    "export",
    "grade",
    "lay_out",
    "make_report",
    "option",
    "read_site",
    "robustness",
    "screen",
    "stake_out",
    "sun_chart",
]
__version__ = "0.1.0"

_HOMES = {
    "CostSettings": "tunnelsite.plans.cost.settings",
    "GradingSettings": "tunnelsite.plans.grading.settings",
    "House": "tunnelsite.core.house",
    "LayoutSettings": "tunnelsite.plans.layout.settings",
    "Placement": "tunnelsite.core.placement",
    "Plan": "tunnelsite.plans.plan",
    "ReportSettings": "tunnelsite.report.settings",
    "Prices": "tunnelsite.settings.prices",
    "Result": "tunnelsite.screening.result",
    "Settings": "tunnelsite.settings.model",
    "StakeOutSettings": "tunnelsite.plans.stakeout.settings",
    "SunChartSettings": "tunnelsite.plans.sunchart.settings",
    "compare": "tunnelsite.decisions.compare",
    "cost": "tunnelsite.plans.cost.plan",
    "explain": "tunnelsite.decisions.explain",
    "export": "tunnelsite.screening.exporting",
    "grade": "tunnelsite.plans.grading.grade",
    "lay_out": "tunnelsite.plans.layout.plan",
    "make_report": "tunnelsite.report.report",
    "option": "tunnelsite.screening.option",
    "read_site": "tunnelsite.io.read.site",
    "robustness": "tunnelsite.decisions.robustness",
    "screen": "tunnelsite.screening.run",
    "stake_out": "tunnelsite.plans.stakeout.plan",
    "sun_chart": "tunnelsite.plans.sunchart.plan",
}


def __getattr__(name: str) -> Any:
    """Import on first use: a process that only needs a kernel does not wait for the file formats."""
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'tunnelsite' has no attribute {name!r}")
