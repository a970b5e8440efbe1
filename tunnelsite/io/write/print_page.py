"""A page printed to PDF by a Chromium browser without a window: the one program that lays out a page as a reader sees it."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

from tunnelsite.core.errors import OutputFailed, UsageError
from tunnelsite.io.write.scratch import temporary_folder

# Programs that know `--headless --print-to-pdf`, by the names under which systems install them.
BROWSERS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "msedge",
    "brave-browser",
)
VARIABLE = "TUNNELSITE_BROWSER"
LONGEST_S = 180
# No window, no profile of the user's, and nothing of the browser's own that would go to the network.
FLAGS = (
    "--headless", "--disable-gpu", "--disable-quic", "--no-first-run", "--no-default-browser-check", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--disable-extensions", "--metrics-recording-only",
    "--no-pdf-header-footer", "--host-resolver-rules=MAP * ~NOTFOUND",
)  # fmt: skip


def browser_for(asked: str | None) -> str:
    """The browser to print with: as asked, by the variable TUNNELSITE_BROWSER, or the first that the path holds.

    Errors: UsageError where there is none.
    """
    wanted = asked or os.environ.get(VARIABLE)
    found = [shutil.which(name) for name in ((wanted,) if wanted else BROWSERS)]
    program = next((path for path in found if path), None)
    if program is None:
        raise UsageError(
            f"a PDF was asked for and {wanted or 'no browser of the Chromium family'} is not found",
            "a program that prints pages without a window (Chromium, Chrome, Edge)",
            "name it with --browser, or open the page in any browser and print it from there",
        )
    return os.path.abspath(program)  # it is run from another folder


def pdf_of(page: str, browser: str) -> bytes:
    """The page as PDF.

    Arguments: page, an HTML document that needs no other file; browser, from `browser_for`.
    Errors: OutputFailed where the browser does not give one.
    """
    with temporary_folder() as folder:
        source, target = Path(folder, "page.html"), Path(folder, "page.pdf")
        source.write_text(page, "utf-8")
        flags = [*FLAGS, f"--user-data-dir={Path(folder, 'profile')}", f"--print-to-pdf={target}"]
        if hasattr(os, "geteuid") and os.geteuid() == 0:
            flags.append(
                "--no-sandbox"
            )  # its sandbox refuses root; the page is the program's own and can run no other script
        try:
            done = subprocess.run(
                [browser, *flags, source.as_uri()], capture_output=True, timeout=LONGEST_S, check=False, cwd=folder
            )
            content = target.read_bytes() if target.is_file() else b""
        except (OSError, subprocess.TimeoutExpired) as problem:
            raise _failed(browser, str(problem)) from None
    if not content.startswith(b"%PDF-") or b"%%EOF" not in content[-64:]:
        said = done.stderr.decode(errors="replace").strip().splitlines()
        raise _failed(browser, said[-1][:200] if said else f"exit status {done.returncode}")
    return content


def _failed(browser: str, why: str) -> OutputFailed:
    return OutputFailed(
        f"{browser} did not print the page ({why})",
        "a browser of the Chromium family that prints without a window",
        "name another one with --browser, or open the page and print it from there",
    )
