"""The plug-in protocol for processes: layers and parameters in, layers out; pure."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from tunnelsite.core.describe import Description
from tunnelsite.core.errors import UsageError
from tunnelsite.core.layers import Layer

Progress = Callable[[str, float], None]  # (what is being done, share done 0..1)


def silent(what: str, share: float) -> None:
    """The progress function for those who do not want to hear."""


@dataclass(frozen=True)
class Process:
    """A geoprocessing tool.

    Attributes:
        description: id, layers it reads and makes, parameters, source.
        run: run(inputs, parameters, progress) -> outputs; inputs and outputs are layers by id; no files, no printing.
    """

    description: Description
    run: Callable[[Mapping[str, Layer], Mapping[str, Any], Progress], dict[str, Layer]]

    @property
    def id(self) -> str:
        """Short for the description's id."""
        return self.description.id

    def __call__(
        self, inputs: Mapping[str, Layer], parameters: Mapping[str, Any] | None = None, progress: Progress = silent
    ) -> dict[str, Layer]:
        """Check inputs and parameters against the description and run. Errors: UsageError."""
        for spec in self.description.reads:
            if spec.id not in inputs and not spec.optional:
                raise UsageError(
                    f"{self.id} was not given the layer {spec.id!r}", f"{spec.title} [{spec.unit}]", "add it"
                )
        return self.run(inputs, self.description.checked(dict(parameters or {})), progress)
