"""The energy ledger: it closes, and its entries are those worked out by hand or by the integration."""

from __future__ import annotations

import numpy as np
import pytest

from tests.integration.switched import periodic_averages
from tests.random.cases import make
from voltsec.circuit.circuit import Circuit
from voltsec.waveforms.exact import exact_state
from voltsec.waveforms.ledger import Ledger, LedgerBook
from voltsec.waveforms.network import NotDetermined
from voltsec.waveforms.piece import piece

from .following import circuit_of, followed, ready

CLOSES = 1e-9
"""Share of the energy that flowed by which a ledger may miss."""

CHARGED_AT_ONCE = """source Vg : in -> gnd = 10 V
switch S : in -> a
capacitor C1 : a -> gnd = 4 uF
diode D1 : a -> out { drop 0.5 V }
capacitor C2 : out -> gnd = 1 uF
load R : out -> gnd = 10 kohm
operate D = 0.5, T = 1 us
"""


def ledger_of(text: str | Circuit, count: int, **start: float) -> Ledger:
    book = LedgerBook()
    book.add(followed(text, count, start).runs)
    return book.ledger


@pytest.mark.parametrize("number", range(106, 141))
def test_it_closes_for_random_circuits(number: int) -> None:
    """Losses, coupled coils, capacitor loops, snubbers, batteries; nothing is found by difference."""
    circuit = make(number).circuit
    try:
        ledger = ledger_of(circuit, 20)
    except NotDetermined:
        pytest.skip("it is not found which devices conduct")
    assert abs(ledger.residual) <= CLOSES * ledger.flowed


def test_capacitors_charged_at_once_lose_half() -> None:
    """C*U**2/2 at each capacitor, and drop times charge in the diode (textbook, by hand)."""
    ledger = ledger_of(CHARGED_AT_ONCE, 1)
    assert sum(ledger.jumps.values()) == pytest.approx(4e-6 * 100 / 2 + 1e-6 * 9.5**2 / 2, rel=1e-3)
    assert ledger.lost["D1"] == pytest.approx(0.5 * 1e-6 * 9.5, rel=1e-3)
    assert ledger.sources["Vg"] == pytest.approx(10 * (4e-6 * 10 + 1e-6 * 9.5), rel=1e-3)
    assert ledger.stored["C1"] == pytest.approx(4e-6 * 100 / 2, rel=1e-3)
    assert abs(ledger.residual) <= CLOSES * ledger.flowed


def test_more_can_come_out_than_goes_in_before_the_steady_state() -> None:
    """A step-down stage that starts with its capacitor full: what is above 100 % came out of it."""
    ledger = ledger_of("buck", 40, Co=11.0)
    assert ledger.ratio is not None and ledger.ratio > 1
    assert ledger.taken - ledger.given == pytest.approx(-ledger.into_storage - ledger.heat, rel=1e-9)
    circuit = circuit_of("buck")
    farad = float(circuit.values["Co"])
    end = followed("buck", 40, {"Co": 11.0})
    volts = end.network.row({("V", "Co"): 1.0})
    last = end.one(39)
    final = float(last.functional(len(last.systems) - 1, volts)[0] @ last.ends[-1][1][0])
    assert ledger.stored["Co"] == pytest.approx(farad * (final**2 - 11.0**2) / 2, rel=1e-9)


@pytest.mark.parametrize("name", ["sepic_lossy", "boost_mult1_lossy", "buckboost_lossy"])
def test_powers_of_the_steady_state_are_the_integrations(name: str) -> None:
    circuit = circuit_of(name)
    network, _ = ready(circuit)
    state = exact_state(circuit, {name: float(v[0]) for name, v in network.point.items()})
    assert state is not None
    book = LedgerBook()
    book.add([state.trajectory])
    ledger, period = book.ledger, float(network.point["T"][0])
    outside = periodic_averages(circuit, {})
    total = outside.delivered_power
    for part, energy in (ledger.loads | {n: e for n, e in ledger.lost.items() if n in ("D1", "S")}).items():
        assert energy / period == pytest.approx(outside.powers[part], abs=2e-3 * total)
    assert ledger.given / period == pytest.approx(total, rel=2e-3)
    assert max(abs(e) for e in ledger.stored.values()) < 1e-9 * ledger.given


def test_coupled_coils_store_their_energy_together() -> None:
    ledger = ledger_of("cuk_coupled", 30)
    coils = {coil.name for coil in circuit_of("cuk_coupled").inductors}
    assert {frozenset(name.split(" + ")) for name in ledger.stored if "+" in name} == {frozenset(coils)}


def test_pieces_of_a_period_add_up_to_it() -> None:
    periods = followed("luo_selflift_no", 7)
    whole, parts = LedgerBook(), LedgerBook()
    one = periods.one(6)
    whole.add([one])
    parts.add(piece(one, *edges) for edges in ((0.0, 0.31), (0.31, 0.5), (0.5, 0.999), (0.999, 1.0)))
    for name in ("given", "taken", "heat", "into_storage"):
        expected = getattr(whole.ledger, name)
        assert getattr(parts.ledger, name) == pytest.approx(
            expected, rel=1e-9, abs=1e-9 * whole.ledger.flowed
        )


@pytest.mark.parametrize("window", [(0.0, 3.7e-5), (1.23e-5, 1.9e-5), (2e-5, 9.99e-5), (1.1e-6, 3.3e-6)])
def test_any_window_closes_and_windows_add_up(window: tuple[float, float]) -> None:
    periods = followed("boost_mult1_lossy", 10)
    begin, end = window
    books = [LedgerBook() for _ in range(3)]
    for book, (low, high) in zip(books, ((0.0, begin), window, (end, periods.end)), strict=True):
        book.add(periods.between(low, high))
    assert abs(books[1].ledger.residual) <= CLOSES * books[1].ledger.flowed
    whole = LedgerBook()
    whole.add(periods.runs)
    total = np.sum([book.ledger.given for book in books])
    assert total == pytest.approx(whole.ledger.given, rel=1e-9)
