"""What is answered where a request cannot be served: an exception of OGC 18-062r2, 7.8 (RFC 7807), never a trace."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pygeoapi.process.base import ProcessorExecuteError

from tunnelsite.core.errors import ResourceShortage, TunnelsiteError

OGC_TYPE = "http://www.opengis.net/def/exceptions/ogcapi-processes-1/1.0/"
PLAIN_TYPE = "about:blank"  # RFC 7807, 4.2: the status says it all
TITLES = {
    400: "The request cannot be served as it is",
    403: "Refused",
    404: "There is no such thing here",
    405: "This method is not offered here",
    406: "This format is not offered",
    411: "The length of the body has to be stated",
    413: "The request is too large",
    415: "This media type is not read",
    500: "The server failed",
    503: "The server is busy",
    507: "The job needs more than it may use",
}


class Refused(ProcessorExecuteError):
    """A request that is not served.

    Arguments: status, of HTTP; detail, what was given, expected and how to fix it; kind, the last part of an OGC exception
    type or ``; headers, further ones.
    """

    def __init__(self, status: int, detail: str, kind: str = "", headers: Mapping[str, str] | None = None) -> None:
        super().__init__(detail, user_msg=detail)
        self.http_status_code = status
        self.ogc_exception_code = OGC_TYPE + kind if kind else PLAIN_TYPE
        self.headers = dict(headers or {})

    def body(self) -> dict[str, Any]:
        """The exception as JSON (schema exception.yaml)."""
        status = int(self.http_status_code)
        title = TITLES.get(status, "The request was not served")
        return {"type": self.ogc_exception_code, "title": title, "status": status, "detail": self.message}


def refused(problem: TunnelsiteError) -> Refused:
    """An error of the toolkit as an answer to the client."""
    return Refused(507 if isinstance(problem, ResourceShortage) else 400, str(problem))


def no_such_job(job_id: str) -> Refused:
    """The answer for a job that does not exist, has been forgotten, or is another client's: they look alike."""
    shown = job_id if len(job_id) <= 64 else job_id[:61] + "..."
    return Refused(404, f"there is no job {shown!r}, or it has been forgotten.", "no-such-job")


def no_such_process(process_id: str, known: list[str]) -> Refused:
    """The answer for a process that is not offered."""
    shown = process_id if len(process_id) <= 64 else process_id[:61] + "..."
    return Refused(404, f"there is no process {shown!r}. Expected: one of {', '.join(known)}.", "no-such-process")
