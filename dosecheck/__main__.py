"""`python -m dosecheck` and the `dosecheck` command."""

from __future__ import annotations


def main() -> None:
    """Runs the command line."""
    from dosecheck.cli import run

    run()


if __name__ == "__main__":
    main()
