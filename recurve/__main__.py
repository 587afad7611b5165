"""`python -m recurve` is the same as `recurve`."""

from recurve.cli import main

main()
