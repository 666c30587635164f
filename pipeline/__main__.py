"""Run the command line with ``python -m pipeline``."""

from pipeline.cli import entry

if __name__ == "__main__":
    entry()
