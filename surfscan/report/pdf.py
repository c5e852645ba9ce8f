"""The page on paper: a PDF printed by a browser that is installed already."""

from __future__ import annotations

import base64
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path

from surfscan.errors import InputError
from surfscan.report.writing import write_bytes

COMMANDS = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "microsoft-edge",
    "microsoft-edge-stable",
    "msedge",
    "chrome",
)
"""Names of such browsers on the search path."""

_MAC = (
    "Chromium.app/Contents/MacOS/Chromium",
    "Google Chrome.app/Contents/MacOS/Google Chrome",
    "Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
)
_WINDOWS = (
    "Chromium/Application/chrome.exe",
    "Google/Chrome/Application/chrome.exe",
    "Microsoft/Edge/Application/msedge.exe",
)
_WINDOWS_FOLDERS = ("PROGRAMFILES", "PROGRAMFILES(X86)", "PROGRAMW6432", "LOCALAPPDATA")

_QUIET = (
    "--headless",
    "--disable-gpu",
    "--disable-extensions",
    "--disable-sync",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
    "--no-default-browser-check",
    "--no-pdf-header-footer",
    "--disable-pdf-tagging",  # a third of the file; who reads with a screen reader has the page itself
)
_WEBP = re.compile("data:image/webp;base64,([A-Za-z0-9+/]+=*)")
_JPEG_QUALITY = 75
_LONGEST_S = 600
_REMEDY = "Install Chromium, Chrome or Edge, or open report.html in any browser and print it to a file"


def find_browser(
    platform: str = sys.platform, environment: Mapping[str, str] | None = None, home: Path | None = None
) -> Path:
    """An installed Chromium, Chrome or Edge: on the search path, else where installers put it.

    Parameters
    ----------
    platform : str, optional
        As `sys.platform`.
    environment : mapping of str to str, optional
        As `os.environ`.
    home : Path, optional
        The user's folder.

    Raises
    ------
    InputError
        If there is none.
    """
    known = os.environ if environment is None else environment
    for name in COMMANDS:
        if found := shutil.which(name, path=known.get("PATH", "")):
            return Path(found)
    for path in _usual_places(platform, known, Path.home() if home is None else home):
        if path.is_file():
            return path
    raise InputError(None, "no Chromium, Chrome or Edge was found, and a PDF needs one to print it", _REMEDY)


def for_paper(html: str) -> str:
    """A page whose pictures are JPEG: a PDF holds them as they are, all others without loss and large.

    Parameters
    ----------
    html : str

    Returns
    -------
    str
    """
    return _WEBP.sub(lambda found: _jpeg(base64.b64decode(found[1])), html)


def _jpeg(webp: bytes) -> str:
    """A WebP as the data URI of a JPEG."""
    import cv2
    import numpy as np

    pixels = cv2.imdecode(np.frombuffer(webp, np.uint8), cv2.IMREAD_COLOR)
    options = [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY, cv2.IMWRITE_JPEG_OPTIMIZE, 1]
    content = cv2.imencode(".jpg", pixels, options)[1].tobytes()
    return "data:image/jpeg;base64," + base64.b64encode(content).decode("ascii")


def print_pdf(page: Path, pdf: Path, browser: Path | None = None) -> None:
    """Print a page to an A4 PDF.

    Parameters
    ----------
    page : Path
        report.html.
    pdf : Path
        Written whole or not at all.
    browser : Path, optional
        The browser to print with; by default `find_browser` looks for one.

    Raises
    ------
    InputError
        If no browser is found, it does not print, the page cannot be read, or the file not be written.
    """
    program = browser or find_browser()
    try:
        html = for_paper(page.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(
            page, f"cannot be read ({error.strerror or error})", "Run surfscan report"
        ) from error
    with tempfile.TemporaryDirectory(prefix="surfscan-", ignore_cleanup_errors=True) as folder:
        printed = Path(folder, "page.pdf")
        copy = Path(folder, page.name).resolve()
        copy.write_text(html, encoding="utf-8")
        command = [
            str(program),
            *_QUIET,
            *(["--no-sandbox"] if _is_root() else []),  # its sandbox refuses to start for root
            f"--user-data-dir={Path(folder, 'profile')}",
            f"--print-to-pdf={printed}",
            copy.as_uri(),
        ]
        try:
            done = subprocess.run(command, capture_output=True, timeout=_LONGEST_S, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise InputError(program, f"did not print the page ({error})", _REMEDY) from error
        content = printed.read_bytes() if printed.is_file() else b""
        if not content.startswith(b"%PDF"):
            last = done.stderr.decode("utf-8", "replace").strip().splitlines()[-1:]
            said = f": {last[0]}" if last else ""
            raise InputError(
                program, f"did not print the page (it ended with {done.returncode}{said})", _REMEDY
            )
    write_bytes(pdf, content)


def _usual_places(platform: str, environment: Mapping[str, str], home: Path) -> Iterator[Path]:
    """Where installers put such browsers, off the search path."""
    if platform == "darwin":
        for folder in (Path("/Applications"), home / "Applications"):
            yield from (folder / inside for inside in _MAC)
    if platform == "win32":
        for name in _WINDOWS_FOLDERS:
            if folder_name := environment.get(name):
                yield from (Path(folder_name, inside) for inside in _WINDOWS)


def _is_root() -> bool:
    return hasattr(os, "geteuid") and os.geteuid() == 0
