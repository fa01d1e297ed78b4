"""Kernels: the machine code does what their Python says, wherever it is kept and whoever runs it."""

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from registry.waveform import compiled, kernels, measure
from registry.waveform.warm import warm

from .files import Dialect, simple, write
from .truth import Bench, Pump, Trace, record

SHORT = Bench(seconds=9.0, rate_hz=50.0, start_phase=0.3)


STEADY = Pump()


def recorded(pump: Pump = STEADY, bench: Bench = SHORT) -> Trace:
    return record(pump, bench, np.random.default_rng(5))


def changed(trace: Trace, where: slice, by: float) -> Trace:
    vacuum = trace.vacuum.copy()
    vacuum[where] += by
    return replace(trace, vacuum=vacuum)


def without(trace: Trace, first: int, last: int) -> Trace:
    keep = np.r_[0:first, last : trace.seconds.size]
    return replace(trace, seconds=trace.seconds[keep], vacuum=trace.vacuum[keep])


def plain(trace: Trace) -> bytes:
    return simple(trace.seconds - trace.seconds[0], trace.vacuum)


def doubled() -> bytes:
    """Two unlike pulses in each cycle, with a fall between that passes the whole band."""
    at = np.arange(0.0, 15.0, 0.02)
    wave = np.interp(at % 1.5, [0, 0.2, 0.4, 0.5, 0.65, 0.8, 1.0, 1.1, 1.5], [0, 1, 1, 0, 0, 1, 1, 0, 0])
    return simple(at, 20 + 180 * wave)


FILES = {
    "steady": plain(recorded()),
    "scatters": plain(recorded(Pump(peak_spread=0.02, period_spread=0.02, drift_per_min=20.0))),
    "loses cycles": plain(recorded(Pump(loss_share=0.3), replace(SHORT, seconds=20.0))),
    "builds up": plain(recorded(Pump(build_up=0.5, build_up_s=4.0), replace(SHORT, seconds=20.0))),
    "noisy": plain(recorded(bench=replace(SHORT, noise=6.0))),
    "without noise": plain(recorded(bench=replace(SHORT, noise=0.0, resolution=0.0))),
    "spike": plain(changed(recorded(), slice(200, 201), 400.0)),
    "gap": plain(without(recorded(), 150, 210)),
    "open air first": plain(changed(recorded(bench=replace(SHORT, start_phase=-3.0)), slice(0, 1), 0.0)),
    "two settings": plain(changed(recorded(), slice(220, 450), 60.0)),
    "double pulse": doubled(),
    "at rest": simple(np.arange(0.0, 9.0, 0.02), np.full(450, 20.0)),
    "clock times": write(recorded().seconds, recorded().vacuum, Dialect(";", ",", "kPa", "hh:mm:ss")),
    "words": plain(recorded()).replace(b"\n3.", b"\n# 3.", 1) + b"9.5,OL\n9.52,\n",
}


@pytest.fixture
def interpreted(monkeypatch):
    """Every kernel, and every kernel it calls, in its Python form."""
    for name in kernels.MODULES:
        module = getattr(kernels, name)
        for word, value in list(vars(module).items()):
            if hasattr(value, "py_func"):
                monkeypatch.setattr(module, word, value.py_func)


def same(one, two):
    """Whether two measurements agree in all that they say."""
    assert [item.code for item in one.findings] == [item.code for item in two.findings]
    assert one.cycles.loss == two.cycles.loss
    assert one.metrics.keys() == two.metrics.keys()
    for name, quantity in one.metrics.items():
        other = two.metrics[name]
        # Sums in another order change the last digits, and solving for a form's terms makes more of them.
        assert quantity.value == pytest.approx(other.value, rel=1e-7, abs=1e-7), name
        assert quantity.u == pytest.approx(other.u, rel=1e-6, abs=1e-9), name


@pytest.mark.parametrize("name", FILES)
def test_machine_code_does_what_its_python_says(name, request):
    fast = measure(FILES[name])
    request.getfixturevalue("interpreted")
    same(measure(FILES[name]), fast)


def test_threads_measure_at_once_as_they_do_alone():
    alone = {name: measure(data) for name, data in FILES.items()}
    with ThreadPoolExecutor(8) as pool:
        together = list(pool.map(measure, [*FILES.values()] * 6))
    for name, measured in zip([*FILES] * 6, together, strict=True):
        assert measured.metrics == alone[name].metrics
        assert measured.findings == alone[name].findings


def test_a_call_never_compiles():
    with pytest.raises(TypeError, match="No matching definition"):
        kernels.order.median(np.arange(5.0)[::2])


def test_nothing_of_the_compiler_is_loaded_before_a_measurement():
    code = "import sys, registry.waveform; sys.exit('numba' in sys.modules)"
    subprocess.run([sys.executable, "-c", code], check=True)


def loading(folder: Path) -> subprocess.Popen[bytes]:
    """A process that loads a module of kernels and uses it, keeping machine code in a folder."""
    code = (
        "import numpy as np; from registry.waveform import kernels;"
        "assert kernels.order.median(np.array([3.0, 1.0, 2.0])) == 2.0"
    )
    return subprocess.Popen([sys.executable, "-c", code], env=os.environ | {"NUMBA_CACHE_DIR": str(folder)})


def test_processes_that_make_kernels_at_once_and_find_them_damaged_later(tmp_path):
    both = [loading(tmp_path), loading(tmp_path)]
    assert [process.wait() for process in both] == [0, 0]
    kept = list(tmp_path.rglob("*.nbc"))
    assert kept
    written = {path: path.stat().st_mtime_ns for path in kept}
    assert loading(tmp_path).wait() == 0
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*.nbc")} == written
    for path in kept:
        path.write_bytes(path.read_bytes()[:100])
    assert loading(tmp_path).wait() == 0
    assert {path.name for path in tmp_path.rglob("*.nbc")} == {path.name for path in kept}


@pytest.fixture
def read_only(monkeypatch, tmp_path):
    """A folder of kernels that came with the installation and cannot be written."""
    monkeypatch.setattr(compiled.config, "CACHE_DIR", str(tmp_path))
    monkeypatch.setattr(compiled, "_can_write", lambda room: False)
    compiled._room.cache_clear()
    yield tmp_path
    compiled._room.cache_clear()


def test_kernels_that_cannot_be_written_are_copied(read_only):
    shipped = read_only / f"kernels-{compiled._digest()}"
    (shipped / "module").mkdir(parents=True)
    (shipped / "module" / "one.nbc").write_bytes(b"code")
    (shipped / "module").chmod(0o555)
    room = compiled._room()
    assert room != str(shipped)
    assert Path(room, "module", "one.nbc").read_bytes() == b"code"
    assert Path(room, "module").stat().st_mode & 0o200


def test_where_nothing_can_be_written_kernels_are_made_for_one_process(read_only, monkeypatch):
    monkeypatch.setattr(compiled, "SOURCES", read_only / "nowhere")
    monkeypatch.setattr(compiled.platformdirs, "user_cache_path", lambda name: read_only / name)
    assert compiled._room() is None

    def twice(value: float) -> float:
        return 2.0 * value

    assert compiled.compiled(twice)(4.0) == 8.0


def test_warming_again_takes_no_time():
    warm()
    assert warm() < 0.01
