"""One offer as a pygeoapi processor: it describes; the work is done by the manager, in a process of its own."""

from __future__ import annotations

from typing import Any

from pygeoapi.process.base import BaseProcessor, ProcessorExecuteError

from tunnelsite import __version__
from tunnelsite.core import catalogue
from tunnelsite.hosts.server.offers import SCREENING, Offer, process_offer
from tunnelsite.hosts.server.plan_offer import plan_named, plan_offer
from tunnelsite.hosts.server.screening_offer import screening_offer


class OfferedProcessor(BaseProcessor):
    """A process or plan of the catalogue, or the screening. Arguments: processor_def with `process` (id) and `datasets` by kind and id."""

    def __init__(self, processor_def: dict[str, Any]) -> None:
        self.offer = offer_of(processor_def["process"])
        super().__init__(processor_def, self.offer.description(__version__, processor_def["datasets"]))
        self.supports_outputs = True

    def execute(self, data: dict[str, Any], outputs: dict[str, Any] | None = None) -> tuple[str, Any]:
        """Not here. Errors: always, since only the manager keeps limits."""
        raise ProcessorExecuteError(user_msg="this process runs only under tunnelsite's own job manager")


def offer_of(process_id: str) -> Offer:
    """The offer by its id. Errors: UsageError for an unknown one."""
    if process_id == SCREENING:
        return screening_offer()
    kind = plan_named(process_id)
    return process_offer(catalogue.process(process_id), __version__) if kind is None else plan_offer(kind)
