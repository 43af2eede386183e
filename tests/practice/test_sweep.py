"""Sweeps: the same numbers as point by point, on any executor, with the mode of each point."""

from __future__ import annotations

import io
import multiprocessing
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from functools import cache

import numpy as np
import pytest

import voltsec
from voltsec.periodic.reading_list import quantity_units
from voltsec.practice import sweep as module
from voltsec.practice.asked import BadValues, quantity_called
from voltsec.practice.axes import read_axes
from voltsec.practice.sweep import ORDINARY, sweep
from voltsec.report.sweep_csv import write_rows
from voltsec.results.solution import Numbers, Solution

ONLY_SWEPT = ("losses", "input_step", "output_current_step")


def number_called(numbers: Numbers, name: str) -> float | None:
    """One entry of :class:`Numbers` by its dotted name; None where there is none."""
    port, _, what = name.rpartition("_")
    if port in ("input", "output_current"):
        flow = numbers.input_current if port == "input" else numbers.output_current
        return None if flow is None else getattr(flow, what)
    group, _, rest = name.partition(".")
    found = getattr(numbers, group, None)
    if group == "stress":
        part, _, key = rest.rpartition(".")
        return numbers.stress.get(part, {}).get(key)
    if rest:
        return found.get(rest) if isinstance(found, dict) else None
    return found


@cache
def shipped(name: str) -> Solution:
    return voltsec.solve(voltsec.load(name))


@pytest.mark.parametrize(
    "name",
    [
        "boost_lossy",
        "cuk_coupled",
        "flyback2",
        "forward",
        "quad_boost",
        "charger_lossy",
        "buckboost_two_switch",
    ],
)
def test_same_as_point_by_point(name: str) -> None:
    """Every quantity, at random duties and loads that reach every mode."""
    answer = shipped(name)
    circuit = answer.circuit
    generator = np.random.default_rng(4)
    load = circuit.loads[0].quantity.symbol
    values = {duty: generator.uniform(0.05, 0.95, 12) for duty in circuit.duty_symbols}
    values[load] = float(circuit.values[load]) * 10 ** generator.uniform(-1, 2, 12)
    quantities = tuple(q for q in quantity_units(circuit) if not q.startswith(ONLY_SWEPT))
    result = sweep(answer, values, quantities)
    for k in range(12):
        try:
            expected = answer.at(**{name: float(column[k]) for name, column in values.items()})
        except LookupError:
            assert result.mode[k] == ""
            continue
        assert result.mode[k] == expected.mode
        for quantity in quantities:
            number = number_called(expected, quantity)
            got = result[quantity][k]
            assert np.isnan(got) if number is None else got == pytest.approx(number, rel=1e-6, abs=1e-8), (
                quantity
            )


def test_arrays_broadcast_and_modes_follow() -> None:
    """K crosses K_crit = D (1 - D)**2 on this grid (M1 chapter 5, from memory): the mode changes there."""
    duty, load = np.linspace(0.1, 0.9, 41)[:, None], np.geomspace(5, 500, 23)
    result = sweep(shipped("boost"), {"D": duty, "R": load}, ("gain",), most_exact=0)
    assert result.gain.shape == (41, 23)
    values = shipped("boost").circuit.values
    k = 2 * float(values["L"]) / (load * float(values["T"]))
    critical = duty * (1 - duty) ** 2
    continuous = k > critical
    clear = np.abs(k - critical) > 1e-9
    assert ((result.mode == "CCM") == continuous)[clear].all()
    gain = np.where(continuous, 1 / (1 - duty), (1 + np.sqrt(1 + 4 * duty**2 / k)) / 2)
    assert result.gain == pytest.approx(gain, rel=1e-9)


def test_one_point_has_no_axes() -> None:
    result = shipped("boost").sweep(D=0.5)
    assert result.gain.shape == () and float(result.gain) == pytest.approx(2.0, rel=1e-4)
    assert str(result.mode) == "CCM"


def many(count: int = 45_000) -> dict[str, np.ndarray]:
    generator = np.random.default_rng(7)
    return {"D": generator.uniform(0.05, 0.95, count), "R": 10 ** generator.uniform(0, 3, count)}


@pytest.mark.parametrize(("name", "count"), [("boost_lossy", 45_000), ("sepic_lossy", 5_500)])
def test_threads_and_processes_give_the_same_bits(name: str, count: int) -> None:
    """With formulas, and with equations solved at every point."""
    quantities = ("gain", "efficiency", "stress.S.current_rms", "losses.D1")
    serial = sweep(shipped(name), many(count), quantities)
    assert len(set(serial.mode_index.tolist()) - {-1}) == 2
    context = multiprocessing.get_context("spawn")
    for executor in (ThreadPoolExecutor(2), ProcessPoolExecutor(2, mp_context=context)):
        with executor:
            result = sweep(shipped(name), many(count), quantities, executor)
        assert np.array_equal(result.mode_index, serial.mode_index)
        for quantity in quantities:
            assert np.array_equal(result[quantity], serial[quantity], equal_nan=True), quantity


