"""`desk`: the whole job on a map in the browser, on this machine."""

from __future__ import annotations

import argparse
import os
import secrets
import socket
import threading
import webbrowser
from pathlib import Path

from tunnelsite.core.errors import UsageError
from tunnelsite.hosts.cli.streams import say, tell
from tunnelsite.io.write.outputs import make_folder

TOKEN = "TUNNELSITE_DESK_TOKEN"
LEAST_TOKEN = 16
HOST = "127.0.0.1"


def desk(given: argparse.Namespace) -> int:
    """Serve the desk until it is interrupted."""
    try:
        import uvicorn

        from tunnelsite.desk.application import application
        from tunnelsite.desk.project import Project
    except ImportError as problem:
        raise UsageError(
            f"the desk needs a package that is missing ({problem.name})",
            "the extra `desk`",
            "run pip install starlette uvicorn tomlkit python-multipart segno",
        ) from None
    folder = Path(given.folder)
    if not folder.is_dir():
        if folder.exists() or not folder.absolute().parent.is_dir():
            raise UsageError(
                f"{folder} is no folder, and none can be made of it",
                "a folder, empty or with a project, or a new name in a folder that is there",
                "choose another",
            )
        make_folder(folder)
        tell(f"tunnelsite: made the folder {folder}")
    token = os.environ.get(TOKEN) or secrets.token_urlsafe(24)
    if len(token) < LEAST_TOKEN:
        raise UsageError(f"{TOKEN} has {len(token)} letters", f"{LEAST_TOKEN} or more", "give a longer one, or none")
    project = Project(folder)
    with project.held(), _listening(int(given.port)) as listening:
        os.environ["PYTHONSAFEPATH"] = "1"  # what it starts takes no module out of the folder that it was started in
        port = listening.getsockname()[1]
        address = f"http://{HOST}:{port}/?token={token}"
        app = application(project, token, port)
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False, server_header=False, ws="none",
                                               timeout_graceful_shutdown=1, lifespan="on"))  # fmt: skip
        say(address)
        tell("tunnelsite: the desk is on this machine alone; Ctrl+C ends it. What was drawn and run is in the folder.")
        if not given.no_browser:
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
        server.run(sockets=[listening])
    return 0


def _listening(port: int) -> socket.socket:
    """A socket of this machine alone. Errors: UsageError where the port is taken."""
    listening = socket.socket()
    try:
        if os.name == "posix":  # elsewhere it would let two servers take one port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((HOST, port))
        listening.listen()  # a browser that comes before the server is ready waits
    except (OSError, OverflowError) as problem:
        listening.close()
        raise UsageError(
            f"--port {port} cannot be listened on ({problem})", "a free port", "choose another, or none"
        ) from None
    return listening
