"""The pygeoapi configuration of the server, made in memory: no file to write."""

from __future__ import annotations

from typing import Any

from tunnelsite import __version__
from tunnelsite.hosts.server.job_limits import Limits
from tunnelsite.hosts.server.offers import Datasets

PACKAGE = "tunnelsite.hosts.server"
TITLE = "tunnelsite"
ABOUT = "Finds where on a farm a freestanding high tunnel or greenhouse should stand: its screening and its single processes."
LICENCE = {"name": "GPL-3.0-or-later", "url": "https://www.gnu.org/licenses/gpl-3.0.html"}


def configuration(
    url: str, limits: Limits, datasets: Datasets, process_ids: list[str], port: int = 0
) -> dict[str, Any]:
    """A whole pygeoapi configuration.

    Arguments: url, under which clients reach the server; limits; datasets, paths by kind and id; process_ids, what is offered; port that is
    listened on.
    """
    plain = {kind: dict(found) for kind, found in datasets.items()}
    manager = {"name": f"{PACKAGE}.manager.JobManager", "limits": limits.plain(), "datasets": plain, "url": url}
    processor = f"{PACKAGE}.processor.OfferedProcessor"
    resources = {
        name: {"type": "process", "processor": {"name": processor, "process": name, "datasets": plain}}
        for name in process_ids
    }
    return {
        "server": {
            "bind": {"host": "127.0.0.1", "port": port},
            "url": url,
            "mimetype": "application/json; charset=UTF-8",
            "encoding": "utf-8",
            "gzip": False,
            "cors": False,
            "languages": ["en"],
            "pretty_print": False,
            "admin": False,
            "limits": {"default_items": 100, "max_items": 1000, "on_exceed": "throttle"},
            "map": {"url": "", "attribution": ""},
            "manager": manager,
            "api_rules": {"api_version": __version__},
        },
        "logging": {"level": "CRITICAL"},  # pygeoapi logs what clients send
        "metadata": {
            "identification": {
                "title": TITLE,
                "description": ABOUT,
                "keywords": ["high tunnel", "greenhouse", "site selection", "DEM"],
                "keywords_type": "theme",
                "terms_of_service": "none",
                "url": url,
            },
            "license": LICENCE,
            "provider": {"name": "the operator of this server", "url": url},
            "contact": {"name": "the operator of this server"},
        },
        "resources": resources,
    }
