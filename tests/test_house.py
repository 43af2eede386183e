"""The house rules: which room may import which, how long a file may be, what is written down."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from fnmatch import fnmatch
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "src" / "voltsec"

TOP_LEVEL = {
    ".ci",
    ".gitignore",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "circuits",
    "grammar",
    "pyproject.toml",
    "src",
    "tests",
}
LONGEST_FILE = 450

DOWNWARDS = (
    ("command",),
    ("report",),
    ("practice", "drawing"),
    ("dynamics",),
    ("waveforms",),
    ("held",),
    ("formulas",),
    ("search",),
    ("periodic",),
    ("results",),
    ("tableau",),
    ("circuit",),
)
"""Each room may import from itself and from the rooms of later lines; ``language`` only from ``circuit``."""

ASKED_BY_A_NOTEBOOK = {
    ("results/solution.py", "report"),
    ("results/solution.py", "practice"),
    ("practice/design/comparison.py", "report"),
    ("practice/design/sizing.py", "report"),
    ("practice/waves.py", "report"),
    ("circuit/circuit.py", "report"),
    ("practice/startup_result.py", "report"),
}
"""Uphill on purpose: a notebook asks the value itself how it wants to be shown, or swept."""


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def module_name(path: Path) -> str:
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def relative(path: Path) -> str:
    return path.relative_to(PACKAGE).as_posix()


def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def imported(nodes: Iterator[ast.AST]) -> set[str]:
    """Dotted names of our own modules imported by ``nodes``."""
    found: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            found |= {f"{node.module}.{alias.name}" for alias in node.names} | {node.module or ""}
    return {name for name in found if name.split(".")[0] == "voltsec"}


def rooms_below(room: str) -> set[str]:
    if room == "language":
        return {"language", "circuit"}
    level = next(n for n, line in enumerate(DOWNWARDS) if room in line)
    below = {name for line in DOWNWARDS[level + 1 :] for name in line} | {room}
    return below | {"language"} if room == "command" else below


@pytest.mark.parametrize("path", [p for p in modules() if p.parent != PACKAGE], ids=relative)
def test_imports_run_downwards(path: Path) -> None:
    room = path.relative_to(PACKAGE).parts[0]
    for name in imported(ast.walk(tree_of(path))):
        target = name.split(".")[1] if "." in name else None
        if target is None:  # the package itself, for its version
            assert room in ("command", "report")
        elif (PACKAGE / target).is_dir() and (relative(path), target) not in ASKED_BY_A_NOTEBOOK:
            assert target in rooms_below(room), f"{relative(path)} imports {name}"


def test_no_circles() -> None:
    """Imports form no circle of files, those inside functions included; a notebook's questions apart."""
    names = {module_name(path): path for path in modules()}
    graph: dict[str, set[str]] = {}
    for name, path in names.items():
        targets = imported(_executed(tree_of(path))) & set(names) - {"voltsec", name}
        graph[name] = {
            target for target in targets if (relative(path), target.split(".")[1]) not in ASKED_BY_A_NOTEBOOK
        }
    done: set[str] = set()

    def visit(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, " -> ".join((*trail, name))
        if name not in done:
            for target in graph[name]:
                visit(target, (*trail, name))
            done.add(name)

    for name in graph:
        visit(name, ())


def _executed(tree: ast.Module) -> Iterator[ast.AST]:
    """Nodes outside ``if TYPE_CHECKING``."""
    waiting: list[ast.AST] = [tree]
    while waiting:
        node = waiting.pop()
        yield node
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            waiting += node.orelse
        else:
            waiting += ast.iter_child_nodes(node)


@pytest.mark.parametrize("path", modules(), ids=relative)
def test_no_star_imports(path: Path) -> None:
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.ImportFrom):
            assert all(alias.name != "*" for alias in node.names)


