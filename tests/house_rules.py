"""The rules of the house (DEVELOPERS.md) as checks on source text. Each gives sentences; none means all is well."""

import ast
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ORDER = ["calc", "core", "trail", "accounts", "methods", "equipment", "intake", "laundering", "measuring"]
ORDER += ["reporting", "control", "sheets", "portal", "api", "front"]
LAYERS = ["models", "queries", "services", "forms", "views", "urls"]
OPEN_TO_OTHERS = {"models", "queries", "services"}
ALSO_OPEN = {"accounts": {"gates"}, "trail": {"guarding"}, "intake": {"locks"}}
WHOLLY_OPEN = {"calc", "core"}
BESIDE_SERVICES = {"guards", "pdf", "labels", "management", "locks", "standing"}
PURE_LIBRARIES = {"scipy", "stdnum"}
# Standard library that reaches outside: files, processes, the network, the clock, chance.
IMPURE = {"io", "os", "pathlib", "shutil", "tempfile", "subprocess", "socket", "urllib", "http", "logging", "sqlite3"}
IMPURE |= {"time", "random", "secrets"}
MODULE_LINES, FUNCTION_LINES = 400, 60


@dataclass(frozen=True)
class Module:
    """One file of ours under its dotted name, such as apps.intake.services.receiving."""

    name: str
    source: str

    @cached_property
    def tree(self) -> ast.Module:
        return ast.parse(self.source)

    @property
    def app(self) -> str:
        return app_of(self.name)

    @property
    def layer(self) -> str:
        """The name below the app: models, services, ... also for a file inside a package of that name."""
        return layer_of(self.name)

    @cached_property
    def imports(self) -> list[tuple[str, int]]:
        """Everything imported, inside functions too, with its line. `from a.b import c` counts as a.b.c."""
        found = []
        for node in ast.walk(self.tree):
            if isinstance(node, ast.Import):
                found += [(alias.name, node.lineno) for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                found += [(f"{self._base(node)}.{alias.name}", node.lineno) for alias in node.names]
        return found

    def _base(self, node: ast.ImportFrom) -> str:
        if not node.level:
            return node.module or ""
        above = self.name.split(".")[: -node.level]
        return ".".join([*above, node.module] if node.module else above)

    def calls(self) -> Iterator[ast.Call]:
        return (node for node in ast.walk(self.tree) if isinstance(node, ast.Call))


def app_of(name: str) -> str:
    parts = name.split(".")
    return parts[1] if parts[0] == "apps" and len(parts) > 1 else ""


def layer_of(name: str) -> str:
    parts = name.split(".")
    return parts[2] if len(parts) > 2 else ""


@cache
def ours() -> list[Module]:
    """All of apps/ but the migrations."""
    paths = [path for path in sorted((ROOT / "apps").rglob("*.py")) if "migrations" not in path.parts]
    names = [".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__") for path in paths]
    return [Module(name, path.read_text()) for name, path in zip(names, paths, strict=True)]


def arrows_between_apps(module: Module) -> list[str]:
    """An app imports only from apps above it in ORDER, and of them only what is open to others."""
    wrong = []
    for name, line in module.imports:
        if name.split(".")[0] in ("labsite", "tests"):
            wrong.append(f"{module.name}:{line} imports {name}; apps know neither the site nor the tests")
        other = app_of(name)
        if not other or other == module.app:
            continue
        if ORDER.index(other) > ORDER.index(module.app):
            wrong.append(f"{module.name}:{line} imports {name}; {other} comes after {module.app}")
        elif other not in WHOLLY_OPEN and layer_of(name) not in OPEN_TO_OTHERS | ALSO_OPEN.get(other, set()):
            wrong.append(f"{module.name}:{line} imports {name}, which is not open to other apps")
    return wrong


