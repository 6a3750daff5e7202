"""A notebook server and a headless browser for tests, both on loopback, in folders of their own.

The browser is driven over its DevTools protocol with websocket-client, which comes with Jupyter.
"""

import json
import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager, suppress
from importlib.util import find_spec
from pathlib import Path

import pytest

TOKEN = "loopback"
PATIENCE_S = 90
OWN_FOLDERS = (
    "JUPYTER_CONFIG_DIR",
    "JUPYTER_DATA_DIR",
    "JUPYTER_RUNTIME_DIR",
    "JUPYTERLAB_SETTINGS_DIR",
    "JUPYTERLAB_WORKSPACES_DIR",
    "IPYTHONDIR",
    "MPLCONFIGDIR",
)
BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def require_browser(*modules: str) -> str:
    """The browser's program; the test is skipped, by name of what is absent, where it or a module is missing."""
    program = next(filter(None, map(shutil.which, BROWSERS)), None)
    if program is None:
        pytest.skip(f"none of {', '.join(BROWSERS)} is installed")
    for module in ("websocket", *modules):
        if find_spec(module) is None:
            pytest.skip(f"{module} is not installed")
    return program


def wait_for(what, ask, patience_s=PATIENCE_S):
    """Ask until the answer is true, and return it."""
    end = time.monotonic() + patience_s
    while time.monotonic() < end:
        with suppress(OSError):
            if answer := ask():
                return answer
        time.sleep(0.1)
    raise AssertionError(f"not within {patience_s} s: {what}")


@contextmanager
def _running(command, log: Path, **options):
    with log.open("wb") as out:
        process = subprocess.Popen(command, stdout=out, stderr=subprocess.STDOUT, **options)
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


class Server:
    """A running notebook server."""

    def __init__(self, port: int):
        self.address = f"http://127.0.0.1:{port}"

    def ask(self, path: str):
        """A JSON answer of the server's own interface."""
        request = urllib.request.Request(f"{self.address}{path}", headers={"Authorization": f"token {TOKEN}"})
        with urllib.request.urlopen(request, timeout=5) as answer:
            return json.load(answer)

    def end(self, kernel: str):
        """End a kernel."""
        headers = {"Authorization": f"token {TOKEN}"}
        request = urllib.request.Request(
            f"{self.address}/api/kernels/{kernel}", headers=headers, method="DELETE"
        )
        urllib.request.urlopen(request, timeout=20).close()

    def kernel_waits(self) -> bool:
        """Whether a kernel is idle and connected; before that, an order to run cells is dropped."""
        return any(
            kernel["execution_state"] == "idle" and kernel["connections"] > 0
            for kernel in self.ask("/api/kernels")
        )


@contextmanager
def notebook_server(folder: Path, home: Path):
    """Serve `folder`; everything the server writes goes below `home`."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    places = {name: str(home / name.lower()) for name in OWN_FOLDERS}
    places["HOME"] = str(home)
    command = [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ip=127.0.0.1"]
    command += [f"--port={port}", "--ServerApp.port_retries=0", f"--IdentityProvider.token={TOKEN}"]
    command += [f"--ServerApp.root_dir={folder}", "--LabApp.expose_app_in_browser=True"]
    command += ["--LabApp.news_url=None", "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate"]
    with _running(command, home / "server.log", env=os.environ | places, cwd=folder):
        server = Server(port)
        wait_for("the notebook server", lambda: server.ask("/api/status"))
        yield server


class Page:
    """One page of the browser."""

    def __init__(self, connection):
        self._connection, self._last = connection, 0

    def call(self, method: str, **parameters):
        """Call the protocol and return its result; events in between are passed over."""
        self._last += 1
        self._connection.send(json.dumps({"id": self._last, "method": method, "params": parameters}))
        while True:
            answer = json.loads(self._connection.recv())
            if answer.get("id") == self._last:
                return answer["result"]

    def value(self, expression: str):
        """The value of a JavaScript expression on the page."""
        return self.call("Runtime.evaluate", expression=expression, returnByValue=True)["result"].get("value")

    def promised(self, expression: str):
        """The value that a JavaScript promise of the page comes to; an error there is an error here."""
        answer = self.call("Runtime.evaluate", expression=expression, awaitPromise=True, returnByValue=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def press(self, key: str, code: int = 0):
        """Press and release a key; some, such as Tab, act only by their number."""
        for kind in ("keyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code)

    def open(self, address: str):
        """Go to another address and wait until it is drawn."""
        self.call("Page.navigate", url=address)
        wait_for(
            address, lambda: self.value(f"document.readyState == 'complete' && location.href == {address!r}")
        )

    def resize(self, width: int, height: int = 900, scale: float = 1):
        """Show the page in a window of so many CSS pixels, of `scale` device pixels each."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=scale,
            mobile=False,
        )


def _say_why_it_ended(program: str, log: str):
    """Skip the test where the system lacks a library of the browser's, by its name; anything else is an error."""
    missing = [line for line in log.splitlines() if "shared librar" in line or "Library not loaded" in line]
    if missing:
        pytest.skip(f"{program} lacks a system library: {missing[0].strip()}")
    raise AssertionError(f"{program} ended at once: {log[-500:]}")


@contextmanager
def browser_page(program: str, address: str, home: Path):
    """Open an address in a headless browser."""
    import websocket

    profile = home / "profile"
    command = [
        program,
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--no-first-run",
        "--window-size=1400,3000",
    ]
    command += ["--disable-background-networking", "--disable-component-update", "--disable-sync"]
    command += [
        "--remote-debugging-port=0",
        "--remote-allow-origins=*",
        f"--user-data-dir={profile}",
        address,
    ]
    with _running(command, home / "browser.log") as process:
        told = profile / "DevToolsActivePort"

        def port_told():
            if process.poll() is not None:
                _say_why_it_ended(program, (home / "browser.log").read_text(errors="replace"))
            return told.exists() and told.read_text().split("\n")[0]

        port = wait_for("the browser", port_told)

        def pages():
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/json", timeout=5) as answer:
                return [page for page in json.load(answer) if page["type"] == "page"]

        target = wait_for("a page", pages)[0]
        connection = websocket.create_connection(target["webSocketDebuggerUrl"], timeout=PATIENCE_S)
        try:
            yield Page(connection)
        finally:
            connection.close()
