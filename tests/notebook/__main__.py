"""Renew the outputs stored in the example notebook: ``python -m tests.notebook``."""

from __future__ import annotations

import json

from .running import NOTEBOOK, read_notebook, run


def renew() -> None:
    """Run the notebook and store what its cells give."""
    notebook = read_notebook()
    code = [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]
    for number, (cell, outputs) in enumerate(zip(code, run(notebook), strict=True), 1):
        cell["outputs"], cell["execution_count"] = outputs, number
    text = json.dumps(notebook, indent=1, ensure_ascii=False, sort_keys=True)
    NOTEBOOK.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    renew()
