"""`python -m benchcheck` is the same program as the `benchcheck` script."""

from benchcheck.cli.main import main

main()
