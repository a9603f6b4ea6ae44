"""Run the bench: `python -m tests.bench`."""

import sys

from tests.bench.bench import main

if __name__ == "__main__":
    sys.exit(main())
