"""Ends the children of a supervisor that was killed without a chance to stop them.

The supervisor keeps the writing end of a pipe and its children inherit the reading end. However the
supervisor ends, the kernel closes its end, and the children read the end of the pipe.
"""

import os
import signal
import threading
import time
from contextlib import suppress

VARIABLE = "VACUARY_LIFELINE"  # number of the reading end's descriptor, set by the supervisor
GRACE_S = 3.0


def follow(*, stop: int) -> None:
    """End with the supervisor: when it is gone, ask process `stop` to stop, then kill this one after a grace.

    `stop` is this process or its parent, which then stops this one. Does nothing without a supervisor.
    """
    descriptor = os.environ.get(VARIABLE)
    if descriptor:
        threading.Thread(target=_watch, args=(int(descriptor), stop), daemon=True, name="lifeline").start()


def _watch(descriptor: int, stop: int) -> None:
    while os.read(descriptor, 1):
        pass
    # A parent that has ended already may have left its process id to somebody else.
    if stop in (os.getpid(), os.getppid()):
        with suppress(ProcessLookupError):
            os.kill(stop, signal.SIGTERM)
    time.sleep(GRACE_S)
    os.kill(os.getpid(), signal.SIGKILL)
