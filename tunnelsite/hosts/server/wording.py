"""pygeoapi's answers put right: nothing is announced that this server does not offer, and schemas of OGC 18-062r2 hold."""

from __future__ import annotations

from typing import Any

from tunnelsite.hosts.server.results import WAYS

OGC = "http://www.opengis.net/spec"
CONFORMANCE = (
    f"{OGC}/ogcapi-common-1/1.0/conf/core",
    f"{OGC}/ogcapi-common-1/1.0/conf/landing-page",
    f"{OGC}/ogcapi-common-1/1.0/conf/json",
    f"{OGC}/ogcapi-common-1/1.0/conf/oas30",
    f"{OGC}/ogcapi-processes-1/1.0/conf/core",
    f"{OGC}/ogcapi-processes-1/1.0/conf/ogc-process-description",
    f"{OGC}/ogcapi-processes-1/1.0/conf/json",
    f"{OGC}/ogcapi-processes-1/1.0/conf/oas30",
    f"{OGC}/ogcapi-processes-1/1.0/conf/job-list",
    f"{OGC}/ogcapi-processes-1/1.0/conf/dismiss",
)
UNOFFERED_TYPES = ("text/html", "application/ld+json")
UNOFFERED_RELATIONS = ("data", "about", "http://www.opengis.net/def/rel/ogc/1.0/tiling-schemes")
STATUS_MEMBERS = (
    "jobID", "processID", "type", "status", "message", "progress", "created", "started", "finished", "updated", "links",
)  # fmt: skip
RESULTS_RELATION = "http://www.opengis.net/def/rel/ogc/1.0/results"


def with_true_links(answer: dict[str, Any]) -> dict[str, Any]:
    """The same answer without links to what is not offered, here and in its processes and jobs."""
    if "links" in answer:
        answer["links"] = [_plain(link) for link in answer["links"] if _offered(link)]
    for part in (*answer.get("processes", ()), *answer.get("jobs", ())):
        with_true_links(part)
    return answer


def process_document(answer: dict[str, Any], own: dict[str, Any]) -> dict[str, Any]:
    """A process description or summary with the ways it really offers. Arguments: answer, of pygeoapi; own, our description."""
    told = {name: value for name, value in answer.items() if name != "example"}
    told |= {"jobControlOptions": own["jobControlOptions"], "outputTransmission": list(WAYS)}
    return with_true_links(told)


def status_document(answer: dict[str, Any], url: str) -> dict[str, Any]:
    """A job as `statusInfo`: what is not known is left out. Arguments: answer, of pygeoapi; url of the server."""
    told = {name: answer[name] for name in STATUS_MEMBERS if answer.get(name) is not None}
    told["type"] = "process"
    if told["status"] == "accepted":
        told.pop("started", None)
    here = f"{url}/jobs/{told['jobID']}"
    told["links"] = [{"href": here, "rel": "self", "type": "application/json", "title": "Status of the job"}]
    if told["status"] == "successful":
        told["links"].append({"href": f"{here}/results", "rel": RESULTS_RELATION, "title": "Results of the job"})
    return told


def _offered(link: dict[str, Any]) -> bool:
    return link.get("type") not in UNOFFERED_TYPES and link.get("rel") not in UNOFFERED_RELATIONS


def _plain(link: dict[str, Any]) -> dict[str, Any]:
    return link | {"href": str(link["href"]).removesuffix("?f=json")}
