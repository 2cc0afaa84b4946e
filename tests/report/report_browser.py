"""Chromium, headless and with no network, for the tests of the pages."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

_CONSOLE = re.compile(r":(?:INFO|WARNING|ERROR):CONSOLE[:(]\d+\)?\]\s*(?P<text>.*)")


@dataclass(frozen=True)
class Visit:
    """What came of opening a page: its document after the scripts ran, and its own console lines."""

    dom: str
    console: tuple[str, ...]


def visit(chromium: str, page: Path, *, arguments: tuple[str, ...] = (), width: int = 1280) -> Visit:
    """Open `page`; network access is cut off where the machine lets us do so."""
    with tempfile.TemporaryDirectory() as profile:
        command = [
            chromium,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            f"--user-data-dir={profile}",
            "--enable-logging=stderr",
            "--virtual-time-budget=3000",
            f"--window-size={width},2400",
            *(arguments or ("--dump-dom",)),
            page.resolve().as_uri(),
        ]
        done = subprocess.run(_without_network() + command, capture_output=True, text=True, timeout=90, check=True)
    # Lines about the browser's own pages (chrome://) are none of ours.
    lines = [match.group("text") for match in map(_CONSOLE.search, done.stderr.splitlines()) if match]
    return Visit(done.stdout, tuple(line for line in lines if "chrome://" not in line))


def _without_network() -> list[str]:
    unshare = shutil.which("unshare")
    if unshare is None:
        return []
    for options in (["-n"], ["-r", "-n"]):
        if (
            os.name == "posix"
            and subprocess.run([unshare, *options, "true"], capture_output=True, check=False).returncode == 0
        ):
            return [unshare, *options]
    return []
