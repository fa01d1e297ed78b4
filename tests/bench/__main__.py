"""make bench: all of it, or the parts named: `python -m tests.bench measuring answers`."""

import sys

from tests.bench import answers, measuring, remeasuring, scanning, serials, uploads
from tests.bench.table import show

PARTS = {
    "measuring": measuring,
    "uploads": uploads,
    "remeasuring": remeasuring,
    "answers": answers,
    "serials": serials,
    "scanning": scanning,
}

if __name__ == "__main__":
    named = sys.argv[1:] or list(PARTS)
    if unknown := [name for name in named if name not in PARTS]:
        raise SystemExit(f"No part is called {', '.join(unknown)}; there are {', '.join(PARTS)}.")
    show([row for name in named for row in PARTS[name].compare()])
