"""Print every message of the malformed-input corpus once, for reading as a fitter would.

python -m tests.reading.show_messages [part of a name]
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.reading.corpus import all_cases, run_in_process


def main() -> None:
    """One case a paragraph: its name, exit code and message."""
    wanted = sys.argv[1] if len(sys.argv) > 1 else ""
    for case in all_cases():
        if wanted in case.name:
            with tempfile.TemporaryDirectory() as folder:
                result = run_in_process(case.arguments(Path(folder)))
                message = result.stderr.strip().replace(f"{folder}/", "")
                print(f"{case.name}  [{result.code}]\n    {message}")


if __name__ == "__main__":
    main()
