"""A real JupyterLab on a workspace of its own, and Debian's Chromium to look at it."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

CHROMIUM = shutil.which("chromium")
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


def pytest_collection_modifyitems(items):
    """Skip, saying how to get what is missing."""
    if CHROMIUM:
        return
    reason = "Chromium is missing: apt-get install chromium"
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.skip(reason=reason))


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    """Start JupyterLab as the README says; yield its address and the workspace's folder."""
    folder = tmp_path_factory.mktemp("baker") / "bakes"
    log = folder.parent / "lab.log"
    settings = folder.parent / "jupyter"
    settings.mkdir()
    # lets the tests run all cells and read the outputs; a baker's own lab does not expose it
    (settings / "jupyter_lab_config.json").write_text(
        json.dumps({"LabApp": {"expose_app_in_browser": True}})
    )
    with log.open("w") as stream:
        process = subprocess.Popen(
            [sys.executable, "-m", "kit", "start", str(folder), "--no-browser"],
            stdout=stream, stderr=subprocess.STDOUT, start_new_session=True,
            env=os.environ | {"JUPYTER_CONFIG_DIR": str(settings)},
        )  # fmt: skip
    try:
        yield _address(process, log), folder
    finally:
        os.killpg(process.pid, signal.SIGTERM)
        process.wait(timeout=20)


def _address(process, log, seconds=300):
    """Wait until the server answers; its address with the token."""
    end = time.monotonic() + seconds
    while time.monotonic() < end and process.poll() is None:
        found = re.search(r"http://(?:localhost|127\.0\.0\.1):\d+\S*token=\w+", log.read_text())
        if found:
            try:
                urllib.request.urlopen(found[0], timeout=5).close()
            except (urllib.error.URLError, TimeoutError):
                time.sleep(0.3)
                continue
            return found[0]
        time.sleep(0.3)
    pytest.fail(f"JupyterLab did not start:\n{log.read_text()[-3000:]}")


@pytest.fixture(autouse=True)
def begins_anew(lab):
    """End Python after each test: it would bring back what the test before chose and typed."""
    yield
    base, token = re.match(r"(http://[^/]+)/\S*(token=\w+)", lab[0]).groups()
    with urllib.request.urlopen(f"{base}/api/sessions?{token}", timeout=10) as answer:
        sessions = json.load(answer)
    for session in sessions:
        ending = urllib.request.Request(f"{base}/api/sessions/{session['id']}?{token}")
        ending.method = "DELETE"
        urllib.request.urlopen(ending, timeout=10).close()


@pytest.fixture
def page(tmp_path):
    """One browser window."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            str(tmp_path / "profile"), executable_path=CHROMIUM, headless=True, args=FLAGS,
            viewport={"width": 1100, "height": 1000},
        )  # fmt: skip
        yield context.new_page()
        context.close()
