"""The command line: one module a command, the terminal, the interview, live readings.

The only room that parses arguments, prints, asks and exits.

Offers:

- `app`: `main`
"""
