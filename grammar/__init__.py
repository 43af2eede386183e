"""The grammar of the netlist language, ``netlist.lark``, as package data."""
