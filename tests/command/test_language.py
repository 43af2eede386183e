"""The language's reference is complete, and its examples are read as it says."""

import re
from textwrap import dedent

import pytest

import voltsec
from tests.command.readme import output_of
from voltsec.circuit import elements
from voltsec.command.status import Status
from voltsec.language import quantities
from voltsec.language.vocabulary import IN_EQUATIONS, KINDS, PROPERTIES

TEXT = output_of("language")
BLOCKS = [dedent(block) for block in re.findall(r"(?:^ {4}.*\n|^\n(?= {4}))+", TEXT, re.MULTILINE)]
NETLISTS = [block for block in BLOCKS if re.search(r"^load +\w+ +:", block, re.MULTILINE)]


@pytest.mark.parametrize("netlist", NETLISTS, ids=range(len(NETLISTS)))
def test_every_netlist_shown_is_read_and_solved(netlist: str) -> None:
    stage = voltsec.read(netlist)
    assert not stage.doubts
    assert voltsec.solve(stage).numbers is not None


def test_there_are_four_netlists() -> None:
    assert len(NETLISTS) == 4


STATEMENTS = re.findall(
    r"^    ((?:couple|drive|output|parameter|converter|operate|input|ground) \S.*?)(?:  |$)",
    TEXT.partition("OTHER STATEMENTS")[2].partition("LEGS THAT")[0],
    re.MULTILINE,
)
SURROUNDING = """
source Vg : in -> gnd = 12 V
switch S : in -> a
switch Q : gnd -> a
switch S2 : in -> d
inductor L1 : a -> c = 100 uH
inductor L2 : d -> c = 100 uH
diode D2 : gnd -> d
resistor Rs : c -> b = 1 mohm
capacitor Co : b -> gnd = 10 uF
load R : b -> gnd = 10 ohm
"""  # fmt: skip


@pytest.mark.parametrize("statement", STATEMENTS)
def test_every_other_statement_shown_is_read(statement: str) -> None:
    statement = statement.replace("a -> b", "b -> gnd").replace("gnd, sgnd", "gnd")
    drives = {"S": "drive S at D", "Q": "drive Q against S", "S2": "drive S2 at D"}
    if statement.startswith("drive"):
        drives[statement.split()[1]] = statement
    else:
        drives["other"] = statement
    voltsec.read(SURROUNDING + "\n".join(drives.values()))


def test_every_kind_of_element_with_its_properties_is_told() -> None:
    table = TEXT.partition("properties\n")[2].partition("The arrow")[0]
    told = dict(re.findall(r"^    (\w+) +(\S.*)$", table, re.MULTILINE))
    assert {value.kind for value in vars(elements).values() if getattr(value, "kind", "")} == set(KINDS)
    beside = TEXT.partition("Losses beside conduction")[2].partition("A core wound")[0]
    for kind, (_, _, properties) in KINDS.items():
        for name in PROPERTIES:
            has = name in properties
            if name in IN_EQUATIONS:
                assert has == (name in told[kind].partition("   ")[2]), (kind, name)
            elif has:
                assert kind in beside and name in beside, (kind, name)


def test_every_unit_and_exit_status_is_told() -> None:
    numbers = TEXT.partition("NUMBERS")[2].partition("OTHER")[0]
    for prefix in "fpnumkMGT":
        assert re.search(rf"\b{prefix}\b", numbers), prefix
    for unit in {unit for unit in quantities.UNITS if unit.isascii()}:
        assert re.search(rf"(?<!\w){unit}(?!\w)", numbers), unit
    for status in (Status.DONE, Status.CHECK_FAILED, Status.BAD_INPUT, Status.NO_ANSWER):
        assert re.search(rf"^    {int(status)}   ", TEXT, re.MULTILINE)


def test_it_fits_a_terminal() -> None:
    assert max(map(len, TEXT.splitlines())) <= 80
