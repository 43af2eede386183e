"""The example notebook: its cells run, their checks hold, and the stored outputs are true."""

from __future__ import annotations

from .running import read_notebook, run, source_of


def test_stored_outputs_are_what_the_cells_give() -> None:
    """``python -m tests.notebook`` renews them; figures and tables are compared by their plain text."""
    notebook = read_notebook()
    code = [cell for cell in notebook["cells"] if cell["cell_type"] == "code"]
    assert len(code) >= 8
    for cell, outputs in zip(code, run(notebook), strict=True):
        assert _told(cell["outputs"]) == _told(outputs), source_of(cell)


def test_the_file_has_the_form_of_the_standard() -> None:
    """nbformat 4.5: version, kernel, a unique identifier for every cell (from memory)."""
    notebook = read_notebook()
    assert (notebook["nbformat"], notebook["nbformat_minor"]) == (4, 5)
    assert notebook["metadata"]["kernelspec"]["language"] == "python"
    cells = notebook["cells"]
    assert len({cell["id"] for cell in cells}) == len(cells)
    for cell in cells:
        needed = {"cell_type", "id", "metadata", "source"}
        needed |= {"outputs", "execution_count"} if cell["cell_type"] == "code" else set()
        assert set(cell) == needed


def _told(outputs: list[dict]) -> list[str]:
    """Printed lines and the plain text of results."""
    return [
        "".join(output["text"] if output["output_type"] == "stream" else output["data"]["text/plain"])
        for output in outputs
    ]
