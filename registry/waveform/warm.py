"""Make the compiled kernels ready: `python -m registry.waveform.warm`, or `warm()` as a server starts.

Takes a second where their machine code is kept from before, about half a minute where it has to be made.
"""

import sys
import time

from . import kernels


def warm() -> float:
    """Load every kernel, compiling those that are not kept yet; the seconds it took.

    Safe in many processes at once: each file of machine code appears whole or not at all.
    """
    start = time.perf_counter()
    for name in kernels.MODULES:
        getattr(kernels, name)
    return time.perf_counter() - start


if __name__ == "__main__":
    sys.stdout.write(f"Kernels ready in {warm():.1f} s.\n")
