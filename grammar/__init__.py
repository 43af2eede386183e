"""The grammars of netlist and formula and the language's reference, as package data."""
