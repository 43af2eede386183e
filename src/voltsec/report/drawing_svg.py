"""A drawing as SVG: text as text, colours by CSS, dark ones where the reader's screen is dark."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from voltsec.report.drawing_marks import GROUND, LINES, TYPES, Group, Mark, Path, groups, size
from voltsec.report.figure_face import TYPE

if TYPE_CHECKING:
    from voltsec.drawing.symbols import Stroke
    from voltsec.report.drawing import Drawing


def drawing_svg(drawing: Drawing) -> str:
    """``drawing`` as one ``<svg>`` element.

    Each part is a group with ``data-part``, each wire one with ``data-net``.
    """
    wide, high = (_number(value) for value in size(drawing))
    inside = "\n".join(_group(group) for group in groups(drawing))
    return (
        f'<svg class="circuit" xmlns="http://www.w3.org/2000/svg" width="{wide}" height="{high}" '
        f'viewBox="0 0 {wide} {high}" role="img">\n'
        f"<title>{escape(drawing.title)}</title>\n"
        f"<style>\n{_style()}</style>\n"
        f'<rect class="ground" width="{wide}" height="{high}"/>\n{inside}\n</svg>\n'
    )


def _group(group: Group) -> str:
    key = {"part": "data-part", "wire": "data-net", "junction": "data-net", "reference": "data-net"}
    told = f' {key[group.kind]}="{escape(group.name)}"' if group.kind in key else ""
    told += f' data-state="{group.state}"' if group.state else ""
    return f'<g class="{group.kind}"{told}>{"".join(_mark(mark) for mark in group.marks)}</g>'


def _mark(mark: Mark) -> str:
    if isinstance(mark, Path):
        filled = " filled" if mark.stroke.filled else ""
        return f'<path class="{mark.style}{filled}" d="{_steps(mark.stroke)}"/>'
    anchor = "" if mark.anchor == "start" else f' text-anchor="{mark.anchor}"'
    place = f'x="{_number(mark.x)}" y="{_number(mark.y)}"'
    return f'<text class="{mark.style}" {place}{anchor}>{escape(mark.text)}</text>'


def _steps(stroke: Stroke) -> str:
    found = []
    for letter, *numbers in stroke.steps:
        found.append(str(letter) + " ".join(_number(float(value)) for value in numbers))
    return "".join(found)


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _style() -> str:
    rules = [
        f".circuit text {{ font-family: {TYPE} }}",
        ".circuit path { fill: none; stroke-linecap: round; stroke-linejoin: round }",
    ]
    for name, line in LINES.items():
        rules.append(f".circuit .{name} {{ stroke-width: {line.width:g} }}")
    for name, type_ in TYPES.items():
        weight = "; font-weight: 600" if type_.bold else ""
        rules.append(f".circuit .{name} {{ font-size: {type_.size:g}px{weight} }}")
    rules += _colours(0)
    rules.append("@media screen and (prefers-color-scheme: dark) {")
    return "\n".join([*rules, *_colours(1), "}"]) + "\n"


def _colours(dark: int) -> list[str]:
    rules = [f".circuit .ground {{ fill: {GROUND[dark]} }}"]
    for name, line in LINES.items():
        colour = (line.light, line.dark)[dark]
        rules.append(f".circuit path.{name} {{ stroke: {colour} }}")
        rules.append(f".circuit path.{name}.filled {{ fill: {colour} }}")
    for name, type_ in TYPES.items():
        rules.append(f".circuit text.{name} {{ fill: {(type_.light, type_.dark)[dark]} }}")
    return rules
