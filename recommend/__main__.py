"""The `recommend` command, and ``python -m recommend``, without what a short run can spare."""

import atexit
import gc
import os
import sys
import threading
from typing import NoReturn


def main() -> NoReturn:
    """Run the command line with as little around it as a short run needs.

    Nearly all that a start makes lives until its end: nothing in it is rubbish to look for, and
    the system takes it back faster than it is taken apart piece by piece.
    """
    gc.disable()  # until a command begins
    from recommend.cli import main as run

    try:
        run()
    except SystemExit as ended:
        if threading.active_count() > 1 or not isinstance(ended.code, int):
            raise
        _leave_at_once(ended.code)


def _leave_at_once(code: int) -> NoReturn:
    atexit._run_exitfuncs()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)


if __name__ == "__main__":
    main()
