"""axe-core, the accessibility rules of the test in a browser: fetched once from the npm registry, checked, never kept here.

Deque Systems, axe-core, Mozilla Public License 2.0.
"""

import base64
import hashlib
import shutil
import subprocess
import tarfile
import tempfile
from pathlib import Path

import pytest

VERSION = "4.10.3"
INTEGRITY = "Xm7bpRXnDSX2YE2YFfBk2FnF0ep6tmG7xPh8iHee8MIcrgq762Nkce856dYtJYLkuIoYZvGfTs/PbZhideTcEg=="
"""SHA-512 of the package as the registry publishes it."""


def axe_script() -> str:
    """The script to run on a page; the test is skipped, by name of what is absent, where it cannot be fetched."""
    package = Path(tempfile.gettempdir()) / f"roundoval-tests-axe-core-{VERSION}.tgz"
    if not package.is_file():
        _fetch(package)
    found = base64.b64encode(hashlib.sha512(package.read_bytes()).digest()).decode()
    assert found == INTEGRITY, f"{package} is not axe-core {VERSION} as published"
    with tarfile.open(package) as archive:
        return archive.extractfile("package/axe.min.js").read().decode("utf-8")


def _fetch(package: Path):
    if shutil.which("npm") is None:
        pytest.skip("npm, which fetches axe-core, is not installed")
    with tempfile.TemporaryDirectory() as folder:
        command = ["npm", "pack", f"axe-core@{VERSION}", "--silent", "--pack-destination", folder]
        fetched = subprocess.run(command, capture_output=True, text=True, timeout=120, cwd=folder)
        if fetched.returncode:
            pytest.skip(f"axe-core {VERSION} could not be fetched: {fetched.stderr.strip()[-200:]}")
        shutil.copy(Path(folder) / f"axe-core-{VERSION}.tgz", package)
