"""The command line: the commands, the console they share, the interview, and readings taken live.

The only room that parses arguments, prints, asks and exits.

Offers:

- `app`: `main`
"""
