"""`python -m dosecheck` and the `dosecheck` command."""

from __future__ import annotations


def main() -> None:
    """Runs the command line."""
    import gc

    gc.disable()  # one short check makes no garbage worth looking for; `batch` turns it on again
    from dosecheck.cli import run

    run()


if __name__ == "__main__":
    main()
