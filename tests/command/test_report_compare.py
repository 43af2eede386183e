"""``voltsec report A B --compare``: the comparison as a page."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from .conftest import Run

TASK = "Vin=8:16, Vout=12, Iout=0.5:2, f=100k"


def test_a_page_with_table_curves_and_circuits(voltsec: Run, tmp_path: Path) -> None:
    """Step-up cannot reach 12 V from 16 V, the other two can (common practice, no source)."""
    path = tmp_path / "rails.html"
    done = voltsec("report", "flyback", "buckboost", "boost", "--compare", "--for", TASK, "-o", str(path))
    assert done.returncode == 0, done.stderr
    page = path.read_text(encoding="utf-8")
    assert page.count('class="circuit"') == 3
    head = page.partition("<thead>")[2].partition("</thead>")[0]
    assert re.findall(r">(\w+)</a>", head) == ["flyback", "buckboost"]
    rows = re.findall(r"<tr><td>([^<]+)</td>(.*?)</tr>", page)
    labels = [label for label, _ in rows]
    assert {"Gain, ideal", "Switch stress", "Conduction losses", "Right-half zeros"} <= set(labels)
    assert re.search(r"<li>boost: .*no duty gives 12 V", page)
    assert "galvanic, by T" in dict(rows)["Separation"]
    assert "http://" not in page.replace("http://www.w3.org", "")  # it works without a network


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (("sepic", "--compare", "-o", "a.html"), "give another one"),
        (("sepic", "zeta", "-o", "a.html"), "--compare"),
        (("sepic", "zeta", "--compare", "-o", "a.tex"), ".html or .pdf"),
        (("sepic", "--for", "Vout=12", "-o", "a.html"), "belong to --compare"),
        (("sepic", "zeta", "--compare", "--for", "Vin=16:8, Vout=12", "-o", "a.html"), "Vin"),
    ],
)
def test_bad_input_leaves_nothing(voltsec: Run, tmp_path: Path, line: tuple[str, ...], words: str) -> None:
    *rest, name = line
    path = tmp_path / name
    done = voltsec("report", *rest, str(path))
    assert done.returncode == 2 and words in done.stderr and not path.exists()
