"""make bench."""

from tests.bench import measuring, remeasuring, uploads
from tests.bench.table import show

if __name__ == "__main__":
    show([*measuring.compare(), *uploads.compare(), *remeasuring.compare()])
