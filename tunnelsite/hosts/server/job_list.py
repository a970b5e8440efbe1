"""The list of jobs and what a client may ask of it (OGC 18-062r2, 7.12, requirements class job-list)."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from urllib.parse import urlencode

from werkzeug.datastructures import MultiDict

from tunnelsite.core.describe import nearest
from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.server.refusals import Refused
from tunnelsite.hosts.server.store import Job

STATUSES = ("accepted", "running", "successful", "failed", "dismissed")
TYPES = ("process",)
USUAL_LIMIT, MOST_LIMIT = 100, 1000
MOST_SECONDS = 10**9
MOMENT = r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d:\d\d(?:\.\d{1,9})?(?:[Zz]|[+-]\d\d:\d\d)"  # RFC 3339, 5.6: with its zone
EVER = (datetime.min.replace(tzinfo=UTC), datetime.max.replace(tzinfo=UTC))


def _words(name: str, text: str, *, choices: tuple[str, ...] = ()) -> dict[str, Any]:
    """A parameter that is a list of words, separated by commas."""
    items: dict[str, Any] = {"type": "string"} | ({"enum": list(choices)} if choices else {"minLength": 1})
    schema = {"type": "array", "items": items, "minItems": 1}
    return _parameter(name, text, schema) | {"style": "form", "explode": False}


def _parameter(name: str, text: str, schema: dict[str, Any]) -> dict[str, Any]:
    return {"name": name, "in": "query", "required": False, "description": text, "schema": schema}


def _whole(least: int, most: int, **more: Any) -> dict[str, Any]:
    return {"type": "integer", "minimum": least, "maximum": most} | more


PARAMETERS = (
    _words("type", "jobs of these types", choices=TYPES),
    _words("processID", "jobs of these processes"),
    _words("status", "jobs with these statuses", choices=STATUSES),
    _parameter(
        "datetime",
        "jobs created at this time, or within this interval: START/END, either may be `..` (RFC 3339, with its zone)",
        {"type": "string", "pattern": rf"^({MOMENT}|({MOMENT}|\.\.|)/({MOMENT}|\.\.|))$"},
    ),
    _parameter("minDuration", "jobs that took or have taken this long or longer [s]", _whole(0, MOST_SECONDS)),
    _parameter("maxDuration", "jobs that took or have taken this long or less [s]", _whole(0, MOST_SECONDS)),
    _parameter("limit", "so many jobs in one answer", _whole(1, MOST_LIMIT, default=USUAL_LIMIT)),
    _parameter("offset", "so many jobs are left out before", _whole(0, MOST_SECONDS, default=0)),
)
NAMES = tuple(parameter["name"] for parameter in PARAMETERS)


@dataclass(frozen=True)
class JobQuery:
    """What a client asks of the list: process ids, statuses (None = all); first and last time of creation; durations [s]; page."""

    process_ids: frozenset[str] | None
    statuses: frozenset[str] | None
    created: tuple[datetime, datetime]
    duration_s: tuple[int, int]
    limit: int
    offset: int

    def holds(self, job: Job, now: datetime) -> bool:
        """Whether a job is asked for."""
        if self.process_ids is not None and job.process_id not in self.process_ids:
            return False
        if self.statuses is not None and job.status not in self.statuses:
            return False
        least, most = self.duration_s
        return self.created[0] <= _moment(job.created) <= self.created[1] and least <= _duration_s(job, now) <= most


def job_query(asked: MultiDict[str, str]) -> JobQuery:
    """The query parameters of a request. Errors: Refused (400) for a parameter that there is not, or a value that it cannot have."""
    for name in asked:
        if name not in (*NAMES, "f"):
            raise _wrong(name, "no parameter of the list of jobs", f"one of {', '.join(NAMES)}; {nearest(name, NAMES)}")
    _choice(asked, "type", TYPES)
    ids = _listed(asked, "processID")
    return JobQuery(
        None if ids is None else frozenset(ids),
        _choice(asked, "status", STATUSES),
        _interval(asked),
        (_number(asked, "minDuration", 0), _number(asked, "maxDuration", MOST_SECONDS)),
        _number(asked, "limit", USUAL_LIMIT),
        _number(asked, "offset", 0),
    )


def jobs_listed(jobs: Sequence[Job], query: JobQuery) -> tuple[list[Job], int]:
    """(the jobs of the page asked for, the last one created first; how many there are on all pages)."""
    now = datetime.now(UTC)
    found = [job for job in reversed(jobs) if query.holds(job, now)]
    return found[query.offset : query.offset + query.limit], len(found)


def page_links(url: str, asked: MultiDict[str, str], query: JobQuery, count: int) -> list[dict[str, str]]:
    """Links of a page of the list. Arguments: url of the list; asked, its query parameters; query; count of all jobs."""

    def link(relation: str, offset: int, title: str) -> dict[str, str]:
        words = [(name, value) for name, value in asked.items(multi=True) if name not in ("offset", "f")]
        words += [("offset", str(offset))] if offset else []
        where = f"{url}?{urlencode(words)}" if words else url
        return {"href": where, "rel": relation, "type": "application/json", "title": title}

    links = [link("self", query.offset, "This list")]
    if query.offset + query.limit < count:
        links.append(link("next", query.offset + query.limit, "Earlier jobs"))
    if query.offset:
        links.append(link("prev", max(0, query.offset - query.limit), "Later jobs"))
    return links


def _listed(asked: MultiDict[str, str], name: str) -> list[str] | None:
    if name not in asked:
        return None
    words = ",".join(asked.getlist(name)).split(",")
    if not all(words):
        raise _wrong(name, f"{','.join(words)[:60]!r}", "words separated by commas")
    return words


def _choice(asked: MultiDict[str, str], name: str, choices: tuple[str, ...]) -> frozenset[str] | None:
    words = _listed(asked, name)
    for word in words or ():
        if word not in choices:
            raise _wrong(name, f"{word[:60]!r}", f"one or more of {', '.join(choices)}")
    return None if words is None else frozenset(words)


def _number(asked: MultiDict[str, str], name: str, usual: int) -> int:
    schema = next(parameter["schema"] for parameter in PARAMETERS if parameter["name"] == name)
    text = asked.get(name, str(usual))
    least, most = schema["minimum"], schema["maximum"]
    if not re.fullmatch(r"\d{1,10}", text, re.ASCII) or not least <= int(text) <= most or len(asked.getlist(name)) > 1:
        raise _wrong(name, f"{text[:60]!r}", f"one whole number from {least} to {most}")
    return int(text)


def _interval(asked: MultiDict[str, str]) -> tuple[datetime, datetime]:
    text = asked.get("datetime")
    if text is None:
        return EVER
    first, slash, last = text.partition("/")
    try:
        ends = [
            EVER[k] if slash and part in ("", "..") else _moment(part)
            for k, part in enumerate((first, last if slash else first))
        ]
    except ValueError:
        expected = "a time with its zone such as 2026-01-31T12:00:00Z, or START/END, either of which may be .."
        raise _wrong("datetime", f"{text[:60]!r}", expected) from None
    if ends[0] > ends[1]:
        raise _wrong("datetime", f"{text[:60]!r}, whose end is before its start", "START/END")
    return ends[0], ends[1]


def _moment(text: str) -> datetime:
    if not re.fullmatch(MOMENT, text, re.ASCII):
        raise ValueError(text)
    return datetime.fromisoformat(text.upper().replace("Z", "+00:00")).astimezone(UTC)


def _duration_s(job: Job, now: datetime) -> float:
    if job.started is None:
        return 0.0
    return ((now if job.finished is None else _moment(job.finished)) - _moment(job.started)).total_seconds()


def _wrong(name: str, given: str, expected: str) -> Refused:
    return Refused(400, str(UsageError(f"the query parameter {name[:40]} is {given}", expected)))