def test_a_cluster_of_two_processes_gives_the_same_bits() -> None:
    distributed = pytest.importorskip("distributed")
    serial = sweep(shipped("boost_lossy"), many())
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
        client.get_executor() as executor,
    ):
        client.wait_for_workers(2, timeout=60)
        result = sweep(shipped("boost_lossy"), many(), executor=executor)
    assert np.array_equal(result.mode_index, serial.mode_index)
    assert np.array_equal(result.gain, serial.gain, equal_nan=True)
    assert np.array_equal(result.efficiency, serial.efficiency, equal_nan=True)


def test_progress_is_told() -> None:
    told: list[tuple[int, int]] = []
    sweep(shipped("boost"), many(), progress=lambda done, total: told.append((done, total)))
    assert told[0] == (0, 45_000) and told[-1] == (45_000, 45_000)
    assert len(told) == 1 + -(-45_000 // module.CHUNK)


def test_coupling_by_coefficient_follows_its_coils() -> None:
    """M = k sqrt(L1 L2): otherwise a change of one coil would make the pair store negative energy."""
    lines = shipped("cuk").circuit.text + "\ncouple L1, L2 = 0.5\n"
    answer = voltsec.solve(voltsec.read(lines))
    coupling = answer.circuit.couplings[0]
    assert coupling.coefficient is not None
    coil = float(answer.circuit.values["L1"]) * np.array([0.5, 1.0, 2.0])
    result = sweep(answer, {"L1": coil}, ("ripple.L1",))
    mutual = float(coupling.coefficient) * np.sqrt(coil * float(answer.circuit.values["L2"]))
    for k in range(3):
        number = answer.at(**{"L1": float(coil[k]), coupling.symbol: float(mutual[k])}).ripple["L1"]
        assert result["ripple.L1"][k] == pytest.approx(number)


@pytest.mark.parametrize(
    "values, words",
    [
        ({"Q": 1.0}, "no symbol called Q"),
        ({"R_l": 1.0}, "did you mean 'R_L"),
        ({"D": [0.5, 1.0]}, "lies between 0 and 1"),
        ({"R": [-1.0, 2.0]}, "above zero"),
        ({"R": 0.0}, "above zero"),
        ({"R": "ten"}, "no number"),
        ({"R": [1.0, float("nan")]}, "not finite"),
        ({"R": []}, "no value"),
        ({"V_D1": 15.0}, "not below the input"),
    ],
)
def test_bad_values(values: dict, words: str) -> None:
    with pytest.raises(BadValues, match=words):
        sweep(shipped("boost_lossy"), values)


def test_missing_values_and_unknown_quantities() -> None:
    bare = voltsec.solve(voltsec.read(shipped("boost").circuit.text.replace(" = 24 ohm", "")))
    with pytest.raises(BadValues, match="missing for R"):
        sweep(bare, {"D": 0.5}, ("inductor_currents.L",))
    with pytest.raises(BadValues, match="did you mean 'gain"):
        sweep(shipped("boost"), {"D": 0.5}, ("gian",))
    assert quantity_called(shipped("boost").circuit, "S.voltage_peak") == "stress.S.voltage_peak"
    with pytest.raises(BadValues, match=r"inductor_currents\.L or ripple\.L"):
        quantity_called(shipped("boost").circuit, "L")


@pytest.mark.parametrize(
    "text, words",
    [
        ("D=0.9:0.1", r"upwards; write D=0\.1:0\.9"),
        ("D=0.5:0.5", "upwards"),
        ("D=a:b", "'a' is no number"),
        ("D=0.1:0.9:many", "2 or more"),
        ("D=0.1:0.9:1", "2 or more"),
        ("D=0.1:0.5:3:4", "a range is written"),
        ("R=-1:10:log", "above zero"),
        ("R=1F:2F", "does not fit"),
        ("R=1parsec", "not a unit"),
        ("R", "NAME=FROM:TO"),
        ("R=", "NAME=FROM:TO"),
        ("R=1:2:3000000", "2 or more|too many"),
    ],
)
def test_bad_axes(text: str, words: str) -> None:
    with pytest.raises(BadValues, match=words):
        read_axes((text,), {"D": "1", "R": "ohm"})


def test_axes() -> None:
    axes = read_axes(
        ("D=0.1:0.9:9", "R=1:100:log", "L=68uH", "T=10us,20us"), {"D": "1", "R": "ohm", "L": "H", "T": "s"}
    )
    assert [np.shape(axes[name]) for name in "DRLT"] == [(9, 1, 1), (5, 1), (), (2,)]
    assert axes["L"] == pytest.approx(68e-6)
    assert np.ravel(axes["R"]) == pytest.approx([1, 10**0.5, 10, 10**1.5, 100])
    with pytest.raises(BadValues, match="given twice"):
        read_axes(("D=0.1", "D=0.2"), {"D": "1"})


def test_table() -> None:
    stream = io.StringIO()
    duties = {"D": np.array([0.25, 0.5])}
    write_rows(sweep(shipped("boost"), duties, ORDINARY, most_exact=0), stream)
    assert stream.getvalue().splitlines() == [
        "D,mode,gain,output_voltage (V),efficiency",
        "0.25,CCM,1.33333333333,16,1",
        "0.5,CCM,2,24,1",
    ]
