"""What nearly every scan needs is compiled, in a process of its own without the toolkit.

With the toolkit loaded each import looks through its features, and a compiler imports a hundred
thousand times: a sixteenth of the time.
"""

from __future__ import annotations

import gc
import hashlib
import os
from pathlib import Path
from typing import Any

import numpy as np

from core import kernel_cache

STEPS = 4


def mark() -> Path:
    """The file that says: what nearly every scan needs was compiled for this processor."""
    kernel_cache.prepare()
    # What is compiled belongs to the folder that the program stands in.
    here = hashlib.sha256(str(Path(kernel_cache.__file__).parent).encode()).hexdigest()[:16]
    return Path(os.environ["NUMBA_CACHE_DIR"]) / f"whole-{here}"


def compile_all(done: Any) -> None:
    """Compile the kernels that nearly every scan needs, as the only work of a process.

    Parameters
    ----------
    done : shared value
        Gets the number of steps done, of `STEPS`.
    """
    if hasattr(os, "nice"):
        os.nice(5)  # whoever opens a scan meanwhile comes first
    gc.disable()  # a compiler makes many things and drops few: a tenth of its time, for nothing
    from core.bone import plate_profiles
    from core.distances import plane_field_kernels, solid
    from core.image import sampling_warm_up

    # The type of nearly every scan; another one is compiled while such a scan is loaded.
    sampling_warm_up.prepare(np.dtype(np.int16))
    done.value = 1
    plate_profiles.prepare()
    done.value = 2
    solid.prepare()
    done.value = 3
    plane_field_kernels.prepare()
    mark().touch()
    done.value = STEPS
