"""Proposed loads in the words of the queue page."""

from collections.abc import Iterable

from apps.laundering.queries import Group, Proposal
from apps.laundering.services import ballast_advice
from apps.laundering.services.figures import plain


def with_offers(groups: Iterable[Group]) -> list[tuple[Group, list[tuple[Proposal, str]]]]:
    """Each group with the loads that are offered first, and what to make of each."""
    return [(group, [(load, advice(load)) for load in group.next_loads]) for group in groups]


def advice(load: Proposal) -> str:
    """The ballast to add. The balance decides."""
    if before := load.before:
        return (
            f"Same as load {before.pk}: {plain(before.specimen_mass_g)} g, with {before.ballast_pieces} pieces of"
            f" ballast ({plain(before.ballast_mass_g)} g)."
        )
    if load.too_heavy:
        asked = plain(load.procedure.load_mass_g)
        return f"Heavier than a load of {asked} g holds: take the method's larger load, or wash it alone and say why."
    if load.mass_g is None:
        return "Mass not known: weigh before you fill, and split it if it is too heavy."
    return ballast_advice(load.procedure, load.mass_g)
