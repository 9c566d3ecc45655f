"""What may share a drum, what a wash must keep to, and who may write a deviation instead. Nothing here writes a row."""

from collections.abc import Sequence
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


def check_may_share(specimens: Sequence[Specimen], lab: Lab) -> list[Problem]:
    """Refuse what may not share a drum, naming the two that clash. What the lab only warns of is given back."""
    first = specimens[0]
    for other in specimens[1:]:
        one, two = first.request, other.request
        if one.procedure_id != two.procedure_id:
            raise _clash(first, one.procedure, other, two.procedure, "procedure", "They are washed differently.")
        if one.drying.without_spin != two.drying.without_spin:
            how = {True: "drip dry, out before the last spin", False: "spun"}
            raise _clash(
                first, how[one.drying.without_spin], other, how[two.drying.without_spin], "spin", "Wash them apart."
            )
    for risky in specimens:
        if not risky.request.sample.bleeds_or_sheds:
            continue
        for other in specimens:
            if other.request.sample_id != risky.request.sample_id:
                raise Refusal(
                    f"{named(risky)} may bleed or shed, so it is washed with pieces of its own sample only,"
                    f" not with {named(other)}.",
                    code="bleeds",
                    field="specimens",
                )
    return _mixed_classes(specimens, lab)


def _mixed_classes(specimens: Sequence[Specimen], lab: Lab) -> list[Problem]:
    first = specimens[0]
    for other in specimens[1:]:
        one, two = first.request.sample.construction, other.request.sample.construction
        if one != two:
            clash = _clash(first, CLASSES[one], other, CLASSES[two], "construction", "Woven and knit are washed apart.")
            if lab.mix_rule != Lab.MixRule.WARN:
                raise clash
            return [Problem("deviation", clash.code, str(clash), "If they must share, say why.", "load")]
    return []


def _clash(first: Specimen, one: object, other: Specimen, two: object, code: str, end: str) -> Refusal:
    return Refusal(f"{named(first)} is {one}, {named(other)} is {two}. {end}", code=code, field="specimens")


def mass_problems(
    procedure: LaunderingProcedure, specimens_g: Decimal, ballast_g: Decimal, *, halves: bool = True
) -> list[Problem]:
    """The weighed total against what the procedure asks."""
    target, tolerance = procedure.load_mass_g, procedure.load_tolerance_g
    total = specimens_g + ballast_g
    asked = f"{procedure} asks for {plain(target)} ± {plain(tolerance)} g"
    found = []
    if abs(total - target) > tolerance:
        advice = ballast_advice(procedure, specimens_g) if specimens_g <= target + tolerance else TOO_HEAVY
        found.append(Problem("ballast_mass_g", "load_mass", f"The load weighs {plain(total)} g; {asked}.", advice))
    if halves and procedure.specimens_at_most_half and specimens_g * 2 > total:
        found.append(
            Problem(
                "specimen_mass_g",
                "over_half",
                f"The specimens are {plain(specimens_g)} g of {plain(total)} g; {procedure} allows half at most.",
                "Take pieces out.",
            )
        )
    return found


TOO_HEAVY = "The specimens alone are too heavy: split them over two loads."


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


def written_deviation(problems: Sequence[Problem], *, text: str, at_risk: bool, by: User, anyone: bool = False) -> str:
    """The text that stands for the problems; refused when there is none, or when it is not this person's to write.

    A manager decides. An operator whose manager is away goes on at risk, and the manager judges it before approval.
    `anyone`: the lab's own settings allow it once it is written down.
    """
    text = words(text, what="The deviation", field="deviation", most=WHY_LENGTH)
    if not problems:
        return text
    if not text:
        raise NotAsAsked(problems)
    if not (by.manager or at_risk or anyone):
        raise Refusal(
            "A manager decides this. With none here, say that you go on at risk: it is judged before approval.",
            code="not_at_risk",
            field="at_risk",
        )
    return text
