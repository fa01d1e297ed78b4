"""make bench."""

from tests.bench import measuring, uploads
from tests.bench.table import show

if __name__ == "__main__":
    show([*measuring.compare(), *uploads.compare()])
