"""`python -m diag` runs the command line."""

from diag.cli import main

if __name__ == "__main__":
    main()
