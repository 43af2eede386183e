"""Circuit -> text (:func:`write`) and text -> the same text in canonical form (:func:`tidy`).

Both print values exactly: reading the result back gives an equal Circuit.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from voltsec.circuit.circuit import Circuit, Coupling
from voltsec.circuit.elements import Element, Quantity, Transformer
from voltsec.language.driving import start_value
from voltsec.language.layout import Row, lay_out
from voltsec.language.parsing import parse_statement
from voltsec.language.quantities import format_number, format_quantity, is_decimal, measure, number
from voltsec.language.reader import read
from voltsec.language.splitting import split
from voltsec.language.statements import (
    Amount,
    CoupleStatement,
    DriveStatement,
    ElementStatement,
    GroundStatement,
    InputStatement,
    OperateStatement,
    OutputStatement,
    ParameterStatement,
    PropertyText,
    Statement,
    TitleStatement,
    Word,
)
from voltsec.language.vocabulary import IN_EQUATIONS, KINDS, PROPERTIES


def write(circuit: Circuit) -> str:
    """The canonical netlist of a circuit: title, grounds and parameters, elements, the rest.

    ValueError where something has no form in the language: a value without a finite decimal form,
    a title with a quote or line break in it.
    """
    groups = [_head_rows(circuit), [_element_row(one) for one in circuit.elements], _tail_rows(circuit)]
    title = _title_rows(circuit)
    rows: list[Row] = []
    for group in (title, *groups):
        if group:
            rows += [Row(), *group] if rows else group
    return lay_out(rows)


def tidy(text: str, file: str = "<text>") -> str:
    """A netlist's text in canonical form, statements in their order and comments kept.

    Blank lines stay, several in a row become one.  A statement broken over lines becomes one line,
    comments inside it are joined at its end.  Tidying twice changes nothing more.
    :class:`voltsec.circuit.fault.CircuitError` where the text has faults of the language.
    """
    text = text.removeprefix("\ufeff")
    duties = read(text, file).timing_symbols
    rows: list[Row] = []
    for piece in split(text):
        if piece.kind == "statement":
            rows.append(_row_of(parse_statement(piece), piece.comment, duties))
        elif piece.kind == "comment":
            rows.append(Row(comment=piece.comment))
        elif rows and rows[-1] != Row():
            rows.append(Row())
    while rows and rows[-1] == Row():
        rows.pop()
    return lay_out(rows)


# From a circuit


def _title_rows(circuit: Circuit) -> list[Row]:
    if circuit.title is None:
        return []
    if any(character in circuit.title for character in '"\n\r'):
        raise ValueError(f"a title cannot hold a quote or a line break: {circuit.title!r}")
    return [Row("converter", f'"{circuit.title}"')]


def _head_rows(circuit: Circuit) -> list[Row]:
    rows = []
    if circuit.grounds != ("gnd",):
        rows.append(Row("ground", ", ".join(circuit.grounds)))
    for parameter in circuit.parameters:
        rows.append(Row("parameter", parameter.symbol + _equals(parameter)))
    return rows


def _element_row(element: Element) -> Row:
    braces = []
    beside = dict(element.beside)
    for name in KINDS[element.kind][2]:
        quantity = getattr(element, name) if name in IN_EQUATIONS else beside.get(name)
        if quantity is not None:
            default = PROPERTIES[name][0] + element.name
            symbol = None if quantity.symbol == default else quantity.symbol
            braces.append(_property(name, symbol, _amount(quantity)))
    inside = _braces(braces)
    if isinstance(element, Transformer):
        arrows = ", ".join(f"{start} -> {end}" for start, end in element.windings)
        turns = " : ".join(one if isinstance(one, str) else format_number(one) for one in element.turns)
        return Row(element.kind, arrows, element.name, value="= " + turns, braces=inside)
    quantity = getattr(element, "quantity", None)
    value = _equals(quantity).lstrip() if quantity is not None else ""
    return Row(element.kind, "", element.name, element.start, element.end, value, inside)


def _tail_rows(circuit: Circuit) -> list[Row]:
    rows = [_coupling_row(coupling) for coupling in circuit.couplings]
    for drive in circuit.drives:
        argument = f" {drive.argument}" if drive.argument is not None else ""
        rows.append(Row("drive", f"{drive.switch} {drive.kind}{argument}{_from(drive.start)}"))
    if circuit.input_name is not None:
        rows.append(Row("input", circuit.input_name))
    output = circuit.output_choice
    if output is not None:
        rows.append(Row("output", output.element or f"{output.start} -> {output.end}"))
    if circuit.operating:
        rows.append(Row("operate", ", ".join(_setting(name, value) for name, value in circuit.operating)))
    return rows


def _coupling_row(coupling: Coupling) -> Row:
    pair = f"{coupling.first}, {coupling.second}"
    named = "" if coupling.symbol == f"M_{coupling.first}_{coupling.second}" else f"{coupling.symbol} : "
    value = ""
    if coupling.coefficient is not None:
        value = f" = {format_number(coupling.coefficient)}"
    elif coupling.mutual is not None:
        value = f" = {format_quantity(coupling.mutual, 'H')}"
    return Row("couple", named + pair + value)


def _setting(name: str, value: Fraction) -> str:
    """One setting of ``operate``; a period that is no finite decimal is written as its frequency."""
    if name != "T":
        return f"{name} = {format_number(value)}"
    if is_decimal(value):
        return f"T = {format_quantity(value, 's')}"
    return f"f = {format_quantity(1 / value, 'Hz')}"


def _amount(quantity: Quantity) -> str | None:
    return None if quantity.value is None else format_quantity(quantity.value, quantity.unit)


def _equals(quantity: Quantity) -> str:
    amount = _amount(quantity)
    return "" if amount is None else f" = {amount}"


# From statements


def _row_of(statement: Statement, comment: str | None, duties: tuple[str, ...]) -> Row:
    """The canonical row of a statement that has been read without a fault."""
    match statement:
        case ElementStatement(kind=kind, name=name, arrows=arrows):
            inside = _braces([_property_of(entry, name.text) for entry in statement.properties])
            if kind == "transformer":
                lines = ", ".join(f"{start.text} -> {end.text}" for start, end in arrows)
                turns = " : ".join(_turn(word) for word in statement.turns or ())
                return Row(kind, lines, name.text, value="= " + turns, braces=inside, comment=comment)
            unit = KINDS[kind][1] or "1"
            value = f"= {_canonical(statement.amount, unit)}" if statement.amount is not None else ""
            start, end = arrows[0]
            return Row(kind, "", name.text, start.text, end.text, value, inside, comment)
        case TitleStatement(title=title):
            return Row("converter", f'"{title.text}"', comment=comment)
        case GroundStatement(nodes=nodes):
            return Row("ground", ", ".join(node.text for node in nodes), comment=comment)
        case ParameterStatement(name=name, amount=amount):
            return Row("parameter", name.text + _equals_of(amount, "1"), comment=comment)
        case CoupleStatement(symbol=symbol, first=first, second=second, amount=amount):
            named = ""
            if symbol is not None and symbol.text != f"M_{first.text}_{second.text}":
                named = f"{symbol.text} : "
            pair = f"{first.text}, {second.text}"
            return Row("couple", named + pair + _equals_of(amount, "1"), comment=comment)
        case DriveStatement(switch=switch, kind=kind, argument=argument, start=start):
            follows = f" {argument.text}" if argument is not None else ""
            begins = ""
            if start is not None and start.symbol is not None:
                begins = _from(start.symbol.text)
            elif start is not None:
                value_read = start_value(start)
                assert isinstance(value_read, Fraction), "the text was read without a fault"
                begins = _from(value_read % 1)
            return Row("drive", f"{switch.text} {kind}{follows}{begins}", comment=comment)
        case OperateStatement(settings=settings):
            return Row("operate", ", ".join(_settings(settings, duties)), comment=comment)
        case InputStatement(name=name):
            return Row("input", name.text, comment=comment)
        case OutputStatement(start=start, end=end):
            return Row("output", start.text + (f" -> {end.text}" if end is not None else ""), comment=comment)


def _settings(settings: tuple[tuple[Word, Amount], ...], duties: tuple[str, ...]) -> Iterator[str]:
    for name, amount in settings:
        # A duty may be called f as well.
        unit = "1" if name.text in duties else {"T": "s", "f": "Hz"}[name.text]
        yield f"{name.text} = {_canonical(amount, unit)}"


def _turn(word: Word) -> str:
    return word.text if word.text[0].isalpha() or word.text[0] == "_" else format_number(number(word.text))


def _canonical(amount: Amount, unit: str) -> str:
    value, found = measure(amount.number.text, amount.unit.text if amount.unit is not None else None)
    return format_quantity(value, found or unit)


def _equals_of(amount: Amount | None, unit: str) -> str:
    return "" if amount is None else f" = {_canonical(amount, unit)}"


def _property_of(entry: PropertyText, owner: str) -> str:
    beginning, unit = PROPERTIES[entry.name.text]
    symbol = entry.symbol.text if entry.symbol is not None else None
    amount = _canonical(entry.amount, unit) if entry.amount is not None else None
    return _property(entry.name.text, None if symbol == beginning + owner else symbol, amount)


# Of both


def _from(start: Fraction | str) -> str:
    """Where an on-time begins; nothing where that is the period's start."""
    if start == 0:
        return ""
    if isinstance(start, str):
        return f" from {start}"
    return f" from {format_number(start) if is_decimal(start) else start}"


def _property(name: str, symbol: str | None, amount: str | None) -> str:
    """One entry inside braces; ``symbol`` is None where the property has its usual one."""
    if symbol is None:
        return name if amount is None else f"{name} {amount}"
    return f"{name} {symbol}" if amount is None else f"{name} {symbol} = {amount}"


def _braces(properties: list[str]) -> str:
    return "{ " + ", ".join(properties) + " }" if properties else ""