def test_files_are_short() -> None:
    """Source and test modules; the tables of published values beside the tests may be as long as they are."""
    for path in [*modules(), *(ROOT / "tests").rglob("test_*.py")]:
        lines = path.read_text(encoding="utf-8").count("\n")
        assert lines <= LONGEST_FILE, f"{path.relative_to(ROOT)} has {lines} lines"


@pytest.mark.parametrize("path", modules(), ids=relative)
def test_public_names_are_documented(path: Path) -> None:
    tree = tree_of(path)
    if tree.body:
        assert ast.get_docstring(tree), f"{relative(path)} has no docstring"
    missing = [node.name for node in _public(tree) if not ast.get_docstring(node)]
    assert not missing, f"{relative(path)}: no docstring on {', '.join(missing)}"


def _public(
    tree: ast.Module | ast.ClassDef,
) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef]:
    """Public functions and classes, and the public methods of the latter."""
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            continue
        if node.name.startswith("_"):
            continue
        decorators = {ast.unparse(decorator) for decorator in node.decorator_list}
        if "overload" in decorators or any(d.endswith(".setter") for d in decorators):
            continue
        yield node
        if isinstance(node, ast.ClassDef):
            yield from _public(node)


def test_the_top_level_is_tidy() -> None:
    ignored = [line.strip().rstrip("/") for line in (ROOT / ".gitignore").read_text().splitlines()]
    found = {
        entry.name
        for entry in ROOT.iterdir()
        if entry.name != ".git" and not any(fnmatch(entry.name, pattern) for pattern in ignored if pattern)
    }
    assert found <= TOP_LEVEL


def developers() -> str:
    return (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_path_in_the_developers_guide_exists() -> None:
    named = {
        token
        for token in re.findall(r"`([^`\s]+)`", developers())
        if re.fullmatch(r"[\w./-]+", token)
        and ("/" in token or re.search(r"\.(py|md|toml|lark|topo|j2)$", token))
        and not token.startswith("/")
    }
    assert len(named) > 20
    missing = [name for name in sorted(named) if not any((base / name).exists() for base in (ROOT, PACKAGE))]
    assert not missing


def test_every_room_is_in_the_developers_guide() -> None:
    text = developers()
    for room in PACKAGE.iterdir():
        if (room / "__init__.py").exists():
            assert f"`src/voltsec/{room.name}/`" in text, f"{room.name} is not described"


def test_every_dependency_is_explained() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = project["optional-dependencies"].values()
    wanted = [*project["dependencies"], *(requirement for group in extras for requirement in group)]
    text = developers()
    for requirement in wanted:
        name = re.split(r"[<>=~\[ ]", requirement)[0]
        assert f"| {name} |" in text, f"{name} is not explained"


def test_every_run_time_dependency_is_used() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    import_names = {"python-flint": "flint"}
    used: set[str] = set()
    for path in modules():
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.Import):
                used |= {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                used.add(node.module.split(".")[0])
    for requirement in project["dependencies"]:
        name = re.split(r"[<>=~\[ ]", requirement)[0]
        assert import_names.get(name, name) in used, f"{name} is declared and not imported"


def test_every_error_kind_is_listed() -> None:
    """The guide's table is the program's own, word for word."""
    from voltsec.language.complaints import KINDS

    for kind, meaning in KINDS.items():
        assert f"| `{kind}` | {meaning} |" in developers(), f"{kind} is not listed"


def test_every_fault_has_a_listed_kind() -> None:
    """Every kind given to ``Fault(...)`` as a literal is one of the table's."""
    from voltsec.language.complaints import KINDS

    for path in modules():
        for node in ast.walk(tree_of(path)):
            if not (isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] == "Fault"):
                continue
            kinds = [node.args[0]] if node.args else []
            kinds += [keyword.value for keyword in node.keywords if keyword.arg == "kind"]
            for kind in kinds:
                if isinstance(kind, ast.Constant):
                    assert kind.value in KINDS, f"{kind.value} ({relative(path)}) is not listed"
