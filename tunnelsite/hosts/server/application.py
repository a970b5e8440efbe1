"""The web application: pygeoapi's answers and manager behind a gate that lets only well-formed requests through."""

from __future__ import annotations

import copy
import json
import threading
from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

from flask import Flask, Response, request
from pygeoapi.api import API, APIRequest, landing_page
from pygeoapi.api.processes import delete_job, describe_processes, get_jobs
from pygeoapi.util import JobStatus
from werkzeug.exceptions import HTTPException

from tunnelsite.hosts.server import wording
from tunnelsite.hosts.server.job_list import job_query, page_links
from tunnelsite.hosts.server.manager import JobManager
from tunnelsite.hosts.server.openapi import openapi_document
from tunnelsite.hosts.server.refusals import Refused, no_such_job, no_such_process
from tunnelsite.hosts.server.results import Answer
from tunnelsite.hosts.server.store import owner_of

JSON = "application/json"
READ_AT_ONCE = 2  # a body takes several times its size while it is read
LEAST_TOKEN, MOST_TOKEN = 16, 512
EXECUTE_MEMBERS = ("inputs", "outputs", "response", "subscriber", "mode")
SECURITY_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-store",
}


def application(configuration: dict[str, Any], log: Callable[[str], None]) -> tuple[Flask, JobManager]:
    """The WSGI application and its job manager, which the caller has to close. Arguments: configuration of pygeoapi; log."""
    url = configuration["server"]["url"].rstrip("/")
    api = API(copy.deepcopy(configuration), {})
    api.openapi = openapi_document(url, {name: _own(api, name) for name in api.manager.processes})
    api.manager.open(log)
    app = Flask("tunnelsite", static_folder=None)
    app.url_map.strict_slashes = False
    app.config["MAX_CONTENT_LENGTH"] = api.manager.limits.body_bytes
    _add_gate(app, api.manager.limits.body_bytes, _names(configuration))
    _add_errors(app, log)
    _add_descriptions(app, api)
    _add_jobs(app, api, url)
    return app, api.manager


def _names(configuration: dict[str, Any]) -> set[str]:
    """Names under which the server may be spoken to: another one means that a browser was led here by a foreign page."""
    server = configuration["server"]
    names = {urlsplit(server["url"]).netloc.rpartition("@")[2].lower()}
    port = server["bind"]["port"]
    return names | {f"{name}:{port}" for name in ("127.0.0.1", "localhost", "[::1]")}


def _add_gate(app: Flask, most_bytes: int, names: set[str]) -> None:
    @app.before_request
    def check() -> None:
        if request.host.lower() not in names:
            raise Refused(403, f"the request is for {request.host[:80]!r}, which is not the name of this server.")
        # There is only JSON here: pygeoapi would answer a browser, which asks for HTML, with a page.
        request.environ["HTTP_ACCEPT"] = JSON
        if request.args.get("f", "json") != "json":
            raise Refused(406, f"the format {request.args['f'][:20]!r} was asked for. Expected: json.")
        if request.method == "POST" and request.routing_exception is None:  # else there is nothing that takes a body
            _check_body(most_bytes)

    @app.after_request
    def secure(response: Response) -> Response:
        response.headers.update(SECURITY_HEADERS)
        response.headers.pop("X-Powered-By", None)
        return response


def _check_body(most_bytes: int) -> None:
    if request.mimetype != JSON:
        raise Refused(415, f"the body is {request.mimetype[:60]!r}. Expected: {JSON}.")
    if request.content_length is None:
        raise Refused(411, "the header Content-Length is missing.")
    if request.content_length > most_bytes:
        raise Refused(413, f"the body has {request.content_length:,} bytes. Expected: at most {most_bytes:,}.")


def _add_errors(app: Flask, log: Callable[[str], None]) -> None:
    @app.errorhandler(Refused)
    def refused(problem: Refused) -> Response:
        return _json(problem.body(), int(problem.http_status_code), problem.headers, "application/problem+json")

    @app.errorhandler(HTTPException)
    def not_served(problem: HTTPException) -> Response:
        headers = {"Allow": ", ".join(allowed)} if (allowed := getattr(problem, "valid_methods", None)) else {}
        return _json(
            Refused(problem.code or 500, "there is nothing of that kind here; see /openapi.").body(),
            problem.code or 500,
            headers,
            "application/problem+json",
        )

    @app.errorhandler(Exception)
    def failed(problem: Exception) -> Response:
        log(f"a request failed: {type(problem).__name__}")
        return _json(Refused(500, "the request could not be served.").body(), 500, {}, "application/problem+json")


def _add_descriptions(app: Flask, api: API) -> None:
    @app.get("/")
    def landing() -> Response:
        told = wording.with_true_links(_asked(api, landing_page))
        return _json(told)

    @app.get("/conformance")
    def conformance() -> Response:
        return _json({"conformsTo": list(wording.CONFORMANCE)})

    @app.get("/openapi")
    def openapi() -> Response:
        return _json(api.openapi, media="application/vnd.oai.openapi+json;version=3.0")

    @app.get("/processes")
    def processes() -> Response:
        told = wording.with_true_links(_asked(api, describe_processes))
        told["processes"] = [wording.process_document(item, _own(api, item["id"])) for item in told["processes"]]
        return _json(told)

    @app.get("/processes/<process_id>")
    def process(process_id: str) -> Response:
        if process_id not in api.manager.processes:
            raise no_such_process(process_id, list(api.manager.processes))
        return _json(wording.process_document(_asked(api, describe_processes, process_id), _own(api, process_id)))


