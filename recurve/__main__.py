"""`python -m recurve` is the same as `recurve`."""

from recurve.cli.app import main

main()
