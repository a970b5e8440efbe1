"""Requests to hosts that the user named and to no others: no redirect, link or catalogue leads anywhere else."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from urllib.parse import SplitResult, urljoin, urlsplit

import requests

from tunnelsite.core.errors import InputRefused, UsageError
from tunnelsite.io.fetch.kept_parts import KeptParts

TRIES, WAIT_S = 4, 0.5  # the wait doubles with each try
TIMEOUT_S = (10.0, 30.0)  # to connect, between two pieces of the answer
MOST_REDIRECTS = 5
MOST_DOCUMENT = 64 << 20  # bytes of a catalogue page or of one page of features
_PIECE = 1 << 16
_AGAIN = (429, 500, 502, 503, 504)
_REDIRECTS = (301, 302, 303, 307, 308)


def host_of(address: str, what: str = "address") -> str:
    """`host:port` of an address, lower case. Errors: UsageError for what is no http or https address or carries a password."""
    try:
        parts = urlsplit(address)
        port = parts.port or {"http": 80, "https": 443}.get(parts.scheme)
    except ValueError:
        parts, port = SplitResult("", "", "", "", ""), None
    if parts.scheme not in ("http", "https") or not parts.hostname or port is None:
        raise UsageError(f"{what} is {address!r}", "an address that begins with https:// or http://", "correct it")
    if parts.username or parts.password:
        raise UsageError(
            f"{what} on {parts.hostname} holds a user name or password",
            "an address without one: it would be written into the run's record",
            "take it out of the address",
        )
    return f"{parts.hostname.lower()}:{port}"


@dataclass
class Door:
    """A client that speaks to named hosts only.

    Attributes:
        hosts: `host:port` of every address the user named. fetched_bytes: how much has come through so far.
        most_bytes: where it stops. tries, wait_s: how often and after how long a broken request is repeated.
        kept: where parts of files are kept for another time, None = nowhere.
    """

    hosts: frozenset[str]
    most_bytes: int = 2 << 30
    tries: int = TRIES
    wait_s: float = WAIT_S
    fetched_bytes: int = 0
    kept: KeptParts | None = None
    _session: requests.Session = field(default_factory=requests.Session, repr=False)

    def __post_init__(self) -> None:
        self._session.trust_env = False  # no .netrc: no password goes anywhere unasked

    @classmethod
    def to(cls, addresses: Iterable[str], *, hosts: Iterable[str] = (), most_bytes: int = 2 << 30) -> Door:
        """A door to the hosts of these addresses, and to further hosts named as `host` or `host:port`."""
        named = {host_of(address) for address in addresses}
        for host in hosts:
            named |= {host.lower()} if ":" in host else {f"{host.lower()}:443", f"{host.lower()}:80"}
        return cls(frozenset(named), most_bytes)

    def check(self, address: str, found_in: str = "") -> None:
        """Errors: InputRefused where the address is on a host that the user did not name."""
        try:
            host = host_of(address, f"a link in {found_in}" if found_in else "address")
        except UsageError as problem:
            if not found_in:
                raise
            raise InputRefused(problem.given, "a web address on a host that was named", "name another source") from None
        if host not in self.hosts:
            where = f"{found_in} leads to" if found_in else "this is"
            raise InputRefused(
                f"{where} {address[:200]!r}, on the host {host}",
                f"one of the hosts that were named: {', '.join(sorted(self.hosts))}",
                f"if you trust that host, name it with --host {host.rpartition(':')[0]}",
            )

    def document(self, address: str, *, accept: str = "application/json", found_in: str = "") -> bytes:
        """A whole document of bounded size. Errors: InputRefused."""
        with self.answer(address, {"Accept": accept}, found_in=found_in) as answer:
            return self._body(answer, address, MOST_DOCUMENT)

    def posted(self, address: str, json_text: bytes, *, found_in: str = "") -> bytes:
        """The answer to a JSON request (a search). Errors: InputRefused."""
        headers = {"Content-Type": "application/json", "Accept": "application/geo+json, application/json"}
        with self.answer(address, headers, method="POST", body=json_text, found_in=found_in) as answer:
            return self._body(answer, address, MOST_DOCUMENT)

    def answer(
        self,
        address: str,
        headers: Mapping[str, str],
        *,
        method: str = "GET",
        body: bytes | None = None,
        found_in: str = "",
    ) -> requests.Response:
        """An answer of status 200 or 206 whose body is still to be read. Errors: InputRefused after the last try."""
        self.check(address, found_in)
        last = ""
        for attempt in range(self.tries):
            if attempt:
                time.sleep(self.wait_s * 2 ** (attempt - 1))
            try:
                found = self._followed(address, headers, method, body)
            except requests.RequestException as problem:
                last = type(problem).__name__
                continue
            if found.status_code in (200, 206):
                return found
            last = f"status {found.status_code}"
            found.close()
            if found.status_code not in _AGAIN:
                break
        raise InputRefused(
            f"{address[:200]!r} did not answer as it should ({last})",
            "status 200, or 206 for a part of a file",
            "check the address in a browser, or try again later; what was fetched before is kept",
        )

    def _followed(self, address: str, headers: Mapping[str, str], method: str, body: bytes | None) -> requests.Response:
        came_from = address
        for _ in range(MOST_REDIRECTS + 1):
            found = self._session.request(
                method, address, headers=dict(headers), data=body, allow_redirects=False, stream=True,
                timeout=TIMEOUT_S, proxies=requests.utils.get_environ_proxies(address),
            )  # fmt: skip
            if found.status_code not in _REDIRECTS or "location" not in found.headers:
                return found
            found.close()
            address = urljoin(address, found.headers["location"])
            self.check(address, f"a redirect of {came_from[:200]!r}")
        raise InputRefused(f"{came_from[:200]!r} redirects in a circle", "a file", "name another address")

    def _body(self, answer: requests.Response, address: str, most: int) -> bytes:
        pieces, size = [], 0
        try:
            for piece in answer.iter_content(_PIECE):
                size += len(piece)
                self.count(len(piece), address)
                if size > most:
                    raise InputRefused(
                        f"{address[:200]!r} sends more than {most >> 20} MB", "a smaller answer", "ask for less"
                    )
                pieces.append(piece)
        except requests.RequestException as problem:
            raise InputRefused(
                f"{address[:200]!r} broke off after {size} bytes ({type(problem).__name__})",
                "a whole answer",
                "try again",
            ) from None
        return b"".join(pieces)

    def count(self, size: int, address: str) -> None:
        """Add to what was fetched. Errors: InputRefused beyond the bound."""
        self.fetched_bytes += size
        if self.fetched_bytes > self.most_bytes:
            raise InputRefused(
                f"more than {self.most_bytes / 1e6:.0f} MB were fetched, the last from {address[:200]!r}",
                "less than the bound",
                "raise --most, take a smaller circle, or name a coarser source",
            )
