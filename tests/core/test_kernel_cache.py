from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

from core import kernel_cache
from tests.watchdog import PATIENCE

CORE = Path(kernel_cache.__file__).parent


def imports(source):
    for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def test_kernels_stand_only_where_the_cache_looks_for_them():
    # A kernel elsewhere would be left out of the hash and could outlive its own source.
    compiled = {
        source
        for source in CORE.rglob("*.py")
        if any(name.split(".")[0] == "numba" for name in imports(source))
    }
    assert CORE / "image" / "sampling_kernels.py" in compiled
    assert compiled <= set(kernel_cache.kernel_sources())


def test_no_kernel_module_takes_compiled_functions_from_another():
    # numba's cache does not see a change in another file: stale results, silently.
    for source in kernel_cache.kernel_sources():
        for other in kernel_cache.kernel_sources():
            assert not any(other.stem in name.split(".") for name in imports(source)), source


def test_the_folder_changes_with_every_kernel_source(monkeypatch, tmp_path):
    sources = [tmp_path / "first_kernels.py", tmp_path / "second_kernels.py"]
    for source in sources:
        source.write_text("pass\n")
    monkeypatch.setattr(kernel_cache, "kernel_sources", lambda: tuple(sources))
    names = {kernel_cache.cache_name()}
    assert kernel_cache.cache_name() in names
    for source in sources:
        source.write_text("pass  # changed\n")
        names.add(kernel_cache.cache_name())
    monkeypatch.setattr(kernel_cache, "_processor", lambda: "another processor")
    names.add(kernel_cache.cache_name())
    monkeypatch.setattr(kernel_cache, "version", lambda name: f"{name} 999")
    names.add(kernel_cache.cache_name())
    assert len(names) == 5


def test_a_cache_folder_that_cannot_be_made_is_replaced_by_a_passing_one(monkeypatch, tmp_path):
    blocked = tmp_path / "a file, no folder"
    blocked.write_text("")
    monkeypatch.setattr(kernel_cache.platformdirs, "user_cache_dir", lambda *_, **__: str(blocked))
    folder = kernel_cache._writable_folder()
    assert folder.is_dir()
    assert blocked not in folder.parents
    if os.name == "posix":
        assert folder.stat().st_mode & 0o077 == 0


@pytest.fixture
def cache(monkeypatch, tmp_path):
    """The cache folder as an earlier start left it, with one compiled kernel."""
    monkeypatch.setattr(
        kernel_cache.platformdirs, "user_cache_dir", lambda *_, **__: str(tmp_path / "cache")
    )
    folder = kernel_cache._writable_folder()
    assert folder == tmp_path / "cache" / kernel_cache.cache_name()
    (folder / "kernel.nbc").write_bytes(b"code")
    (folder / "kernel.nbc").chmod(0o600)
    return folder


@pytest.mark.skipif(os.name != "posix", reason="owners of POSIX")
def test_a_cache_of_ones_own_is_used_again(cache):
    assert kernel_cache._writable_folder() == cache
    assert (cache / "kernel.nbc").exists()


@pytest.mark.skipif(os.name != "posix", reason="owners of POSIX")
@pytest.mark.parametrize("what", [".", "kernel.nbc"])
def test_a_kernel_that_others_could_write_is_never_loaded(cache, what):
    (cache / what).chmod(0o777)
    assert kernel_cache._writable_folder() == cache
    assert list(cache.iterdir()) == [], "made anew"


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="only root gives files away")
@pytest.mark.parametrize("what", [".", "kernel.nbc"])
def test_a_kernel_of_another_owner_is_never_loaded(cache, what):
    os.chown(cache / what, 12345, 12345)
    folder = kernel_cache._writable_folder()
    assert not (folder / "kernel.nbc").exists()


@pytest.mark.skipif(os.name != "posix", reason="owners of POSIX")
def test_of_an_owner_that_cannot_be_removed_another_folder_is_used(cache, monkeypatch):
    monkeypatch.setattr(kernel_cache.os, "geteuid", lambda: 54321)
    folder = kernel_cache._writable_folder()
    assert folder != cache
    assert not (folder / "kernel.nbc").exists()


COUNT = """
import numpy as np
from core.image import sampling, sampling_kernels
from core.image.volume import Volume
tiny = Volume(
    voxels=np.zeros((2, 2, 2), np.int16), mm_from_ijk=np.eye(4), made_up=np.zeros(2, bool)
)
sampling.at_points(tiny, np.zeros((sampling.FEW_SAMPLES + 1, 3)))
stats = sampling_kernels.sample_lines.stats
print(sum(stats.cache_hits.values()), sum(stats.cache_misses.values()))
"""


@pytest.mark.slow
def test_a_second_start_compiles_nothing(tmp_path):
    environment = {k: v for k, v in os.environ.items() if k != "NUMBA_CACHE_DIR"}
    environment |= {name: str(tmp_path) for name in ("XDG_CACHE_HOME", "LOCALAPPDATA", "HOME")}
    counts = [
        subprocess.run(
            [sys.executable, "-c", COUNT],
            capture_output=True,
            text=True,
            check=True,
            env=environment,
            cwd=CORE.parent,
            timeout=100 * PATIENCE,
        ).stdout.split()
        for _ in range(2)
    ]
    assert counts == [["0", "1"], ["1", "0"]]
    # Nothing is written beside the code.
    assert not list(CORE.rglob("*.nbi"))
