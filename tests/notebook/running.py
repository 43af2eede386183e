"""A notebook's code cells run one after another in one namespace, as a notebook program would run them.

The file's form is nbformat 4.5 (an open standard): cells with ``source``, code cells with ``outputs``.
"""

from __future__ import annotations

import ast
import contextlib
import io
import json
from pathlib import Path
from typing import Any

NOTEBOOK = Path(__file__).resolve().parents[2] / "circuits" / "river_gauge.ipynb"
FORMS = {"text/html": "_repr_html_", "text/latex": "_repr_latex_", "image/svg+xml": "_repr_svg_"}
"""What a value may show itself as, and the method it does it by."""


def read_notebook(path: Path = NOTEBOOK) -> dict[str, Any]:
    """The notebook's content."""
    content: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return content


def source_of(cell: dict[str, Any]) -> str:
    """A cell's text."""
    return "".join(cell["source"])


def run(notebook: dict[str, Any]) -> list[list[dict[str, Any]]]:
    """Outputs of every code cell, in order; what a cell raises is raised."""
    namespace: dict[str, Any] = {"__name__": "__main__"}
    code = [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]
    return [_run_cell(source_of(cell), number, namespace) for number, cell in enumerate(code, 1)]


def _run_cell(source: str, number: int, namespace: dict[str, Any]) -> list[dict[str, Any]]:
    body = ast.parse(source, f"cell {number}")
    last = body.body.pop() if body.body and isinstance(body.body[-1], ast.Expr) else None
    value, printed = None, io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(body, f"cell {number}", "exec"), namespace)
        if isinstance(last, ast.Expr):
            value = eval(compile(ast.Expression(last.value), f"cell {number}", "eval"), namespace)
    outputs: list[dict[str, Any]] = []
    if printed.getvalue():
        outputs.append({"output_type": "stream", "name": "stdout", "text": _lines(printed.getvalue())})
    if value is not None:
        outputs.append(
            {
                "output_type": "execute_result",
                "execution_count": number,
                "metadata": {},
                "data": _shown(value),
            }
        )
    return outputs


def _shown(value: Any) -> dict[str, list[str]]:
    """The value in every form it has, plain text always."""
    data = {"text/plain": _lines(repr(value))}
    for form, method in FORMS.items():
        show = getattr(value, method, None)
        text = None if show is None else show()
        if text is not None:
            data[form] = _lines(text)
    return data


def _lines(text: str) -> list[str]:
    return text.splitlines(keepends=True)
