"""The command line: parses what was asked, calls the rooms below, prints. No arithmetic, no words of its own but help.

Errors go to stderr and end with an exit code of `ExitCode`; stdout holds results only. May import: every room below.
"""

from diag.cli.app import app, main
from diag.cli.exits import ExitCode

__all__ = ["ExitCode", "app", "main"]
