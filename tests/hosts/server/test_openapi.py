"""The OpenAPI document, and the server held to it by a checker that others wrote (schemathesis), with so many requests an operation."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import jsonschema
import pytest
from hypothesis import HealthCheck, given, settings

pytest.importorskip("pygeoapi", reason="pygeoapi is not installed")
pytest.importorskip("schemathesis", reason="schemathesis is not installed")

import schemathesis

from tests.hosts.server.ogc_schemas import SCHEMAS
from tunnelsite.core import catalogue
from tunnelsite.hosts.server.application import application
from tunnelsite.hosts.server.configuration import configuration
from tunnelsite.hosts.server.job_limits import Limits
from tunnelsite.hosts.server.job_list import NAMES, STATUSES
from tunnelsite.hosts.server.offers import SCREENING
from tunnelsite.hosts.server.openapi import references
from tunnelsite.hosts.server.store import JobStore, owner_of

URL = "http://127.0.0.1:5000"
TOKEN = "a token of sixteen letters"
EXAMPLES = 12  # requests an operation and a kind
PROCESSES = ("screening", "slope", "wind_shelter")  # all are described by the same few lines


@pytest.fixture(scope="module")
def served():
    """(application inside this process, its manager); a job that is accepted is never started."""
    patch = pytest.MonkeyPatch()
    patch.setattr(JobStore, "start", lambda store, job, task: job.done.set())
    names = [SCREENING, *(process.id for process in catalogue.processes())]
    app, manager = application(
        configuration(URL, Limits(), {"raster": {}, "features": {}, "text": {}}, names, 5000), str
    )
    yield app, manager
    manager.close()
    patch.undo()


@pytest.fixture(scope="module")
def document(served) -> dict:
    return served[0].test_client().get("/openapi", headers={"Host": "127.0.0.1:5000"}).json


@pytest.fixture(scope="module")
def jobs(served):
    """Five jobs: (id, process, status, created so many hours ago, duration [s])."""
    manager, now, made = served[1], datetime.now(UTC), []
    for process, status, hours, seconds in (
        ("slope", "successful", 5, 60), ("slope", "failed", 4, 600), ("aspect", "running", 3, None), ("aspect", "accepted", 2, None),
        ("screening", "successful", 1, 1200),
    ):  # fmt: skip
        job = manager.store.accepted(process, owner_of(TOKEN))
        created = now - timedelta(hours=hours)
        job.status, job.created = status, told(created)
        if status != "accepted":
            job.started = told(created)
        if seconds is not None:
            job.finished = told(created + timedelta(seconds=seconds))
        made.append(job)
    return made


def told(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def test_nothing_in_the_document_lies_elsewhere(document) -> None:
    found = references(document)
    assert found and all(name.startswith("#/components/schemas/") for name in found)
    assert {name.rpartition("/")[2] for name in found} <= document["components"]["schemas"].keys()
    names = [item["name"] for item in document["paths"]["/jobs"]["get"]["parameters"]]
    assert names == [*NAMES, "f"]


def test_every_process_and_path_is_in_it(served, document) -> None:
    ids = [SCREENING, *(process.id for process in catalogue.processes())]
    for name in ids:
        assert {f"/processes/{name}", f"/processes/{name}/execution"} <= document["paths"].keys()
    rules = {re.sub(r"<\w+?>", "{}", str(rule)) for rule in served[0].url_map.iter_rules()}
    known = "|".join(map(re.escape, ids))
    assert {re.sub(rf"{{\w+}}|(?<=/processes/)({known})(?=/|$)", "{}", path) for path in document["paths"]} == rules
    operations = [one["operationId"] for path in document["paths"].values() for one in path.values()]
    assert len(set(operations)) == len(operations)


@pytest.mark.parametrize("mode", ["POSITIVE", "NEGATIVE"])
def test_the_server_keeps_to_its_document(served, document, mode) -> None:
    """Answers have the statuses, media types and members that the document tells; nothing ends as a fault of the server."""
    schema = schemathesis.openapi.from_dict(document)
    names = ["not_a_server_error", "status_code_conformance", "content_type_conformance", "response_schema_conformance"]
    names += ["negative_data_rejection"] if mode == "NEGATIVE" else []
    checks = [schemathesis.checks.CHECKS.get_one(name) for name in names]
    seen = 0
    for found in schema.get_all_operations():
        operation = found.ok()
        name = operation.path.removeprefix("/processes/").partition("/")[0]
        if operation.path.startswith("/processes/") and name not in PROCESSES:
            continue

        @settings(
            max_examples=EXAMPLES,
            deadline=None,
            derandomize=True,
            database=None,
            suppress_health_check=list(HealthCheck),
        )
        @given(case=operation.as_strategy(generation_mode=schemathesis.GenerationMode[mode]))
        def hold(case) -> None:
            answer = case.call(base_url=URL, app=served[0], headers={"Host": "127.0.0.1:5000"})
            case.validate_response(answer, checks=checks)

        try:
            hold()
        except Exception as problem:
            if "nsatisfiable" not in type(problem).__name__:  # nothing wrong can be said where nothing is asked
                raise
            continue
        seen += 1
    assert seen >= 10


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ("", [4, 3, 2, 1, 0]),
        ("status=successful", [4, 0]),
        ("status=failed,running", [2, 1]),
        ("processID=aspect", [3, 2]),
        ("processID=aspect,slope&status=successful", [0]),
        ("processID=none", []),
        ("type=process", [4, 3, 2, 1, 0]),
        ("minDuration=600", [4, 2, 1]),  # the running one has run for three hours
        ("maxDuration=600", [3, 1, 0]),  # the waiting one for no time yet
        ("minDuration=600&maxDuration=1200", [4, 1]),
        ("limit=2", [4, 3]),
        ("limit=2&offset=4", [0]),
    ],
)
def test_the_list_holds_the_jobs_that_are_asked_for(served, jobs, asked, expected) -> None:
    said = listed(served, asked)
    assert said.status_code == 200
    jsonschema.Draft202012Validator(SCHEMAS | {"$ref": "#/$defs/jobList"}).validate(said.json)
    assert [job["jobID"] for job in said.json["jobs"]] == [jobs[k].identifier for k in expected]


def listed(served, asked: str):
    heads = {"Host": "127.0.0.1:5000", "Authorization": f"Bearer {TOKEN}"}
    return served[0].test_client().get(f"/jobs?{asked}", headers=heads)


def test_the_list_by_time_of_creation(served, jobs) -> None:
    third = jobs[2].created
    for asked, expected in (
        (third, [2]),
        (f"{third}/..", [4, 3, 2]),
        (f"../{third}", [2, 1, 0]),
        (f"{jobs[1].created}/{third}", [2, 1]),
    ):
        found = [job["jobID"] for job in listed(served, f"datetime={asked}").json["jobs"]]
        assert found == [jobs[k].identifier for k in expected], asked
    elsewhere = datetime.fromisoformat(third).astimezone(UTC) + timedelta(hours=2)
    assert len(listed(served, f"datetime={elsewhere:%Y-%m-%dT%H:%M:%S}%2B02:00").json["jobs"]) == 1


def test_pages_lead_to_one_another(served, jobs) -> None:
    seen, asked = [], "limit=2&status=" + ",".join(STATUSES)
    while asked is not None:
        said = listed(served, asked).json
        seen += [job["jobID"] for job in said["jobs"]]
        following = [link["href"] for link in said["links"] if link["rel"] == "next"]
        asked = following[0].partition("?")[2] if following else None
    assert seen == [job.identifier for job in reversed(jobs)]


@pytest.mark.parametrize(
    "asked",
    [
        "status=nonsense", "status=", "status=failed,", "type=collection", "datetime=yesterday", "datetime=2026-01-31T12:00:00",
        "datetime=2026-01-31", "datetime=2026-02-01T00:00:00Z/2026-01-01T00:00:00Z", "minDuration=-1", "minDuration=1.5", "maxDuration=x",
        "limit=0", "limit=1001", "limit=x", "offset=-1", "statuses=failed", "processID=",
    ],
)  # fmt: skip
def test_what_cannot_be_asked_is_refused_in_words(served, asked) -> None:
    said = listed(served, asked)
    name = asked.partition("=")[0]
    assert (
        said.status_code == 400
        and f"query parameter {name} is" in said.json["detail"]
        and "Expected: " in said.json["detail"]
    )


def test_a_method_that_a_path_has_not(served) -> None:
    for path in ("/processes/slope", "/jobs", "/"):
        said = served[0].test_client().post(path, headers={"Host": "127.0.0.1:5000"})
        assert said.status_code == 405 and "GET" in said.headers["Allow"]
