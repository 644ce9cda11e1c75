"""`python -m benchcheck.simulator PROFILE`: the simulated bench as a process of its own."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

from benchcheck.words.errors import BenchcheckError


def main() -> int:
    """Parse, serve, and say what went wrong on stderr."""
    parser = argparse.ArgumentParser(prog="python -m benchcheck.simulator", description=__doc__)
    parser.add_argument("profile", type=Path, help="folder of the harness profile")
    parser.add_argument("--faults", type=Path, help="TOML file of the faults to plant")
    parser.add_argument("--transport", choices=("auto", "pty", "tcp"), default="auto")
    parser.add_argument("--seed", type=int, default=1, help="of scatter and noise; 0: none")
    parser.add_argument("--truth", type=Path, help="write what was planted to this JSON file")
    given = parser.parse_args()
    # matrices of this size are solved fifty times slower by several threads that wait for each other
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        from benchcheck.simulator.serve import serve

        serve(
            given.profile,
            faults=given.faults,
            transport=given.transport,
            seed=given.seed,
            truth=given.truth,
            until_stdin_closes=True,
        )
    except BenchcheckError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
