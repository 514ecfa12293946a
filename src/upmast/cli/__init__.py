"""The command line: a thin face of the same functions that anyone may call."""

from __future__ import annotations

import sys
from typing import NoReturn


def main() -> NoReturn:
    """
    Run `upmast` with the arguments of this process.

    Exit codes: 0 all passes, 1 something fails, 2 bad input or use, 3 nothing fails but something is not judged, 70 an error
    of ours.
    """
    from upmast.cli.run import run

    sys.exit(run(sys.argv[1:]))
