"""Lets `python -m blendkit` do what the command `blendkit` does."""

from blendkit.cli.main import main

if __name__ == "__main__":
    main(prog_name="blendkit")