def arrows_inside_apps(modules: Iterable[Module], excused: Iterable[tuple[str, str]] = ()) -> list[str]:
    """models <- queries <- services <- forms <- views <- urls. Any other module stands as high as what it uses."""
    modules = list(modules)
    uses: dict[tuple[str, str], set[tuple[str, int, str]]] = {}
    for module in modules:
        for name, line in module.imports:
            layer = layer_of(name)
            inside = app_of(name) == module.app and layer and layer != module.layer
            if inside and (module.name, layer) not in excused:
                uses.setdefault((module.app, module.layer), set()).add((layer, line, module.name))

    def height(app: str, layer: str, seen: frozenset[str] = frozenset()) -> int:
        if layer in LAYERS:
            return LAYERS.index(layer)
        below = [used for used, _, _ in uses.get((app, layer), ()) if used not in seen]
        return max((height(app, used, seen | {layer}) for used in below), default=0)

    wrong = []
    for (app, layer), used in uses.items():
        if layer == "apps" or not (layer in LAYERS or layer in BESIDE_SERVICES):
            continue
        limit = LAYERS.index("services" if layer in BESIDE_SERVICES else layer)
        wrong += [
            f"{who}:{line} imports {name}, a higher layer" for name, line, who in used if height(app, name) > limit
        ]
    return sorted(wrong)


def impurity_of_calc(module: Module) -> list[str]:
    """calc knows numbers only: no Django, no other app, no files, no clock."""
    if module.app != "calc":
        return []
    wrong = []
    for name, line in module.imports:
        root = name.split(".")[0]
        pure = root in PURE_LIBRARIES or (root in sys.stdlib_module_names and root not in IMPURE)
        if not (pure or app_of(name) == "calc"):
            wrong.append(f"{module.name}:{line} imports {name}")
    names = {"open", "print", "input", "now", "today", "utcnow"}
    return wrong + [
        f"{module.name}:{call.lineno} calls {called(call)}" for call in module.calls() if called(call) in names
    ]


def called(call: ast.Call) -> str:
    """The last name of what is called: `now` of timezone.now()."""
    return getattr(call.func, "attr", getattr(call.func, "id", ""))


def signals(module: Module) -> list[str]:
    """No receivers but the ones that put up the guards."""
    if module.name == "apps.trail.apps":
        return []
    wrong = [name for name, _ in module.imports if name.startswith("django.dispatch") or ".signals" in name]
    return [f"{module.name} imports {name}; nothing here listens to signals" for name in wrong]


def admin(module: Module) -> list[str]:
    """No admin site: it goes past the services."""
    wrong = [name for name, _ in module.imports if name.startswith("django.contrib.admin")]
    if module.layer == "admin":
        wrong.append(module.name)
    return [f"{module.name} brings in {name}; there is no admin site here" for name in wrong]


def overridden_saves(module: Module) -> list[str]:
    """What saving does is said in services, where all of it can be read."""
    return [
        f"{module.name}:{member.lineno} overrides {node.name}.{member.name}()"
        for node in ast.walk(module.tree)
        if isinstance(node, ast.ClassDef)
        for member in node.body
        if isinstance(member, ast.FunctionDef) and member.name in ("save", "delete")
    ]


def lengths(module: Module) -> list[str]:
    lines = len(module.source.splitlines())
    wrong = [f"{module.name} has {lines} lines, over {MODULE_LINES}"] if lines > MODULE_LINES else []
    for node in ast.walk(module.tree):
        if isinstance(node, ast.FunctionDef) and (size := node.end_lineno - node.lineno + 1) > FUNCTION_LINES:
            wrong.append(f"{module.name}:{node.lineno} {node.name}() has {size} lines, over {FUNCTION_LINES}")
    return wrong


def clocks(module: Module) -> list[str]:
    """The time is asked in core's clock, or where the world comes in: views and commands. Below, it is passed in."""
    if module.name == "apps.core.clock" or module.layer in ("views", "management"):
        return []
    wrong = []
    for call in module.calls():
        text = ast.unparse(call)
        bare = text in ("timezone.localdate()", "timezone.localtime()", "time.time()", "time.time_ns()")
        asks = text.split("(")[0] in ("timezone.now", "datetime.now", "datetime.utcnow", "datetime.datetime.now")
        if bare or asks or text.split("(")[0] in ("date.today", "datetime.today", "datetime.date.today"):
            wrong.append(f"{module.name}:{call.lineno} asks the clock itself: {text}")
    return wrong
