"""Where compiled kernels are kept: in the user's cache folder, never beside the code.

Imported before numba. The folder's name holds the hash of every kernel source and the names of
numba, numpy and the processor, so that no kernel outlives the code or the machine it was
compiled for. No kernel is compiled for numba's own threads: see `core.image.in_threads`.
"""

from __future__ import annotations

import atexit
import hashlib
import importlib
import os
import platform
import shutil
import stat
import sys
import tempfile
from importlib.metadata import version
from pathlib import Path

import platformdirs


def kernel_sources() -> tuple[Path, ...]:
    """Every module that holds compiled kernels, in a fixed order."""
    return tuple(sorted(Path(__file__).parent.rglob("*_kernels.py")))


def _processor() -> str:
    """Name of the processor as the compiler sees it."""
    from llvmlite import binding

    return f"{platform.machine()} {binding.get_host_cpu_name()}"


def cache_name() -> str:
    """Folder name: changes with any kernel source, numba, numpy, Python or processor."""
    digest = hashlib.sha256()
    for source in kernel_sources():
        digest.update(source.name.encode())
        digest.update(source.read_bytes())
    for part in (version("numba"), version("numpy"), sys.version, _processor()):
        digest.update(b"\0" + part.encode())
    return f"kernels-{digest.hexdigest()[:24]}"


def _writable_folder() -> Path:
    """The cache folder, or a passing one where the user's cannot be written."""
    folder = Path(platformdirs.user_cache_dir("sounding", appauthor=False)) / cache_name()
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not _only_ours(folder):
            # Ours, but others may have written there: made anew. Not ours: refused by the system.
            shutil.rmtree(folder)
            folder.mkdir(mode=0o700)
        with tempfile.TemporaryFile(dir=folder):
            if _only_ours(folder):
                return folder
            raise PermissionError(folder)
    except OSError:
        # A shared, predictable folder could be filled by somebody else: compiled kernels are
        # loaded as code. So compile anew in a private folder that goes with this process.
        passing = Path(tempfile.mkdtemp(prefix="sounding-kernels-"))
        atexit.register(shutil.rmtree, passing, ignore_errors=True)
        return passing


def _only_ours(folder: Path) -> bool:
    """True where nobody else can have put a kernel there: what lies there is run as code."""
    if os.name != "posix":
        return True  # the user's own cache folder is private there
    for path in (folder, *folder.rglob("*")):
        found = path.lstat()
        if stat.S_ISLNK(found.st_mode) or found.st_uid != os.geteuid():
            return False
        if found.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
            return False
    return True


def prepare() -> None:
    """Point numba at the cache folder; call before importing numba.

    A folder named in the environment by the user is left alone.
    """
    if "NUMBA_CACHE_DIR" not in os.environ:
        os.environ["NUMBA_CACHE_DIR"] = str(_writable_folder())
    if "numba" in sys.modules:
        # Somebody imported numba first: let it read the environment again.
        importlib.import_module("numba").config.reload_config()
