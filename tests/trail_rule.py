"""Every service that writes leaves a trail entry; pages, forms and queries write nothing. Read off the calls."""

import ast
from collections.abc import Iterable
from dataclasses import dataclass, field

from tests.house_rules import Module

RECORD = "apps.trail.services.record"
WRITERS = {"bulk_create", "bulk_update", "create", "get_or_create", "update_or_create"}
READ_ONLY_LAYERS = {"queries", "forms", "views", "urls", "pdf", "labels", "context"}


@dataclass
class Function:
    name: str  # dotted: apps.intake.services.receiving.receive_job
    layer: str
    public: bool
    writes: bool
    keyword_only: bool
    calls: set[str] = field(default_factory=set)


def is_write(call: ast.Call) -> bool:
    """A call that changes rows: Model.save(), QuerySet.update(a=1), manager.create(...). Told apart from a dict's
    update and a workbook's save by how they are called."""
    if not isinstance(call.func, ast.Attribute):
        return False
    name, chain = call.func.attr, ast.unparse(call.func.value)
    if name in WRITERS:
        return True
    if name == "save":
        return not call.args and {keyword.arg for keyword in call.keywords} <= {
            "update_fields",
            "force_insert",
            "using",
        }
    if name == "update":
        return not call.args and bool(call.keywords) and ("objects" in chain or "(" in chain or "_set" in chain)
    return name == "delete" and not call.args and not call.keywords


def names_in(module: Module) -> dict[str, str]:
    """What each name in a module stands for: `trail` for apps.trail.services."""
    known = {}
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ImportFrom):
            base = module._base(node)
            known |= {alias.asname or alias.name: f"{base}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            known |= {alias.asname or alias.name: alias.name for alias in node.names}
    known |= {node.name: f"{module.name}.{node.name}" for node in module.tree.body if hasattr(node, "name")}
    return known


def functions(modules: Iterable[Module]) -> dict[str, Function]:
    """All top-level functions, with whom they mention (called, or handed on to be called)."""
    modules = list(modules)
    meaning = {module.name: names_in(module) for module in modules}

    def real(name: str) -> str:
        """Through a package's __init__ to where the function is written."""
        base, _, last = name.rpartition(".")
        deeper = meaning.get(base, {}).get(last, name)
        return name if deeper == name else real(deeper)

    found = {}
    for module in modules:
        for node in module.tree.body:
            if not isinstance(node, ast.FunctionDef):
                continue
            writes = any(is_write(call) for call in ast.walk(node) if isinstance(call, ast.Call))
            name = f"{module.name}.{node.name}"
            keyword_only = not (node.args.args or node.args.posonlyargs)
            function = Function(name, module.layer, not node.name.startswith("_"), writes, keyword_only)
            for part in ast.walk(node):
                if isinstance(part, ast.Name | ast.Attribute):
                    first, _, rest = ast.unparse(part).partition(".")
                    if first in meaning[module.name]:
                        function.calls.add(real(meaning[module.name][first] + (f".{rest}" if rest else "")))
            found[name] = function
    return found


def reaches(known: dict[str, Function], start: str) -> set[str]:
    """A function and all of ours that it comes to."""
    seen, todo = set(), [start]
    while todo:
        name = todo.pop()
        if name not in seen:
            seen.add(name)
            todo += known[name].calls if name in known else ()
    return seen


def services_without_entry(modules: Iterable[Module]) -> list[str]:
    """Public functions of services that write, themselves or through others, and never come to `record`."""
    known = functions(modules)
    silent = []
    for function in known.values():
        if function.layer == "services" and function.public:
            reached = reaches(known, function.name)
            if RECORD not in reached and any(known[name].writes for name in reached if name in known):
                silent.append(function.name)
    return silent


def services_called_by_place(modules: Iterable[Module]) -> list[str]:
    """Services that write take keywords only: a call reads as a sentence, and no two numbers change places."""
    found = functions(modules).values()
    return [one.name for one in found if one.layer == "services" and one.public and one.writes and not one.keyword_only]


def writes_outside_services(modules: Iterable[Module]) -> list[str]:
    """Layers that only read or ask, writing rows themselves."""
    return [
        f"{module.name}:{call.lineno} writes: {ast.unparse(call)[:80]}"
        for module in modules
        if module.layer in READ_ONLY_LAYERS
        for call in module.calls()
        if is_write(call)
    ]
