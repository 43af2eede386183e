"""Pages made of the templates beside the code, each one file that works without a network."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import resources
from typing import Any


class Markup(str):
    """Text that is markup already."""

    def __html__(self) -> str:
        return self


def beside(name: str) -> str:
    """The text of a file that stands beside the code."""
    return resources.files("voltsec.report").joinpath(name).read_text(encoding="utf-8")


def rendered(template: str, context: Mapping[str, Any]) -> str:
    """A page from ``template``, the style sheet inside it."""
    from jinja2 import Environment, PackageLoader

    import voltsec

    environment = Environment(loader=PackageLoader("voltsec.report", "."), autoescape=True, trim_blocks=True)
    style = Markup(beside("page.css"))
    return environment.get_template(template).render(**context, style=style, version=voltsec.__version__)
