"""The hot loops of a measurement, compiled. A module is loaded when it is first used.

Loading one brings in the compiler (0.3 s) and its machine code, or compiles it where none is kept (seconds),
so processes that never measure pay nothing and those that do call `registry.waveform.warm` first.
"""

from importlib import import_module
from pkgutil import iter_modules
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from . import cells as cells
    from . import condition as condition
    from . import course as course
    from . import crossings as crossings
    from . import deviations as deviations
    from . import folding as folding
    from . import order as order
    from . import outline as outline
    from . import patches as patches
    from . import slots as slots
    from . import smoothing as smoothing
    from . import summits as summits

MODULES = tuple(module.name for module in iter_modules(__path__))


def __getattr__(name: str) -> ModuleType:
    if name in MODULES:
        return import_module(f"{__name__}.{name}")
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
