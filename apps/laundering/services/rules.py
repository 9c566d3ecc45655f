"""What may share a drum, what a wash must keep to, and who may write a deviation instead. Nothing here writes a row."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from apps.accounts.models import Lab, User
from apps.calc.errors import LoadError
from apps.calc.loads import make_up
from apps.core.errors import Refusal
from apps.intake.models import Sample, Specimen
from apps.laundering.services.figures import plain, words
from apps.methods.models import DryingProcedure, LaunderingProcedure

Stage = Specimen.Stage
WHY_LENGTH = 250

# Why a piece that is not ready cannot go into a drum.
NOT_READY = {
    Stage.CUT: "{piece} is not marked yet. Washed unmeasured it would be lost: the bench marks and measures it first.",
    Stage.MARKED: "{piece} lacks original readings. Washed unmeasured it would be lost: the bench reads it first.",
    Stage.IN_LOAD: "{piece} is in another load.",
    Stage.OWED: "The readings of {piece} after cycle {cycles} are due before it is washed again.",
    Stage.DONE: "{piece} has had all its cycles.",
    Stage.SET_ASIDE: "{piece} is set aside and no longer part of the test.",
}
CLASSES = {
    Sample.Construction.WOVEN: "woven",
    Sample.Construction.KNIT: "knit",
    Sample.Construction.MIXED: "a garment of woven and knit",
}


@dataclass(frozen=True)
class Problem:
    """One thing that is not as the procedure asks; a written deviation may stand for it."""

    field: str
    code: str
    fact: str
    todo: str
    kind: str = "wash"
    anyone: bool = False  # the lab's own settings allow it once it is written down

    @property
    def sentence(self) -> str:
        return f"{self.fact} {self.todo}".strip()


class NotAsAsked(Refusal):
    """Outside of what the procedure asks, and no deviation written. All that is wrong is told at once."""

    code = "not_as_asked"

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__(" ".join(problem.sentence for problem in problems), field=problems[0].field)
        self.code = problems[0].code
        self.problems = tuple(problems)


def named(specimen: Specimen) -> str:
    """A piece as people tell it apart: its code on the cloth, and whose job it is."""
    return f"{specimen.short_code} of {specimen.request.sample.job.number}"


def check_ready(specimens: Sequence[Specimen]) -> None:
    """Only pieces that may be washed; for this there is no deviation."""
    for specimen in specimens:
        if specimen.stage != Stage.READY:
            sentence = NOT_READY[Stage(specimen.stage)].format(piece=named(specimen), cycles=specimen.cycles_valid)
            raise Refusal(sentence, code=f"stage_{specimen.stage}", field="specimens")
        if specimen.next_cycle > specimen.request.cycles:
            raise Refusal(
                f"{named(specimen)} has had all its {specimen.request.cycles} cycles.",
                code="stage_done",
                field="specimens",
            )


def sharing_problems(specimens: Sequence[Specimen], lab: Lab) -> list[Problem]:
    """What may not share a drum, naming the two that clash: the first clash of each kind."""
    first = specimens[0]
    found: dict[str, Problem] = {}
    for other in specimens[1:]:
        for problem in _clashes(first, other, lab):
            found.setdefault(problem.code, problem)
    if bleeding := _bleeding(specimens):
        found["bleeds"] = bleeding
    return list(found.values())


def _clashes(first: Specimen, other: Specimen, lab: Lab) -> list[Problem]:
    one, two = first.request, other.request
    found = []
    if one.procedure_id != two.procedure_id:
        found.append(_clash(first, one.procedure, other, two.procedure, "procedure", "They are washed differently."))
    if one.drying.without_spin != two.drying.without_spin:
        how = {True: "drip dry, out before the last spin", False: "spun"}
        spins = (how[one.drying.without_spin], how[two.drying.without_spin])
        found.append(_clash(first, spins[0], other, spins[1], "spin", "Wash them apart."))
    classes = one.sample.construction, two.sample.construction
    if classes[0] != classes[1]:
        warned = lab.mix_rule == Lab.MixRule.WARN
        end = "Woven and knit are washed apart." + (" If they must share, say why." if warned else "")
        how = [CLASSES[name] for name in classes]
        found.append(_clash(first, how[0], other, how[1], "construction", end, anyone=warned))
    return found


def _bleeding(specimens: Sequence[Specimen]) -> Problem | None:
    for risky in specimens:
        if not risky.request.sample.bleeds_or_sheds:
            continue
        for other in specimens:
            if other.request.sample_id != risky.request.sample_id:
                fact = f"{named(risky)} may bleed or shed, and {named(other)} is of another sample."
                todo = "It is washed with pieces of its own sample only."
                return Problem("specimens", "bleeds", fact, todo, "load")
    return None


def _clash(
    first: Specimen, one: object, other: Specimen, two: object, code: str, todo: str, *, anyone: bool = False
) -> Problem:
    fact = f"{named(first)} is {one}, {named(other)} is {two}."
    return Problem("specimens", code, fact, todo, "load", anyone)


def mass_problems(procedure: LaunderingProcedure, specimens_g: Decimal, ballast_g: Decimal) -> list[Problem]:
    """The weighed total against what the procedure asks."""
    target, tolerance = procedure.load_mass_g, procedure.load_tolerance_g
    total = specimens_g + ballast_g
    asked = f"{procedure} asks for {plain(target)} ± {plain(tolerance)} g"
    found = []
    if abs(total - target) > tolerance:
        advice = ballast_advice(procedure, specimens_g) if specimens_g <= target + tolerance else TOO_HEAVY
        found.append(Problem("ballast_mass_g", "load_mass", f"The load weighs {plain(total)} g; {asked}.", advice))
    if procedure.specimens_at_most_half and specimens_g * 2 > total:
        found.append(
            Problem(
                "specimen_mass_g",
                "over_half",
                f"The specimens are {plain(specimens_g)} g of {plain(total)} g; {procedure} allows half at most.",
                "Take pieces out and wash them as a load of their own.",
            )
        )
    return found


TOO_HEAVY = (
    "The specimens alone are too heavy: split them over two loads, take the method's larger load, or go on with these"
    " and say why."
)


def ballast_advice(procedure: LaunderingProcedure, specimens_g: Decimal) -> str:
    """How many pieces of ballast bring the load nearest; in words for the page and for a refusal."""
    try:
        proposal = make_up([specimens_g], procedure.load_mass_g, procedure.load_tolerance_g, procedure.ballast_piece_g)
    except LoadError as error:
        return str(error)
    many = "piece" if proposal.pieces == 1 else "pieces"
    return (
        f"{proposal.pieces} {many} of ballast of about {plain(procedure.ballast_piece_g)} g"
        f" bring {plain(specimens_g)} g to about {plain(proposal.total_g)} g."
    )


def water_problems(procedure: LaunderingProcedure, water_c: Decimal) -> list[Problem]:
    low = procedure.wash_temp_c - procedure.wash_temp_tolerance_c
    high = procedure.wash_temp_c + procedure.wash_temp_tolerance_c
    if low <= water_c <= high:
        return []
    todo = "Warm it" if water_c < low else "Cool it"
    todo += " and measure again before the cloth goes in."
    if procedure.machine_kind.startswith("front-loading"):  # the cloth is in before the water
        todo = "Have the machine put right before you start it."
    return [
        Problem(
            "water_temp_c",
            "water_temperature",
            f"The water is {plain(water_c)} °C; {procedure} asks for {plain(procedure.wash_temp_c)} ±"
            f" {plain(procedure.wash_temp_tolerance_c)} °C.",
            todo,
        )
    ]


def ballast_problems(procedure: LaunderingProcedure, ballast: str, ballast_g: Decimal) -> list[Problem]:
    """The type on the cloth against what the catalogue names; "type 3" is enough of "type 3 (50/50 ...)"."""
    if not ballast_g or not procedure.ballast or _head(ballast) in {_head(kind) for kind in ballast_kinds(procedure)}:
        return []
    fact = f"The ballast is {ballast}; {procedure} asks for {procedure.ballast}."
    return [Problem("ballast", "ballast_type", fact, "Take the ballast that is asked for.")]


def ballast_kinds(procedure: LaunderingProcedure) -> list[str]:
    """The types that the catalogue names, one by one, and what it says as a whole."""
    named = procedure.ballast.replace(", ", " or ").split(" or ")
    return named if len(named) == 1 else [*named, procedure.ballast]


def _head(kind: str) -> str:
    return kind.partition("(")[0].strip().casefold() if kind.count("(") == 1 else kind.strip().casefold()


def programme_problems(procedure: LaunderingProcedure, programme: str) -> list[Problem]:
    if not programme or programme.casefold() == procedure.programme.casefold():
        return []
    fact = f"The machine is set to {programme}; {procedure} asks for {procedure.programme}."
    return [Problem("programme", "programme", fact, "Set it anew before the cloth goes in.")]


def dryness_problems(damp: bool) -> list[Problem]:
    if not damp:
        return []
    fact = "The pieces came out still damp in places."
    return [Problem("dryness", "damp", fact, "Dry them on, or say why they are taken out.", "drying")]


def detergent_problems(procedure: LaunderingProcedure, grams: Decimal) -> list[Problem]:
    dose, tolerance = procedure.detergent_g, procedure.detergent_tolerance_g
    if dose is None or tolerance is None or abs(grams - dose) <= tolerance:
        return []
    return [
        Problem(
            "detergent_g",
            "detergent",
            f"{plain(grams)} g of detergent; {procedure} asks for {plain(dose)} ± {plain(tolerance)} g.",
            "Weigh it again.",
        )
    ]


def exhaust_problems(procedure: DryingProcedure, exhaust_c: Decimal | None) -> list[Problem]:
    limit = procedure.exhaust_limit_c
    if exhaust_c is None or limit is None or exhaust_c <= limit:
        return []
    fact = f"The exhaust reached {plain(exhaust_c)} °C; {procedure} allows {plain(limit)} °C at most."
    return [Problem("exhaust_c", "exhaust", fact, "Say what was done about it.", "drying")]


def written_reasons(
    problems: Sequence[Problem], *, text: str, reasons: Mapping[str, str], at_risk: bool, by: User
) -> dict[str, str]:
    """Why each problem is gone into, by its code; refused when one has no reason, or when it is not this person's to
    write. `text` may stand for a single problem, never for several at once: each is answered by itself.

    A manager decides. An operator whose manager is away goes on at risk, and the manager judges it before approval.
    """
    said = {code: words(why, what="The reason", field=f"why_{code}", most=WHY_LENGTH) for code, why in reasons.items()}
    if len(problems) == 1 and not said.get(problems[0].code):
        said[problems[0].code] = text
    if not all(said.get(problem.code) for problem in problems):
        raise NotAsAsked(problems)
    if not (by.manager or at_risk or all(problem.anyone for problem in problems)):
        raise Refusal(
            "A manager decides this. With none here, say that you go on at risk: it is judged before approval.",
            code="not_at_risk",
            field="at_risk",
        )
    return {problem.code: said[problem.code] for problem in problems}
