"""`python -m portal` is the `benchwindow` command."""

from portal.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
