r"""A figure as commands of TikZ, so that it travels inside a LaTeX file and needs no TeX to be made.

Lines are drawn as they are, text is set by TeX in the document's sans serif.
"""

from __future__ import annotations

from math import cos, radians, sin
from typing import Any

from matplotlib.backend_bases import RendererBase
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.path import Path

from voltsec.report.figure_face import in_face
from voltsec.report.latex import escaped

PACKAGES = r"\usepackage{tikz}"
"""What the document's preamble needs."""
ALIGNED = {"left": (0.0, " west"), "center": (0.5, ""), "right": (1.0, " east")}
NO_BREAK = "\N{NO-BREAK SPACE}"
POINTS = 72.0
"""Big points an inch, which are the picture's unit."""


@in_face
def latex_figure(figure: Figure) -> str:
    """``figure`` as a ``tikzpicture``."""
    figure.set_dpi(POINTS)
    for patch in (figure.patch, *(axes.patch for axes in figure.axes)):
        patch.set_visible(False)  # the paper is the document's
    pen = _Pen(figure)
    figure.draw(pen)
    wide, tall = pen.get_canvas_width_height()
    return "\n".join(
        [
            r"\begin{tikzpicture}[x=1bp,y=1bp,line cap=butt,line join=round,every node/.style={inner sep=0}]",
            rf"\useasboundingbox (0,0) rectangle ({wide:.1f},{tall:.1f});",
            *pen.lines,
            r"\end{tikzpicture}",
        ]
    )


class _Pen(RendererBase):
    """Writes down what is drawn; text is measured as for a picture."""

    def __init__(self, figure: Figure) -> None:
        super().__init__()
        self.lines: list[str] = []
        canvas = figure.canvas
        assert isinstance(canvas, FigureCanvasAgg)
        self.measure = canvas.get_renderer()  # type: ignore[no-untyped-call]
        self.size = tuple(float(inches) * POINTS for inches in figure.get_size_inches())

    def get_canvas_width_height(self) -> tuple[float, float]:
        """Big points."""
        return self.size[0], self.size[1]

    def flipy(self) -> bool:
        """Upwards is upwards."""
        return False

    def points_to_pixels(self, points: Any) -> Any:
        """The unit is the point itself."""
        return points

    def get_text_width_height_descent(self, s: str, prop: Any, ismath: Any) -> tuple[float, float, float]:
        """As large as in the other figures."""
        return self.measure.get_text_width_height_descent(s, prop, ismath)

    def draw_image(self, *_: Any, **__: Any) -> None:
        """Figures that go into a document have no pictures of dots."""
        raise NotImplementedError

    def draw_path(self, gc: Any, path: Path, transform: Any, rgbFace: Any = None) -> None:
        """One line or area, cut off at the axes."""
        box = gc.get_clip_rectangle()
        clip = None
        if box is not None and rgbFace is None:  # far outside TeX's numbers end
            (left, low), (right, high) = box.get_points()
            clip = (left - 100, low - 100, right + 100, high + 100)
        steps = " ".join(_steps(path, transform, clip))
        if not steps:
            return
        options = []
        if rgbFace is not None:
            options.append(f"fill={_colour(rgbFace)}")
        width = gc.get_linewidth()
        alpha = gc.get_alpha() if gc.get_forced_alpha() else gc.get_rgb()[3]
        if width > 0 and alpha > 0:
            options += [f"draw={_colour(gc.get_rgb())}", f"line width={width:.2f}bp"]
            offset, dashes = gc.get_dashes()
            if dashes is not None:
                pattern = " ".join(
                    f"{word} {length:.2f}bp"
                    for word, length in zip(("on", "off") * len(dashes), dashes, strict=False)
                )
                options.append(f"dash pattern={pattern},dash phase={offset:.2f}bp")
        elif rgbFace is None:
            return
        if gc.get_forced_alpha() and alpha < 1:
            options.append(f"opacity={alpha:.2f}")
        self._clipped(box, rf"\path[{','.join(options)}] {steps};")

    def draw_text(
        self,
        gc: Any,
        x: float,
        y: float,
        s: str,
        prop: Any,
        angle: float,
        ismath: Any = False,
        mtext: Any = None,
    ) -> None:
        """A line of text, at the end that it is aligned by: TeX's letters are narrower than measured."""
        width, _, _ = self.get_text_width_height_descent(s, prop, ismath)
        share, anchor = ALIGNED[mtext.get_horizontalalignment() if mtext is not None else "left"]
        if angle:  # turned text is aligned by its middle
            share, anchor = 0.5, ""
        x += share * width * cos(radians(angle))
        y += share * width * sin(radians(angle))
        size = prop.get_size_in_points()
        bold = r"\bfseries" if prop.get_weight() in ("bold", 700) else ""
        text = escaped(s).replace(NO_BREAK, "~")
        colour = _colour(gc.get_rgb())
        turned = f",rotate={angle:g}" if angle else ""
        face = rf"\fontsize{{{size:g}}}{{{1.2 * size:g}}}\selectfont\sffamily{bold}"
        self.lines.append(
            rf"\node[anchor=base{anchor},text={colour}{turned}] at ({x:.2f},{y:.2f}) {{{face} {text}}};"
        )

    def _clipped(self, box: Any, line: str) -> None:
        if box is None:
            self.lines.append(line)
            return
        (left, low), (right, high) = box.get_points()
        cut = rf"\clip ({left:.2f},{low:.2f}) rectangle ({right:.2f},{high:.2f});"
        self.lines.append(rf"\begin{{scope}}{cut}{line}\end{{scope}}")


def _steps(path: Path, transform: Any, clip: Any) -> list[str]:
    """A path in TikZ's words."""
    found: list[str] = []
    for points, code in path.iter_segments(transform, clip=clip):
        places = [f"({points[k]:.2f},{points[k + 1]:.2f})" for k in range(0, len(points), 2)]
        if code == Path.MOVETO:
            found.append(places[0])
        elif code == Path.LINETO:
            found.append(f"-- {places[0]}")
        elif code == Path.CURVE3:
            found.append(f".. controls {places[0]} .. {places[1]}")
        elif code == Path.CURVE4:
            found.append(f".. controls {places[0]} and {places[1]} .. {places[2]}")
        elif code == Path.CLOSEPOLY:
            found.append("-- cycle")
    return found if len(found) > 1 else []


def _colour(parts: Any) -> str:
    red, green, blue = (round(255 * float(part)) for part in parts[:3])
    return f"{{rgb,255:red,{red};green,{green};blue,{blue}}}"