def _own(api: API, process_id: str) -> dict[str, Any]:
    """Our description of a process, before pygeoapi has put its words into it."""
    found: dict[str, Any] = api.manager.get_processor(process_id).metadata
    return found


def _add_jobs(app: Flask, api: API, url: str) -> None:
    reading = threading.BoundedSemaphore(READ_AT_ONCE)

    def status(seen: API, job_id: str) -> dict[str, Any]:
        seen.manager.store.found(job_id, seen.manager.owner)
        return wording.status_document(_asked(seen, get_jobs, job_id), url)

    @app.post("/processes/<process_id>/execution")
    def execute(process_id: str) -> Response:
        seen, asynchronous = _as_seen(api), _prefers_async()
        with reading:
            job, waits = seen.manager.accept(process_id, _execute_request(), asynchronous)
        if waits:
            return _sent(seen.manager.awaited(job))
        headers = {"Location": f"{url}/jobs/{job.identifier}"}
        return _json(
            status(seen, job.identifier),
            201,
            headers | ({"Preference-Applied": "respond-async"} if asynchronous else {}),
        )

    @app.get("/jobs")
    def jobs() -> Response:
        query = job_query(request.args)
        page, count = _as_seen(api).manager.listed(query)
        found = [wording.status_document(told, url) for told in page]
        links = page_links(f"{url}/jobs", request.args, query, count)
        return _json({"jobs": found, "links": links, "numberMatched": count})

    @app.get("/jobs/<job_id>")
    def job(job_id: str) -> Response:
        return _json(status(_as_seen(api), job_id))

    @app.delete("/jobs/<job_id>")
    def dismiss(job_id: str) -> Response:
        seen = _as_seen(api)
        before = status(seen, job_id)
        if _asked(seen, delete_job, job_id).get("status") != JobStatus.dismissed.value:
            raise no_such_job(job_id)
        return _json(wording.status_document(before | {"status": "dismissed", "message": "the job was dismissed"}, url))

    @app.get("/jobs/<job_id>/results")
    def results(job_id: str) -> Response:
        return _sent(_as_seen(api).manager.result(job_id))

    @app.get("/jobs/<job_id>/results/<output_id>")
    def output(job_id: str, output_id: str) -> Response:
        return _sent(_as_seen(api).manager.output(job_id, output_id))


def _as_seen(api: API) -> API:
    """pygeoapi's API as the client of this request sees it: with the jobs that its token opens."""
    kind, _, token = request.headers.get("Authorization", "").partition(" ")
    if kind and (kind.lower() != "bearer" or not LEAST_TOKEN <= len(token.strip()) <= MOST_TOKEN):
        raise Refused(
            400,
            f"the header Authorization is not understood. Expected: Bearer and a token of {LEAST_TOKEN} to {MOST_TOKEN} characters.",
        )
    seen = copy.copy(api)
    seen.manager = api.manager.seen_by(owner_of(token.strip()))
    return seen


def _asked(api: API, what: Callable[..., Any], *words: str) -> dict[str, Any]:
    """One of pygeoapi's answers as an object. Errors: Refused."""
    _, status, content = what(api, APIRequest.from_flask(request, api.locales), *words)
    told: dict[str, Any] = json.loads(content)
    if int(status) >= 400:
        raise Refused(int(status), f"{told.get('description') or 'the request cannot be served'}.")
    return told


def _execute_request() -> dict[str, Any]:
    """The body of an execute request (schema execute.yaml). Errors: Refused (400)."""
    try:
        asked = json.loads(request.get_data(cache=False), parse_constant=_no_number)
    except (ValueError, RecursionError):
        raise Refused(400, "the body cannot be read as JSON (RFC 8259). Expected: an object with inputs.") from None
    if not isinstance(asked, dict) or not isinstance(asked.get("inputs", {}), dict):
        raise Refused(
            400, 'the body is no execute request. Expected: {"inputs": {...}, "outputs": {...}, "response": "raw"}.'
        )
    unknown = [name for name in asked if name not in EXECUTE_MEMBERS]
    if unknown:
        raise Refused(400, f"the body has a member {unknown[0][:40]!r}. Expected: {', '.join(EXECUTE_MEMBERS)}.")
    return asked


def _no_number(word: str) -> float:
    raise ValueError(word)


def _prefers_async() -> bool:
    """Whether RFC 7240's `respond-async` is among the preferences."""
    given = ",".join(request.headers.getlist("Prefer"))
    return "respond-async" in [part.partition(";")[0].strip().lower() for part in given.split(",")]


def _json(
    body: dict[str, Any], status: int = 200, headers: dict[str, str] | None = None, media: str = JSON
) -> Response:
    return Response(json.dumps(body, allow_nan=False), status, headers, content_type=media)


def _sent(made: Answer) -> Response:
    return Response(made.body, made.status, made.headers)
