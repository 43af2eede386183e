"""The notebook view."""

from html.parser import HTMLParser

from voltsec.report.notebook import html, latex
from voltsec.results.solution import Solution


class Balance(HTMLParser):
    """Checks that every tag is closed in turn."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_html(solution: Solution) -> None:
    text = html(solution)
    parser = Balance()
    parser.feed(text)
    assert parser.open == []
    assert r"$\frac{D V_{g}}{D'}$".replace("'", "&#x27;") in text
    assert "Holds when $K &lt; D&#x27;^{2}$" in text
    assert "800 mA" in text


def test_latex(solution: Solution) -> None:
    text = latex(solution)
    assert text.startswith("$") and text.endswith("$")
    assert r"\text{CCM} && K \geq D'^{2}" in text
