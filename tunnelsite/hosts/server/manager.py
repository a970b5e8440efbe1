"""The job manager behind pygeoapi: checks a request, runs it in a child process, answers for its jobs."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from pygeoapi.process.base import JobNotFoundError, JobResultNotFoundError, UnknownProcessError
from pygeoapi.process.manager.base import BaseManager
from pygeoapi.util import JobStatus, RequestedProcessExecutionMode

from tunnelsite.core import catalogue
from tunnelsite.core.errors import TunnelsiteError
from tunnelsite.hosts.server.job_limits import limits_from
from tunnelsite.hosts.server.job_list import JobQuery, jobs_listed
from tunnelsite.hosts.server.offers import SCREENING, Offer
from tunnelsite.hosts.server.plan_offer import plan_asked, plan_named
from tunnelsite.hosts.server.refusals import Refused, no_such_process, refused
from tunnelsite.hosts.server.results import Answer, answer, file_of, headers_of, requested_of
from tunnelsite.hosts.server.screening_offer import screening_settings
from tunnelsite.hosts.server.staged_inputs import Staged, Stager
from tunnelsite.hosts.server.store import Job, JobStore
from tunnelsite.settings.model import crop_period

if TYPE_CHECKING:
    from tunnelsite.hosts.server.processor import OfferedProcessor

ALL_YEAR = "01-01:12-31"
ASYNC = RequestedProcessExecutionMode.respond_async


class JobManager(BaseManager):
    """Jobs in child processes with limits. Nothing is started before `open`: pygeoapi also makes managers to list processes.

    Arguments: manager_def with `name`, `processes`, `limits`, `datasets` and `url`, plain values all.
    """

    def __init__(self, manager_def: dict[str, Any]) -> None:
        super().__init__(manager_def)
        self.is_async = True
        self.limits = limits_from(manager_def.get("limits"))
        self.datasets: dict[str, dict[str, str]] = manager_def.get("datasets") or {
            "raster": {},
            "features": {},
            "text": {},
        }
        self.url = manager_def.get("url", "").rstrip("/")
        self.owner = ""
        self.store: JobStore | None = None

    def open(self, log: Callable[[str], None]) -> None:
        """Make room for jobs. Arguments: log, called with a line on what happens."""
        self.store = JobStore(self.limits, log)

    def close(self) -> None:
        """End every job and delete everything."""
        if self.store is not None:
            self.store.close()

    @property
    def _jobs(self) -> JobStore:
        if self.store is None:
            raise RuntimeError("a manager that was not opened has no jobs")
        return self.store

    def seen_by(self, owner: str) -> JobManager:
        """The same manager as one client sees it. Arguments: owner, from `store.owner_of`."""
        seen = copy.copy(self)
        seen.owner = owner
        return seen

    def get_processor(self, process_id: str) -> OfferedProcessor:
        """As in pygeoapi. Errors: UnknownProcessError."""
        if process_id not in self.processes:
            raise UnknownProcessError("there is no such process")
        found: OfferedProcessor = super().get_processor(process_id)
        return found

    def execute_process(
        self,
        process_id: str,
        data_dict: dict[str, Any],
        execution_mode: RequestedProcessExecutionMode | None = None,
        requested_outputs: dict[str, Any] | None = None,
        subscriber: Any = None,
        requested_response: str = "raw",
    ) -> tuple[str, Any, Any, JobStatus, dict[str, str]]:
        """Check a request, accept a job, and wait for it where the client does.

        Return: job id, media type, body, status, headers. Errors: Refused, before anything is run where the request is wrong.
        """
        members = {"outputs": requested_outputs, "subscriber": subscriber, "response": requested_response}
        job, waits = self.accept(process_id, {"inputs": data_dict} | members, execution_mode == ASYNC)
        if waits:
            made = self.awaited(job)
            return job.identifier, made.headers.get("Content-Type", ""), made.body, JobStatus.successful, made.headers
        headers = {"Preference-Applied": ASYNC.value} if execution_mode == ASYNC else {}
        return job.identifier, "application/json", None, JobStatus.accepted, headers

    def accept(self, process_id: str, request: dict[str, Any], asynchronous: bool) -> tuple[Job, bool]:
        """A job for a request, started, and whether the client waits for it.

        Arguments: process_id; request, the members of an execute request, whose inputs are taken out; asynchronous, whether the
        client prefers that. Errors: Refused, before anything is run where the request is wrong.
        """
        if process_id not in self.processes:
            raise no_such_process(process_id, list(self.processes))
        if request.get("subscriber") is not None:
            detail = (
                "a subscriber was named. Expected: none, since this server makes no calls; ask for the job's status."
            )
            raise Refused(403, detail)
        offer = self.get_processor(process_id).offer
        wanted = requested_of(offer, request.get("outputs"), request.get("response", "raw"))
        job = self._jobs.accepted(process_id, self.owner)
        try:
            job.wanted = wanted
            stager = Stager(job.folder / "inputs", self.datasets, self.limits)
            staged = stager.staged(offer, request.pop("inputs", {}))  # taken out: they are large, and lie in files now
            task = _task(offer, staged, list(wanted.outputs))
            waits = offer.waits and not asynchronous
            self._check_waiting(waits, staged)
        except Exception:
            self._jobs.dismiss(job)
            raise
        self._jobs.start(job, task)
        return job, waits

    def _check_waiting(self, waits: bool, staged: Staged) -> None:
        if waits and staged.cells > self.limits.sync_cells:
            raise Refused(
                400,
                f"the rasters have {staged.cells:,} cells. Expected: at most {self.limits.sync_cells:,} where the client waits. "
                "Fix: send the header `Prefer: respond-async`.",
            )

    def awaited(self, job: Job) -> Answer:
        """The results of a job once it has ended; it is forgotten then, unless they hold links. Errors: Refused."""
        job.done.wait(self.limits.job_seconds * (2 + self.limits.max_waiting))
        keep = "reference" in job.wanted.outputs.values() and job.status == "successful"
        try:
            return self._answer(job, self.get_processor(job.process_id).offer)
        finally:
            if not keep:  # what the client holds in its hands is not kept here as well
                self._jobs.dismiss(job)

    def result(self, job_id: str) -> Answer:
        """The results of a job as its request wanted them. Errors: Refused: 404 where it is not ready, else what it failed of."""
        job = self._jobs.found(job_id, self.owner)
        return self._answer(job, self.get_processor(job.process_id).offer)

    def output(self, job_id: str, name: str) -> Answer:
        """One output of a job by itself. Errors: as `result`."""
        job = self._jobs.found(job_id, self.owner)
        offer = self.get_processor(job.process_id).offer
        self._check_ready(job)
        return Answer(200, file_of(offer, name, job.folder).read_bytes(), headers_of(offer, name))

    def _answer(self, job: Job, offer: Offer) -> Answer:
        self._check_ready(job)
        return answer(offer, job.wanted, job.folder, f"{self.url}/jobs/{job.identifier}/results")

    def _check_ready(self, job: Job) -> None:
        if job.failure is not None:
            raise Refused(job.failure.status, job.failure.detail)
        if job.status == "dismissed":
            raise Refused(404, "the job was dismissed.", "no-such-job")
        if job.status != "successful":
            raise Refused(404, f"the job is {job.status}. Ask again when its status is successful.", "result-not-ready")

    def get_job(self, job_id: str) -> dict[str, Any]:
        """As in pygeoapi. Errors: JobNotFoundError."""
        try:
            return _job_record(self._jobs.found(job_id, self.owner))
        except Refused:
            raise JobNotFoundError() from None

    def get_jobs(
        self, status: JobStatus | None = None, limit: int | None = None, offset: int | None = None
    ) -> dict[str, Any]:
        """As in pygeoapi, of the jobs made with the client's own token; without a token none."""
        jobs = [
            _job_record(job) for job in self._jobs.owned(self.owner) if status is None or job.status == status.value
        ]
        first = offset or 0
        return {"jobs": jobs[first : None if limit is None else first + limit], "numberMatched": len(jobs)}

    def listed(self, query: JobQuery) -> tuple[list[dict[str, Any]], int]:
        """The jobs made with the client's own token that a query asks for, as `statusInfo`, and how many there are in all."""
        page, count = jobs_listed(self._jobs.owned(self.owner), query)
        return [_job_record(job) | {"jobID": job.identifier, "processID": job.process_id} for job in page], count

    def get_job_result(self, job_id: str) -> tuple[str, Any]:
        """As in pygeoapi. Errors: JobNotFoundError, JobResultNotFoundError."""
        try:
            made = self.result(job_id)
        except Refused as problem:
            raise (
                JobNotFoundError() if problem.ogc_exception_code.endswith("job") else JobResultNotFoundError()
            ) from None
        return made.headers.get("Content-Type", "application/json"), made.body

    def delete_job(self, job_id: str) -> bool:
        """As in pygeoapi: end a job, forget it. Errors: JobNotFoundError."""
        try:
            self._jobs.dismiss(self._jobs.found(job_id, self.owner))
        except Refused:
            raise JobNotFoundError() from None
        return True


def _task(offer: Offer, staged: Staged, outputs: list[str]) -> dict[str, Any]:
    """The child's task, its settings checked. Errors: Refused."""
    task = {"process": offer.id, "files": staged.files, "values": staged.values, "outputs": outputs}
    try:
        kind = plan_named(offer.id)
        if offer.id == SCREENING:
            screening_settings(task)
        elif kind is not None:
            plan_asked(kind, task)
        else:
            about = catalogue.process(offer.id).description
            if offer.inputs.get("crop_months") is not None:
                crop_period(staged.values.get("crop_months", ALL_YEAR))
            about.checked({item.id: staged.values[item.id] for item in about.parameters if item.id in staged.values})
    except TunnelsiteError as problem:
        raise refused(problem) from None
    return task


def _job_record(job: Job) -> dict[str, Any]:
    """A job in the words of pygeoapi."""
    return {
        "type": "process",
        "identifier": job.identifier,
        "process_id": job.process_id,
        "created": job.created,
        "started": job.started or job.created,
        "updated": job.updated,
        "finished": job.finished,
        "status": job.status,
        "location": None,
        "mimetype": "application/json",
        "message": job.message,
        "progress": job.progress,
    }
